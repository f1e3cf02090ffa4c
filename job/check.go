package job

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"proveout/book"
	"proveout/strict"
	"proveout/vehicle"
)

// payloads give an empty payload for each type this program writes.
var payloads = map[string]func() any{
	ReceivedType: of0[Received], VehicleChangedType: of0[VehicleChanged], CaptureAddedType: of0[CaptureAdded], CaptureDescribedType: of0[CaptureDescribed],
	ReadingTypedType: of0[ReadingTyped], SetAsideType: of0[SetAside], CountedAgainType: of0[SetAside], RetakenType: of0[Retaken], LimitGivenType: of0[LimitGiven],
	TestChosenType: of0[TestChosen], TestDeclinedType: of0[TestDeclined], TestStartedType: of0[TestStarted], TestEndedType: of0[TestEnded],
	OverruledType: of0[Overruled], ReadingsKeptType: of0[ReadingsKept], SuspectAddedType: of0[SuspectAdded], TestAddedType: of0[TestAdded], ProcedureAddedType: of0[ProcedureAdded], PartOrderedType: of0[PartUsed], PartArrivedType: of0[PartArrived], PartFittedType: of0[PartUsed],
	CorrectionType: of0[Corrected], ProofPlannedType: of0[ProofPlanned], ProcedureStartedType: of0[ProcedureStarted], ProcedureEventType: of0[ProcedureEvent], ProcedureEndedType: of0[ProcedureEnded],
	DangerousType: of0[Dangerous], MadeSafeType: of0[MadeSafe], DriveAddedType: of0[DriveAdded], NoteType: of0[Note], PhotoAddedType: of0[PhotoAdded],
	ApprovalAskedType: of0[Agreed], ApprovalGivenType: of0[Agreed], TimePunchType: of0[TimePunch], HandOverType: of0[HandOver],
	InterruptedType: of0[Interrupted], ResumedType: of0[Resumed], ClosedType: of0[Closed], ReopenedType: of0[Reopened], UndoType: of0[Undo],
	ConclusionType: of0[Conclusion], SettingsChangedType: of0[Settings],
}

func of0[T any]() any { return new(T) }

// Types lists the types of entries this program writes.
func Types() []string {
	out := make([]string, 0, len(payloads))
	for t := range payloads {
		out = append(out, t)
	}
	return out
}

// NewPayload gives an empty payload of a type, for a document generated from the
// types.
func NewPayload(entryType string) (any, bool) {
	f, ok := payloads[entryType]
	if !ok {
		return nil, false
	}
	return f(), true
}

// MaxPayload is the most one payload may have; measurements are captures.
const MaxPayload = 256 << 10

// CheckPayload holds what is about to be written to its type: known fields only,
// forms that a job file could hold, and no personal data in the chain. Reading is
// not as strict: what an older or newer program wrote stays.
func CheckPayload(entryType string, payload []byte) error {
	p, ok := NewPayload(entryType)
	if !ok {
		return fmt.Errorf("there is no entry type %s%s", strict.Quote(entryType), listed(entryType, Types()))
	}
	if len(payload) > MaxPayload {
		return fmt.Errorf("the payload has %d bytes, at most %d are taken; measurements are captures", len(payload), MaxPayload)
	}
	if err := OneOfEach(payload); err != nil {
		return fmt.Errorf("payload of %s: %w", entryType, err)
	}
	d := json.NewDecoder(bytes.NewReader(payload))
	d.DisallowUnknownFields()
	if err := d.Decode(p); err != nil {
		return fmt.Errorf("payload of %s: %w", entryType, err)
	}
	if d.More() {
		return fmt.Errorf("payload of %s: more follows after its end", entryType)
	}
	return checkFilled(p)
}

// checkFilled asks for the fields without which the entry means nothing.
func checkFilled(p any) error {
	need := func(ok bool, what string) error {
		if ok {
			return nil
		}
		return errors.New(what)
	}
	said := func(s string) bool { return strings.TrimSpace(s) != "" }
	switch p := p.(type) {
	case *Received:
		if err := need(p.Kind == "" || p.Kind == "diagnosis" || p.Kind == "service", "kind: write diagnosis or service"); err != nil {
			return err
		}
		return errors.Join(checkVehicle(p.Vehicle), checkForm("complaint", p.Complaint, &Complaint{}), checkForm("history", p.History, &History{}), checkKnown(p.Known),
			checkForms("limits", p.Limits, func() any { return &Limit{} }), checkForms("overrules", p.Overrules, func() any { return &Overrule{} }), checkForms("kept", p.Kept, func() any { return &Kept{} }), checkForms("approvals", p.Approvals, func() any { return &Approval{} }),
			checkForms("corrections", p.Corrections, func() any { return &Correction{} }), checkForm("proof", p.Proof, &Proof{}), checkForm("handed_over", p.HandedOver, &Handover{}))
	case *VehicleChanged:
		return errors.Join(checkVehicle(p.Vehicle), checkForm("complaint", p.Complaint, &Complaint{}), checkForm("history", p.History, &History{}), checkKnown(p.Known))
	case *CaptureAdded:
		return errors.Join(need(shaForm.MatchString(p.SHA256), "sha256: write the 64 hex digits the upload gave"), need(p.Item >= 0 && p.Size >= 0, "item and size are not below zero"),
			checkForm("form", p.Form, &Capture{}))
	case *CaptureDescribed:
		return checkForm("form", p.Form, &Capture{})
	case *ReadingTyped:
		return errors.Join(need(len(p.Form) > 0, "form: write what was read"), need(p.Item >= 0, "item: not below zero"), checkForm("form", p.Form, &Reading{}))
	case *ProofPlanned:
		return checkForm("form", p.Form, &Proof{})
	case *Corrected:
		return need(said(p.Done), "done: say in words what was done")
	case *LimitGiven:
		return checkForm("form", p.Form, &Limit{})
	case *SetAside:
		return nil // the reason is asked for by the fold: counting again needs none
	case *Overruled:
		return errors.Join(need(said(p.Suspect), "suspect: which one"), need(said(p.Reason), "reason: an overrule needs its reason in words"))
	case *ReadingsKept:
		return errors.Join(need(len(p.Items) >= 2, "items: name those that disagree"), need(said(p.Reason), "reason: say why all of them are kept"))
	case *SuspectAdded:
		return errors.Join(need(len(p.Fault) > 0, "fault: write the suspect as in a fault book"), checkForm("component", p.Component, &book.Component{}), checkForm("fault", p.Fault, &book.Fault{}))
	case *TestAdded:
		return errors.Join(need(len(p.Test) > 0, "test: write the test as in a fault book"), checkForm("test", p.Test, &book.Test{}))
	case *Note:
		return need(said(p.Text), "text: write the note")
	case *Dangerous:
		return need(said(p.Text), "text: say what must not be done and why")
	case *MadeSafe:
		return need(said(p.Text), "text: say what made it safe")
	case *Undo:
		return need(said(p.Entry), "entry: say which one")
	case *TimePunch:
		return need(p.What == "in" || p.What == "out", "what: write in or out")
	case *ProcedureStarted:
		return need(said(p.Run) && said(p.Procedure), "run and procedure: both are needed")
	case *ProcedureAdded:
		return need(said(p.Procedure) && Digest([]byte(p.Text)) == p.SHA256, "text and sha256: the hash is not that of the text")
	case *ProcedureEvent:
		return need(said(p.Run) && said(p.Line), "run and line: both are needed")
	case *Closed:
		return need(p.Result == "proven" || p.Result == "improved" || p.Result == "not_proven", "result: write proven, improved or not_proven")
	case *PhotoAdded:
		return need(shaForm.MatchString(p.SHA256), "sha256: write the 64 hex digits of the photograph")
	case *Settings:
		return p.Check()
	}
	return nil
}

var shaForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// checkVehicle keeps VIN and plate out of the chain.
func checkVehicle(form Form) error {
	f, err := parseForm(form)
	if err != nil {
		return fmt.Errorf("vehicle: %w", err)
	}
	for _, n := range []string{"vin", "plate"} {
		if _, ok := f.values[n]; ok {
			return fmt.Errorf("vehicle: %s does not belong in the record; keep it with the customer, where it can be erased", n)
		}
	}
	var v Vehicle
	if err := checkForm("vehicle", form, &v); err != nil {
		return err
	}
	// A figure that may be put right later is only asked to be possible.
	if v.Engine != nil && (v.Engine.Cylinders < 0 || v.Engine.Cylinders > vehicle.MostCylinders) {
		return fmt.Errorf("vehicle: engine: %d cylinders; write a number from 1 to %d", v.Engine.Cylinders, vehicle.MostCylinders)
	}
	return nil
}

// checkKnown holds facts to what they can be; the cylinders are those of the largest engine,
// since the engine may be written later.
func checkKnown(form Form) error {
	var k Known
	if err := checkForm("known", form, &k); err != nil {
		return err
	}
	if _, err := k.Check(vehicle.MostCylinders); err != nil {
		return fmt.Errorf("known: %w", err)
	}
	return nil
}

func checkForms(name string, forms []Form, fresh func() any) error {
	for i, f := range forms {
		if err := checkForm(fmt.Sprintf("%s[%d]", name, i), f, fresh()); err != nil {
			return err
		}
	}
	return nil
}

// checkForm reads a form the way a job file is read.
func checkForm(name string, form Form, into any) error {
	f, err := parseForm(form)
	if err != nil || len(f.names) == 0 {
		if err != nil {
			err = fmt.Errorf("%s: %w", name, err)
		}
		return err
	}
	var b strings.Builder
	writeYAML(&b, f, "")
	doc, ps := strict.Parse(name, []byte(b.String()))
	if doc != nil {
		ps = append(ps, strict.Decode(doc, doc.Root, into)...)
	}
	if errs := strict.Errors(ps); len(errs) > 0 {
		p := errs[0]
		if p.Path != "" {
			return fmt.Errorf("%s: %s: %s", name, p.Path, p.Text)
		}
		return fmt.Errorf("%s: %s", name, p.Text)
	}
	return nil
}

// Target names what an entry sets, so that two devices setting the same thing
// without seeing each other are told. Empty: entries of this type only add.
func Target(entryType string, payload []byte) string {
	var p struct {
		Item    int             `json:"item"`
		Suspect string          `json:"suspect"`
		Test    string          `json:"test"`
		Subject string          `json:"subject"`
		Run     string          `json:"run"`
		Step    string          `json:"step"`
		Entry   string          `json:"entry"`
		Form    json.RawMessage `json:"form"`
	}
	if json.Unmarshal(payload, &p) != nil {
		p.Test = "" // a test given as a form is no id: such an entry only adds
	}
	switch entryType {
	case SetAsideType, CountedAgainType, RetakenType, CaptureDescribedType:
		return fmt.Sprintf("item %d", p.Item)
	case OverruledType:
		return "suspect " + p.Suspect
	case TestStartedType, TestEndedType:
		return strings.TrimSpace("test " + p.Test + " " + p.Subject)
	case ProcedureEventType:
		if p.Step != "" {
			return "step " + p.Step + " of run " + p.Run
		}
	case ClosedType, ReopenedType:
		return "closing the job"
	case VehicleChangedType:
		return "vehicle and complaint"
	case ReadingTypedType:
		return readingTarget(p.Form)
	}
	return ""
}

func readingTarget(form Form) string {
	f, err := parseForm(form)
	if err != nil {
		return ""
	}
	what := f.text("test")
	if what == "" {
		what = f.text("feature")
	}
	at := ""
	for _, n := range []string{"cylinder", "cyl", "cylinders", "bank", "corner", "when"} {
		if v, ok := f.values[n]; ok {
			at += fmt.Sprintf(" %s %v", n, v)
		}
	}
	return "reading " + what + at
}

package web

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/job"
	"proveout/shop"
)

func init() {
	routes = append(routes, route{pattern: "POST /jobs/{id}/entries", serve: authored(postEntry)})
}

// entryForm makes the payload of one type of entry from a posted form.
type entryForm struct {
	kind   string // of the entry
	anchor string // part of the page to come back to
	make   func(f url.Values, v *shop.JobView) (any, error)
}

// entryForms are the buttons of the job page: the value of "type" to what it
// writes.
var entryForms = map[string]entryForm{
	"set_aside":     {job.SetAsideType, "evidence", aside},
	"counted_again": {job.CountedAgainType, "evidence", aside},
	"test_chosen":   {job.TestChosenType, "next", chosenOf},
	"test_declined": {job.TestDeclinedType, "next", chosenOf},
	"test_started": {job.TestStartedType, "next", func(f url.Values, _ *shop.JobView) (any, error) {
		return job.TestStarted{Test: f.Get("test"), Subject: f.Get("subject")}, nil
	}},
	"found":     {job.ReadingTypedType, "suspects", found},
	"overruled": {job.OverruledType, "suspects", overruled},
	"readings_kept": {job.ReadingsKeptType, "evidence", func(f url.Values, _ *shop.JobView) (any, error) {
		var k job.ReadingsKept
		for _, s := range f["item"] {
			n, err := strconv.Atoi(s)
			if err != nil {
				return nil, badField("item")
			}
			k.Items = append(k.Items, n)
		}
		k.Reason = reason(f)
		return k, nil
	}},
	"correction":   {job.CorrectionType, "correction", correction},
	"part_fitted":  {job.PartFittedType, "correction", part},
	"part_ordered": {job.PartOrderedType, "correction", part},
	"part_arrived": {job.PartArrivedType, "correction", func(f url.Values, _ *shop.JobView) (any, error) {
		return job.PartArrived{Entry: f.Get("entry")}, nil
	}},
	"made_safe":   {job.MadeSafeType, "top", func(f url.Values, _ *shop.JobView) (any, error) { return job.MadeSafe{Text: words(f, "text")}, nil }},
	"interrupted": {job.InterruptedType, "top", interrupted},
	"resumed":     {job.ResumedType, "top", func(url.Values, *shop.JobView) (any, error) { return job.Resumed{}, nil }},
	"closed": {job.ClosedType, "proof", func(f url.Values, _ *shop.JobView) (any, error) {
		return job.Closed{Result: f.Get("result"), Because: words(f, "because")}, nil
	}},
	"reopened": {job.ReopenedType, "proof", func(f url.Values, _ *shop.JobView) (any, error) {
		return job.Reopened{Because: words(f, "because")}, nil
	}},
	"note":           {job.NoteType, "work", func(f url.Values, _ *shop.JobView) (any, error) { return job.Note{Text: words(f, "text")}, nil }},
	"approval_given": {job.ApprovalGivenType, "work", approval},
	"approval_asked": {job.ApprovalAskedType, "work", approval},
	"time_punch":     {job.TimePunchType, "work", func(f url.Values, _ *shop.JobView) (any, error) { return job.TimePunch{What: f.Get("what")}, nil }},
	"hand_over": {job.HandOverType, "work", func(f url.Values, _ *shop.JobView) (any, error) {
		return job.HandOver{To: f.Get("to"), Card: words(f, "card")}, nil
	}},
	"limit_given": {job.LimitGivenType, "next", limitGiven},
	"undo":        {job.UndoType, "record", undone},
}

// longest is the most runes of a field that a person types.
const longest = 2000

func words(f url.Values, name string) string { return clip(strings.TrimSpace(f.Get(name)), longest) }

// postEntry writes what a button of a page says, and goes back to where it was.
func postEntry(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	kinds := r.PostForm["type"]
	if len(kinds) == 0 {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Detail: "the form says no type"}
	}
	form, ok := entryForms[kinds[len(kinds)-1]]
	if !ok {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Detail: "there is no form of this type"}
	}
	id := r.PathValue("id")
	v, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	payload, err := form.make(r.PostForm, v)
	if err != nil {
		return err
	}
	receipt, err := s.write(r, id, form.kind, payload, a)
	if err != nil {
		return err
	}
	if kinds[0] == "found" {
		if err := s.endTest(r, v, a); err != nil {
			return err
		}
	}
	return s.written(w, r, receipt, "/jobs/"+url.PathEscape(id)+"#"+form.anchor)
}

// write sends one command of a posted form. The same form sent twice from the same
// state of the job (a double tap) is the same command and written once.
func (s *Server) write(r *http.Request, id, kind string, payload any, a author) (shop.Receipt, error) {
	c, err := s.command(r, id, kind, payload, a)
	if err != nil {
		return shop.Receipt{}, err
	}
	if err := s.mayClose(r.Context(), id, kind, c.Payload); err != nil {
		return shop.Receipt{}, err
	}
	return s.bench.Write(r.Context(), id, c)
}

func (s *Server) command(r *http.Request, id, kind string, payload any, a author) (shop.Command, error) {
	body, err := json.Marshal(payload)
	if err != nil {
		return shop.Command{}, err
	}
	rev, _ := strconv.ParseInt(r.PostForm.Get("rev"), 10, 64) // none: not known what was seen
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s\x00%d\x00%s\x00%s\x00%s", id, a.Device, a.Person, rev, r.PostForm.Get("key"), kind, body))
	key := "form-" + hex.EncodeToString(sum[:16])
	if k := r.Header.Get("Idempotency-Key"); k != "" {
		key = "sent-" + clip(k, 100) + "-" + kind // of the outbox: one form may write several entries
	}
	at := s.when(r)
	return shop.Command{
		Key: key, Device: a.Device, Author: a.Person, Type: kind, Payload: body, Seen: rev,
		Wall: at.Wall, MonotonicNS: at.Mono, Boot: at.Boot, Attested: a.Attested,
	}, nil
}

// endTest ends a test that was started, with its real minutes.
func (s *Server) endTest(r *http.Request, v *shop.JobView, a author) error {
	test, subject := r.PostForm.Get("test"), r.PostForm.Get("subject")
	for _, t := range v.Tests {
		if t.Test == test && t.Subject == subject && t.Ended == "" {
			_, err := s.write(r, v.Job, job.TestEndedType, job.TestEnded{Test: test, Subject: subject, Minutes: minutesSince(t.Started, s.when(r).Wall), Done: true}, a)
			return err
		}
	}
	return nil
}

func aside(f url.Values, _ *shop.JobView) (any, error) {
	n, err := strconv.Atoi(f.Get("item"))
	if err != nil {
		return nil, badField("item")
	}
	return job.SetAside{Item: n, Reason: words(f, "reason")}, nil
}

// chosenOf records a choice with everything that was on offer beside it.
func chosenOf(f url.Values, v *shop.JobView) (any, error) {
	minutes, _ := strconv.ParseFloat(f.Get("minutes"), 64) // an estimate; 0: not known
	c := job.TestChosen{Test: f.Get("test"), Subject: f.Get("subject"), Minutes: minutes, Reason: reason(f)}
	if v.Answer != nil {
		for i := range v.Answer.Next {
			n := &v.Answer.Next[i]
			c.Offered = append(c.Offered, job.Offered{Test: n.Test, Subject: subjectKey(n.Subject), Minutes: n.Minutes, EndsIt: n.EndsIt, SettlesBits: n.SettlesBits})
		}
	}
	return c, nil
}

// reason is the tapped reason, the written one, or both.
func reason(f url.Values) string {
	tapped, written := words(f, "reason"), words(f, "reason_words")
	if tapped != "" && written != "" {
		return tapped + ": " + written
	}
	return cmp.Or(tapped, written)
}

// found is a result picked from the outcomes written before the look.
func found(f url.Values, _ *shop.JobView) (any, error) {
	form := map[string]any{"test": f.Get("test"), "result": f.Get("result"), "note": "picked from the outcomes expected"}
	if err := where(form, f.Get("subject")); err != nil {
		return nil, err
	}
	return typed(form)
}

// typed is a typed reading with its form.
func typed(form map[string]any) (any, error) {
	body, err := json.Marshal(form)
	return job.ReadingTyped{Form: body}, err
}

// where puts a subject into a form the way a job file says it.
func where(form map[string]any, key string) error {
	if key == "" || key == "engine" {
		return nil
	}
	s, err := evidence.ParseSubject(key)
	if err != nil {
		return badField("subject")
	}
	switch s.Kind {
	case evidence.Cylinder:
		form["cylinder"] = s.Number
	case evidence.Pair:
		form["cylinders"] = []int{s.Number, s.Second}
	case evidence.Bank:
		form["bank"] = s.Number
	case evidence.Corner:
		if s.Number < 1 || s.Number > 4 {
			return badField("subject")
		}
		form["corner"] = []string{"front_left", "front_right", "rear_left", "rear_right"}[s.Number-1]
	}
	return nil
}

func overruled(f url.Values, _ *shop.JobView) (any, error) {
	return job.Overruled{Suspect: f.Get("suspect"), State: f.Get("state"), Reason: reason(f)}, nil
}

func correction(f url.Values, _ *shop.JobView) (any, error) {
	text := words(f, "text")
	if why := words(f, "why"); why != "" {
		text += " (before it was shown, because: " + why + ")"
	}
	return job.Corrected{Done: text, Cause: f.Get("suspect"), Reused: words(f, "reused")}, nil
}

func part(f url.Values, _ *shop.JobView) (any, error) {
	return job.PartUsed{Name: words(f, "name"), Number: words(f, "number"), Where: words(f, "where"), Suspect: f.Get("suspect")}, nil
}

func approval(f url.Values, _ *shop.JobView) (any, error) {
	minutes, err := strconv.ParseFloat(f.Get("minutes"), 64)
	if err != nil || !(minutes > 0 && minutes <= 6000) {
		return nil, badField("minutes")
	}
	return job.Agreed{Minutes: minutes, By: "customer", How: f.Get("how"), For: words(f, "for")}, nil
}

// interrupted records where the work stands in one tap: the card is written by the
// page, for the person who takes the job up again.
func interrupted(_ url.Values, v *shop.JobView) (any, error) {
	state := v.Next.Label
	card := "Next: " + v.Next.Label + "."
	if v.Answer != nil && v.Answer.Headline != "" && len(v.Items) > 0 {
		card = v.Answer.Headline + " " + card
	}
	for _, t := range v.Tests {
		if t.Ended == "" {
			state = "Part way through " + strings.ReplaceAll(t.Test, "_", " ")
		}
	}
	return job.Interrupted{State: clip(state, longest), Card: clip(card, longest)}, nil
}

// undone takes back an entry that the page shows, where it may be taken back.
func undone(f url.Values, v *shop.JobView) (any, error) {
	for _, e := range v.Entries {
		if e.ID == f.Get("entry") && !e.Undone && offersUndo(e.Type) {
			return job.Undo{Entry: e.ID}, nil
		}
	}
	return nil, badField("entry")
}

// badField says which field of a form cannot be used.
func badField(name string) error {
	return &Problem{Status: http.StatusUnprocessableEntity, Kind: "bad_field", Args: []any{name}}
}

// mayClose holds a closing against the proof: a job is proven when its proof says so,
// and not because somebody tapped it.
func (s *Server) mayClose(ctx context.Context, id, kind string, payload json.RawMessage) error {
	var c job.Closed
	if kind != job.ClosedType || json.Unmarshal(payload, &c) != nil || c.Result != "proven" {
		return nil // what cannot be read is refused where it is checked
	}
	a, err := s.bench.Proof(ctx, id)
	if err != nil && !errors.Is(err, shop.ErrNoProof) {
		return err
	}
	if a == nil || a.State != "proven" {
		return &Problem{Status: http.StatusConflict, Kind: "not_proven"}
	}
	return nil
}

package job

import (
	"fmt"
	"slices"
	"strings"

	"proveout/book"
	"proveout/strict"
	"proveout/unit"
)

// Customer is who brought the vehicle. Personal data: printed on the report only.
type Customer struct {
	Name  string `yaml:"name" alone:"yes"`
	Phone string `yaml:"phone"`
}

// Approval is work agreed with the customer.
type Approval struct {
	What string `yaml:"what" alone:"yes"` // "1.5 h finding"
	At   string `yaml:"at"`               // RFC 3339
	How  string `yaml:"how"`              // signed, phone, message, in_person
	Who  string `yaml:"who"`              // who took it
}

// Correction is one thing done to put the complaint right.
type Correction struct {
	Done   string `yaml:"done" alone:"yes"` // what was done, in words
	Cause  string `yaml:"cause"`            // suspect id it answers, "plug_gap_wide@cyl3"
	At     string `yaml:"at"`               // RFC 3339
	Who    string `yaml:"who"`
	Parts  []Part `yaml:"parts"`
	Reused string `yaml:"reused"` // what was put back in, and where
}

// Part is a part that was fitted.
type Part struct {
	Name   string `yaml:"name"`
	Number string `yaml:"number"` // part number
	Lot    string `yaml:"lot"`
	Count  int    `yaml:"count"` // 0 = 1
}

// Drive says what a parameter log was driven for. The drives after the repair
// are the captures with when: after.
type Drive struct {
	As string `yaml:"as" alone:"yes"` // before, found (default), cause
	// Episodes are times at which the fault was noticed, from the start of the log:
	// "41 s", "1.5 min". An empty list: somebody watched and noticed none.
	Episodes []string `yaml:"episodes"`
	Road     string   `yaml:"road"` // the whole outing, "44 min"
}

// Proof is how the repair is to be proven.
type Proof struct {
	By         string        `yaml:"by" alone:"yes"` // road, measured, old_part_back: named before driving
	Conditions *FaultWindow  `yaml:"conditions"`     // empty: from the freeze frame, else from the complaint
	LoadWithin string        `yaml:"load_within"`    // points (default) or relative: how "load within 20 percent" is read
	Gap        string        `yaml:"gap"`            // events closer than this are one episode, "10 s"
	AtLeast    int           `yaml:"at_least"`       // counted events an episode needs, 1
	Erased     string        `yaml:"erased"`         // when the codes were erased after the repair
	OldPart    *OldPartTried `yaml:"old_part_back"`
}

// FaultWindow is the conditions in which the fault showed.
type FaultWindow struct {
	Rpm     string `yaml:"rpm"`      // "2400" (375 either way) or "2000 to 2800"
	LoadPct string `yaml:"load_pct"` // "80" (20 points either way) or "60 to 100"
	Gear    string `yaml:"gear"`
	Road    string `yaml:"road"` // road speed at rpm in that gear, "48 km/h": checks the gear
	Warm    string `yaml:"warm"` // cold, warm, hot, any
	From    string `yaml:"from"` // where it was read
}

// OldPartTried is the proof by putting the old part back.
type OldPartTried struct {
	CameBack string `yaml:"came_back"` // yes, no: with the old part in, in the fault conditions
	Gone     string `yaml:"gone"`      // yes, no: with the new part in again
	Note     string `yaml:"note"`
}

// Handover is how the job ended.
type Handover struct {
	At       string `yaml:"at"`
	Odometer string `yaml:"odometer"`
	Because  string `yaml:"because"` // "not proven, handed over because ..."
	Left     string `yaml:"left"`    // what is left to do
	AskAgain string `yaml:"ask_again"`
}

// DriveNote is a drive entry, checked.
type DriveNote struct {
	As          string // before, found, cause
	MarksS      []float64
	Watched     bool
	RoadMinutes float64
}

// ProofPlan is the proof entry, checked.
type ProofPlan struct {
	By                                 string // "" = not named
	RpmLow, RpmHigh, LoadLow, LoadHigh float64
	RpmPoint, LoadPoint                bool // one figure was written: the bands go around it
	Relative                           bool // load within 20 % of the value, not points
	Gear, Warm, From                   string
	RoadKmh                            float64
	GapS                               float64
	AtLeast                            int
	Erased                             string
	OldPart                            *OldPartTried // answers are yes, no or ""
}

var (
	driveWords    = []string{"before", "found", "cause"}
	wayWords      = []string{"road", "measured", "old_part_back"}
	withinWords   = []string{"points", "relative"}
	approvalWords = []string{"signed", "phone", "message", "in_person"}
)

// repair checks everything about the repair, its proof and the hand-over. What
// is wrong in it never touches the diagnosis.
func (r *resolver) repair() {
	f := r.f
	for i, a := range f.Approvals {
		r.word(a.How, approvalWords, "approvals", i, "how")
		r.stamp(a.At, "approvals", i, "at")
	}
	for i, c := range f.Corrections {
		r.stamp(c.At, "corrections", i, "at")
		if strings.TrimSpace(c.Done) == "" {
			r.err("is missing; write in words what was done", "corrections", i, "done")
		}
		if c.Cause != "" && !slices.ContainsFunc(r.in.Suspects, func(s book.Suspect) bool { return s.ID == strings.TrimSpace(c.Cause) }) {
			var ids []string
			for _, s := range r.in.Suspects {
				ids = append(ids, s.ID)
			}
			r.warn(fmt.Sprintf("there is no suspect %s on this engine%s", strict.Quote(c.Cause), listed(c.Cause, ids)), "corrections", i, "cause")
		}
		for j, p := range c.Parts {
			if p.Count < 0 || p.Count > 1000 {
				r.err(fmt.Sprintf("%d is no number of parts", p.Count), "corrections", i, "parts", j, "count")
			}
		}
	}
	if h := f.HandedOver; h != nil {
		r.stamp(h.At, "handed_over", "at")
	}
	r.proof()
}

// proof reads the proof entry.
func (r *resolver) proof() {
	w := r.f.Proof
	out := &r.out.Proof
	if w == nil {
		return
	}
	out.By, _ = r.word(w.By, wayWords, "proof", "by")
	within, _ := r.word(w.LoadWithin, withinWords, "proof", "load_within")
	out.Relative = within == "relative"
	out.GapS = r.seconds(w.Gap, "10 s", "proof", "gap")
	if out.AtLeast = w.AtLeast; w.AtLeast < 0 {
		r.err("counts from 1", "proof", "at_least")
		out.AtLeast = 0
	}
	out.Erased = strings.TrimSpace(w.Erased)
	if _, yes := strict.Bool(out.Erased); !yes {
		r.stamp(w.Erased, "proof", "erased")
	}
	if c := w.Conditions; c != nil {
		at := func(name string) []any { return []any{"proof", "conditions", name} }
		out.RpmLow, out.RpmHigh = r.span(c.Rpm, "rpm", 0, 20000, at("rpm")...)
		out.LoadLow, out.LoadHigh = r.span(c.LoadPct, "%", 0, 100, at("load_pct")...)
		out.RpmPoint, out.LoadPoint = out.RpmLow == out.RpmHigh, out.LoadLow == out.LoadHigh
		out.Gear, out.From = strings.TrimSpace(c.Gear), strings.TrimSpace(c.From)
		out.Warm, _ = r.word(c.Warm, append([]string{"any", "unknown"}, warmWords...), at("warm")...)
		if c.Road != "" {
			q, err := quantity(c.Road, "")
			if err != nil || q.Unit.Dim != unit.Speed || !(q.SI > 0 && q.SI < 120) {
				r.err(strict.Quote(c.Road)+" is no road speed; write for example 48 km/h", at("road")...)
			} else {
				out.RoadKmh = q.SI * 3.6
			}
		}
	}
	if o := w.OldPart; o != nil {
		answer := func(s, name string) string {
			a, err := yesNo(s)
			if err != nil {
				r.err(err.Error(), "proof", "old_part_back", name)
			}
			return a
		}
		out.OldPart = &OldPartTried{CameBack: answer(o.CameBack, "came_back"), Gone: answer(o.Gone, "gone"), Note: o.Note}
	}
}

// drive reads the drive entry of a capture.
func (r *resolver) drive(w *Drive, i int) *DriveNote {
	if w == nil {
		return nil
	}
	d := &DriveNote{RoadMinutes: r.seconds(w.Road, "44 min", "captures", i, "drive", "road") / 60, Watched: r.f.has("captures", i, "drive", "episodes")}
	if d.As, _ = r.word(w.As, driveWords, "captures", i, "drive", "as"); d.As == "" {
		d.As = "found"
	}
	for j, s := range w.Episodes {
		before := len(r.out.Problems)
		if t := r.seconds(s, "41 s", "captures", i, "drive", "episodes", j); len(r.out.Problems) == before {
			d.MarksS = append(d.MarksS, t)
		}
	}
	slices.Sort(d.MarksS)
	return d
}

// seconds reads a length of time; 0 when none is written.
func (r *resolver) seconds(s, example string, steps ...any) float64 {
	if strings.TrimSpace(s) == "" {
		return 0
	}
	q, err := quantity(s, "s")
	if err != nil || q.Unit.Dim != unit.Time || q.SI < 0 || q.SI > 1e6 {
		r.err(fmt.Sprintf("%s is no length of time; write for example %s", strict.Quote(s), example), steps...)
		return 0
	}
	return q.SI
}

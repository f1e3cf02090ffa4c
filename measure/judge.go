package measure

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"proveout/evidence"
	"proveout/unit"
	"proveout/vehicle"
)

// Ask is one question put to the readings of a feature: usually one test of a
// fault book (book.Reads and its outcomes).
type Ask struct {
	Test    string // id of the test; empty for a reading nobody asks about
	Feature string
	Versus  Versus
	// Normal is the stretch of the effect that counts as normal: ratio for Others and
	// VsLimit, SI for Difference and Absolute, share for Count. Nil: the feature's own
	// margin.
	Normal *Band
	// Nominal is a generic nominal value of the book, SI, used when the job gives no
	// limit.
	Nominal *float64
}

// Band is a closed stretch.
type Band struct{ From, To float64 }

// Limit is a limit or nominal value for this vehicle, SI. A zero Subject holds for
// all.
type Limit struct {
	Feature           string
	Subject           evidence.Subject
	Min, Max, Nominal *float64
	Source            string
}

// Task is everything Judge needs.
type Task struct {
	Engine      vehicle.Engine
	Readings    []evidence.Reading
	NotMeasured []NotMeasured
	Asks        []Ask
	Limits      []Limit
	Features    []evidence.Feature // those the catalogue lacks: of the books and the job
	Level       float64            // 0 = 0.95
}

// Judge turns readings into findings, one for each question, subject, operating
// condition and side of the repair, in a fixed order (feature, subject, test).
// Every reading ends in at least one finding: one that no test asks about is held
// against a limit or the other cylinders if it can be, else shown as it is.
//
// Set-aside readings must not be passed: they would pollute the comparison.
func Judge(t Task) []evidence.Finding {
	if t.Level == 0 {
		t.Level = level
	}
	readings := Derive(t.Readings)
	groups := groupReadings(readings)
	family := t.family(groups)
	var out []evidence.Finding
	for _, g := range groups {
		for _, a := range t.asksFor(g) {
			out = append(out, t.judge(g, a, family[familyOf(g.feature)])...)
		}
	}
	out = append(out, t.unmeasured(readings)...)
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		switch {
		case a.Feature != b.Feature:
			return a.Feature < b.Feature
		case a.When != b.When:
			return a.When < b.When
		case a.Subject.Kind != b.Subject.Kind:
			return a.Subject.Kind < b.Subject.Kind
		case a.Subject.Number != b.Subject.Number:
			return a.Subject.Number < b.Subject.Number
		case a.Subject.Second != b.Subject.Second:
			return a.Subject.Second < b.Subject.Second
		}
		return a.Test < b.Test
	})
	name(out)
	return out
}

// family counts the comparisons of each family: features x subjects.
func (t Task) family(groups []group) map[string]int {
	n := map[string]int{}
	for _, g := range groups {
		for _, a := range t.asksFor(g) {
			if a.Versus == Others || a.Versus == Difference {
				n[familyOf(g.feature)] += len(bySubject(g.readings))
				break
			}
		}
	}
	return n
}

// asksFor lists the questions to a group; without one, what suits it best.
func (t Task) asksFor(g group) []Ask {
	var out []Ask
	for _, a := range t.Asks {
		if a.Feature == g.feature {
			if a.Versus == "" {
				a.Versus = Absolute
			}
			out = append(out, a)
		}
	}
	if len(out) > 0 {
		return out
	}
	a := Ask{Feature: g.feature, Versus: Absolute}
	f := t.featureOf(g.feature, g.readings[0])
	switch {
	case g.feature == "misfire.count" || g.feature == "misfire.share":
		a.Versus = Count
	case t.limitFor(g.feature, g.readings[0].Subject) != nil:
		a.Versus = VsLimit
	case f.Per == evidence.Cylinder && len(bySubject(g.readings)) > 1:
		a.Versus = Others
		tr := traitsOf(f)
		if tr.margin == 0 && tr.marginAbs > 0 || f.Dim == unit.Percent || f.ID == "ignition.spark_line_slope" || f.ID == "ignition.spark_line_noise" || f.ID == "ignition.ring_count" {
			a.Versus = Difference
		}
	}
	return []Ask{a}
}

// asTyped shows a feature in the unit the person typed, when all readings are
// typed in one.
func asTyped(f evidence.Feature, rs []evidence.Reading) evidence.Feature {
	u := rs[0].Value.Unit
	for _, r := range rs {
		if !r.Typed || r.Value.Unit != u || u.Dim != f.Dim {
			return f
		}
	}
	if u.Symbol != "" && u.Symbol != "1" {
		f.Unit = u.Symbol
	}
	return f
}

// limitFor finds the limit of a feature, the one for the subject before the one
// for all.
func (t Task) limitFor(feature string, s evidence.Subject) *Limit {
	var all *Limit
	for i := range t.Limits {
		l := &t.Limits[i]
		if l.Feature != feature {
			continue
		}
		if l.Subject == s {
			return l
		}
		if l.Subject.Kind == "" {
			all = l
		}
	}
	return all
}

// judge answers one question for one group.
func (t Task) judge(g group, a Ask, family int) []evidence.Finding {
	f := asTyped(t.featureOf(g.feature, g.readings[0]), g.readings)
	usable, out := t.screen(g, f, a)
	if len(usable) == 0 {
		return out
	}
	switch a.Versus {
	case Others, Difference:
		// Like with like: a pair of cylinders is not compared with one.
		for _, kind := range kindsOf(usable) {
			var same []evidence.Reading
			for _, r := range usable {
				if r.Subject.Kind == kind {
					same = append(same, r)
				}
			}
			out = append(out, t.versusOthers(g, f, a, same, family)...)
		}
	case Count:
		out = append(out, t.versusCounts(g, f, a, usable)...)
	default:
		groups := bySubject(usable)
		for _, rs := range groups {
			fd := t.absolute(f, a, rs)
			if a.Versus == VsLimit {
				fd = t.versusLimit(f, a, rs)
			}
			fd.AllCompared = t.allMeasured(f, len(groups))
			out = append(out, fd)
		}
	}
	return out
}

// kindsOf lists the kinds of subject among readings, in order of appearance.
func kindsOf(rs []evidence.Reading) []evidence.Kind {
	var out []evidence.Kind
	for _, r := range rs {
		if !slices.Contains(out, r.Subject.Kind) {
			out = append(out, r.Subject.Kind)
		}
	}
	return out
}

// allMeasured reports whether n subjects are all there are: "shown" needs the
// healthy neighbours, also where the limit decides.
func (t Task) allMeasured(f evidence.Feature, n int) bool {
	return f.Per == evidence.Cylinder && t.Engine.Cylinders > 0 && n >= t.Engine.Cylinders
}

// screen takes out what may not decide anything: blocked readings, wrong
// dimension, impossible size, a cylinder the engine does not have. Subjects left
// with nothing get a finding that says why.
func (t Task) screen(g group, f evidence.Feature, a Ask) (usable []evidence.Reading, out []evidence.Finding) {
	for _, rs := range bySubject(g.readings) {
		var bad []evidence.Finding
		good := 0
		for _, r := range rs {
			why, fix, flag := t.unusable(f, r)
			if why == "" && a.Versus == Count && r.Value.SI < 0 {
				why, fix, flag = "a count cannot be less than nothing", "read it again", evidence.ScaleUnsure
			}
			if why == "" {
				usable = append(usable, r)
				good++
				continue
			}
			bad = append(bad, notMeasured(f, a.Test, r, why, fix, flag))
		}
		if good == 0 {
			out = append(out, bad[0])
		}
	}
	return usable, out
}

// unusable says why a reading may not be judged; empty when it may.
func (t Task) unusable(f evidence.Feature, r evidence.Reading) (why, fix string, flag evidence.Flag) {
	if r.Subject.Kind == "" && f.Per != evidence.Engine && f.Per != evidence.Vehicle {
		return "it is not said which " + string(f.Per) + " it belongs to", "write the " + string(f.Per) + " beside the capture or reading", evidence.Unplaced
	}
	if k := r.Subject.Kind; f.Per == evidence.Cylinder && k != evidence.Cylinder && k != evidence.Pair && k != "" {
		return fmt.Sprintf("%s is read on a cylinder, and is written to %s", f.Name, r.Subject), "write the cylinder beside it", evidence.Unplaced
	}
	if c := t.Engine.Cylinders; r.Subject.Kind == evidence.Cylinder && c > 0 && (r.Subject.Number > c || r.Subject.Number < 1) {
		return fmt.Sprintf("it is written to %s, the engine has %d cylinders", r.Subject, c), "correct the cylinder, or the engine's layout", evidence.Unplaced
	}
	if f.Dim != "" && r.Value.Unit.Dim != f.Dim && r.Value.Unit.Symbol != "" && !(f.Dim == unit.None && r.Value.Unit.Dim == unit.Voltage && f.Amplitude) {
		return fmt.Sprintf("it is given in %s, which is a %s; %s is a %s", r.Value.Unit.Symbol, r.Value.Unit.Dim, f.Name, f.Dim), "correct the unit or the feature", evidence.ScaleUnsure
	}
	for _, fl := range r.Flags {
		if fl.Blocks() {
			return blockedWhy(fl, r.Feature), blockedFix(fl, r.Feature), fl
		}
	}
	if tr := traitsOf(f); (tr.low != 0 || tr.high != 0) && (r.Value.SI < tr.low || r.Value.SI > tr.high) {
		return fmt.Sprintf("%s cannot be: %s lies between %s and %s", r.Value, f.Name, show(tr.low, f), show(tr.high, f)), "check the unit and the decimal point", evidence.ScaleUnsure
	}
	return "", "", ""
}

// fasterFix and longerFix say how to take a capture again where it is no matter of
// microseconds and firings, by the first word of the feature; the rates are those that
// the kinds themselves ask for.
var (
	fasterFix = map[string]string{
		"brake": "record at 100 samples a second or more; 1000 show it well", "log": "log fewer parameters at a time", "oxygen": "log fewer parameters at a time",
		"battery": "record at 1 kS/s or more", "cranking": "record at 1 kS/s or more", "charging": "record at 50 kS/s or more", "fuel": "record at 20 kS/s or more",
		"injector": "take it again at 100 kS/s or more", "coil": "take it again at 100 kS/s or more",
	}
	longerFix = map[string]string{
		"brake": "record more movements", "coil": "record ten or more", "injector": "record ten or more", "crank": "record at least ten turns at a raised idle", "cam": "record at least ten turns at a raised idle",
		"log": "log for longer", "trim": "log for longer", "oxygen": "log for longer", "lambda": "log for longer", "air": "log for longer",
		"battery": "record for longer", "charging": "record for longer", "fuel": "record for longer", "cranking": "crank for longer", "compression": "record more strokes", "cylinder": "record more strokes",
	}
)

// blockedWhy and blockedFix put a blocking flag into words.
func blockedWhy(f evidence.Flag, feature string) string {
	switch f {
	case evidence.Clipped:
		return "the trace is cut off at the recorder's range"
	case evidence.TooSlow:
		return "the sample rate is too slow for it"
	case evidence.TooFewEvents:
		if ofFirings(feature) {
			return "too few firings were recorded"
		}
		return "too little of it was recorded"
	case evidence.Stale:
		return "the value is old"
	case evidence.WrongChannel:
		return "the trace does not look like this kind of signal"
	case evidence.Jump:
		return "the signal makes impossible jumps"
	case evidence.ScaleUnsure:
		return "its scale or unit looks wrong"
	case evidence.NoExposure:
		return "a count of nothing says nothing without the driving behind it"
	}
	return string(f)
}

// ofFirings tells whether a feature is measured firing by firing: a brake, a log or a
// battery has none.
func ofFirings(feature string) bool { return strings.HasPrefix(feature, "ignition.") }

func blockedFix(f evidence.Flag, feature string) string {
	group, _, _ := strings.Cut(feature, ".")
	switch f {
	case evidence.Clipped:
		return "set the recorder to a wider range and take it again"
	case evidence.TooSlow:
		if fix := fasterFix[group]; fix != "" {
			return fix
		}
		if ofFirings(feature) {
			return "take it again at 1 MS/s or more"
		}
		return "take it again at a higher sample rate"
	case evidence.TooFewEvents:
		if fix := longerFix[group]; fix != "" {
			return fix
		}
		if ofFirings(feature) {
			return "record longer: 20 to 50 firings on each placement"
		}
		return "record for longer"
	case evidence.Stale:
		return "read it again"
	case evidence.WrongChannel:
		return "check the channel, the pickup and its lead"
	case evidence.Jump:
		return "check the sensor's plug and the logger, and log it again"
	case evidence.ScaleUnsure:
		return "check the unit, the scale and the time base"
	case evidence.NoExposure:
		return "note revolutions or minutes inside the fault conditions with the count"
	}
	return "take it again"
}

// notMeasured is the finding for a reading that may not decide.
func notMeasured(f evidence.Feature, test string, r evidence.Reading, why, fix string, flag evidence.Flag) evidence.Finding {
	name := f.Name
	free := f.Amplitude && r.Has(evidence.NotCalibrated) // its scale is anyone's guess
	if tr := traitsOf(f); flag == evidence.Unplaced && !r.Blocked() && !free && r.Value.Unit.Dim == f.Dim && (tr.low == 0 && tr.high == 0 || r.Value.SI >= tr.low && r.Value.SI <= tr.high) {
		// The number is good; only where it belongs is not known. It is said.
		value, sd := repeated(f, []evidence.Reading{r})
		name += " " + plusMinus(value, 1.96*sd, f) + ", but it"
	}
	return evidence.Finding{
		Item: r.Item, Test: test, Feature: r.Feature, Subject: r.Subject, State: evidence.NotMeasured,
		Value: fromSI(r.Value.SI, f), Unit: f.Unit, Sigma: step(r.Uncertainty, f),
		Sentence: sentence(fmt.Sprintf("%s: %s cannot be judged: %s. To do: %s.", spokenSubject(r.Subject), name, why, fix)),
		Why:      whyNotMeasured, Flags: uniqueFlags(append([]evidence.Flag{flag}, r.Flags...)), From: []evidence.Source{r.From},
		Condition: r.Condition, When: r.When,
	}
}

const whyNotMeasured = "A number that was not really measured looks like any other number on paper; it must not decide for or against a part."

// unmeasured turns what captures could not give into findings, unless another
// capture gave it.
func (t Task) unmeasured(readings []evidence.Reading) []evidence.Finding {
	var out []evidence.Finding
	for _, n := range t.NotMeasured {
		have := slices.ContainsFunc(readings, func(r evidence.Reading) bool {
			return r.Feature == n.Feature && r.Subject == n.Subject && r.When == n.When && !r.Blocked()
		})
		if have {
			continue
		}
		f := t.featureOf(n.Feature, evidence.Reading{Feature: n.Feature, Subject: n.Subject})
		tests := []string{}
		for _, a := range t.Asks {
			if a.Feature == n.Feature {
				tests = append(tests, a.Test)
			}
		}
		if len(tests) == 0 {
			tests = []string{""}
		}
		for _, test := range tests {
			out = append(out, evidence.Finding{
				Item: n.Item, Test: test, Feature: n.Feature, Subject: n.Subject, State: evidence.NotMeasured, Unit: f.Unit,
				Sentence: sentence(fmt.Sprintf("%s: %s was not measured: %s. To do: %s.", spokenSubject(n.Subject), f.Name, n.Why, n.Fix)),
				Why:      whyNotMeasured, Flags: uniqueFlags([]evidence.Flag{n.Flag}), From: []evidence.Source{n.From}, When: n.When,
			})
		}
	}
	return out
}

package job

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
)

// Facts that follow from the conditions of the complaint; a fault book may use
// them in its context factors, under these ids. An answer under history.facts
// wins over what follows from conditions.
const (
	WorseWet             = "worse_wet"                // shows only when wet or damp
	WorseHot             = "worse_hot"                // shows only heat-soaked
	WorseColdStart       = "worse_cold_start"         // shows only cold
	FuelBelowQuarter     = "fuel_below_quarter"       // fuel level below a quarter
	RecentEngineWork     = "recent_engine_work"       // engine, module or crank sensor worked on lately
	RecentPlugOrCoilWork = "recent_plug_or_coil_work" // plugs, coils, boots or leads fitted lately
	RecentDrivelineWork  = "recent_driveline_work"    // clutch, gearbox, shafts, wheels or tyres worked on lately
	BoostedLoadOnly      = "boosted_load_only"        // boosted engine, shows only under load
	LampFlashing         = "lamp_flashing"            // the warning lamp flashes
	// PlugsBeyondInterval follows from the age of the plugs (history.parts), and is asked at
	// reception too, since few know it by the odometer.
	PlugsBeyondInterval = "plugs_beyond_interval"
)

// DerivedFacts lists those of them that nobody needs to ask: all but PlugsBeyondInterval.
var DerivedFacts = []string{WorseWet, WorseHot, WorseColdStart, FuelBelowQuarter, RecentEngineWork, RecentPlugOrCoilWork, RecentDrivelineWork, BoostedLoadOnly, LampFlashing}

// Complained is the complaint and its conditions.
type Complained struct {
	Said      string
	Symptoms  []string
	States    []evidence.State   // in which it shows; empty = not known
	Condition evidence.Condition // State only when there is exactly one
	// RpmLow to RpmHigh and LoadLow to LoadHigh are the ranges as said; 0 = not said.
	RpmLow, RpmHigh, LoadLow, LoadHigh float64
	Facts                              map[string]string // fact id to yes or no, those of history included
	Lamp                               string            // off, steady, flashing, or ""
}

func (r *resolver) complaint() {
	w := &r.f.Complaint
	out := &r.out.Complaint
	out.Said = strings.TrimSpace(w.Said)
	out.Facts = map[string]string{}
	r.symptoms()
	c := &w.Conditions
	at := func(name string, more ...any) []any {
		return append([]any{"complaint", "conditions", name}, more...)
	}
	for i, s := range c.State {
		v, ok := r.word(s, append([]string{"any", "unknown"}, book.StateWords...), at("state", i)...)
		if ok && v != "" && v != "any" && v != "unknown" && !slices.Contains(out.States, evidence.State(v)) {
			out.States = append(out.States, evidence.State(v))
		}
	}
	if len(out.States) == 1 {
		out.Condition.State = out.States[0]
	}
	out.RpmLow, out.RpmHigh = r.span(c.Rpm, "rpm", 0, 20000, at("rpm")...)
	out.Condition.SpeedRPM = (out.RpmLow + out.RpmHigh) / 2
	out.LoadLow, out.LoadHigh = r.span(c.LoadPct, "%", 0, 200, at("load_pct")...)
	out.Condition.LoadPct = (out.LoadLow + out.LoadHigh) / 2
	if fold(c.Gear) != "unknown" {
		out.Condition.Gear = strings.TrimSpace(c.Gear)
	}
	warm, _ := r.word(c.Warm, append([]string{"any", "unknown"}, warmWords...), at("warm")...)
	wet, _ := r.word(c.Wet, append([]string{"any", "unknown"}, wetWords...), at("wet")...)
	if slices.Contains(warmWords, warm) {
		out.Condition.Warm = warm
	}
	if slices.Contains(wetWords, wet) {
		out.Condition.Wet = wet
	}
	lamp, _ := r.word(c.Lamp, lampWords, at("lamp")...)
	if lamp != "unknown" {
		out.Lamp = lamp
	}
	if _, err := yesNo(c.Hill); err != nil {
		r.err(err.Error(), at("hill")...)
	}
	r.derive(warm, wet, lamp)
	r.fuel(c.FuelLevel, at("fuel_level")...)
	r.recent()
	r.parts()
	r.facts()
}

// symptoms keeps those that a book of the job knows.
func (r *resolver) symptoms() {
	known := map[string]bool{}
	for _, b := range r.in.Books {
		for id := range b.Symptoms {
			known[id] = true
		}
	}
	ids := slices.Sorted(maps.Keys(known))
	for i, s := range r.f.Complaint.Symptoms {
		id := ident(s)
		switch {
		case id == "unknown" || id == "":
		case !known[id]:
			hint := "there are: " + strings.Join(ids, ", ")
			if n := strict.Nearest(id, ids); n != "" {
				hint = fmt.Sprintf("did you mean %q?", n)
			}
			r.err(fmt.Sprintf("no fault book of this job has a symptom %s; %s", strict.Quote(s), hint), "complaint", "symptoms", i)
		case !slices.Contains(r.out.Complaint.Symptoms, id):
			r.out.Complaint.Symptoms = append(r.out.Complaint.Symptoms, id)
		}
	}
	if r.f.Complaint.Said != "" && len(r.f.Complaint.Symptoms) == 0 && len(ids) > 0 {
		r.warn("not said: the complaint in words does not move the odds; name what fits of: "+strings.Join(ids, ", "), "complaint", "symptoms")
	}
}

// derive works out the facts that follow from warm, wet, lamp and states.
// What is not known stays unknown.
func (r *resolver) derive(warm, wet, lamp string) {
	out := &r.out.Complaint
	set := func(id string, holds bool) {
		out.Facts[id] = "no"
		if holds {
			out.Facts[id] = "yes"
		}
	}
	switch wet {
	case "wet", "damp", "dry", "any":
		set(WorseWet, wet == "wet" || wet == "damp")
	}
	switch warm {
	case "hot", "cold", "any":
		set(WorseHot, warm == "hot")
	}
	switch warm {
	case "hot", "cold", "any", "warm":
		set(WorseColdStart, warm == "cold")
	}
	if lamp == "off" || lamp == "steady" || lamp == "flashing" {
		set(LampFlashing, lamp == "flashing")
	}
	if !r.in.Engine.Boosted {
		set(BoostedLoadOnly, false)
	} else if len(out.States) > 0 {
		set(BoostedLoadOnly, len(out.States) == 1 && out.States[0] == evidence.Load)
	}
}

// span reads "2100", "1800 to 2600", "1800-2600 rpm"; 0, 0 when not said.
func (r *resolver) span(s, suffix string, low, high float64, steps ...any) (float64, float64) {
	t := strings.TrimSpace(s)
	if t == "" || fold(t) == "unknown" || fold(t) == "any" {
		return 0, 0
	}
	t = strings.NewReplacer("–", " to ", "..", " to ").Replace(t)
	parts := strings.SplitN(t, " to ", 2)
	if len(parts) == 1 {
		if i := strings.Index(t[1:], "-"); i >= 0 {
			parts = []string{t[:i+1], t[i+2:]}
		}
	}
	var v []float64
	for _, p := range parts {
		f, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(p), suffix)), 64)
		if err != nil || !(f >= low && f <= high) {
			r.err(fmt.Sprintf("%s is not understood; write for example \"2100\" or \"1800 to 2600\", from %g to %g %s", strict.Quote(s), low, high, suffix), steps...)
			return 0, 0
		}
		v = append(v, f)
	}
	if len(v) == 1 {
		return v[0], v[0]
	}
	if v[0] > v[1] {
		r.err(fmt.Sprintf("%s runs downwards; write the lower figure first", strict.Quote(s)), steps...)
		return 0, 0
	}
	return v[0], v[1]
}

// fuel reads the fuel level: percent, a fraction, or a word.
func (r *resolver) fuel(s string, steps ...any) {
	t := strings.TrimSpace(s)
	if t == "" || fold(t) == "unknown" || fold(t) == "any" {
		return
	}
	var pct float64
	switch fold(t) {
	case "empty", "reserve":
		pct = 0
	case "quarter":
		pct = 25
	case "half":
		pct = 50
	case "full":
		pct = 100
	default:
		num, den, frac := strings.Cut(t, "/")
		f, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(num, "%")), 64)
		d := 100.0
		if frac {
			var derr error
			if d, derr = strconv.ParseFloat(strings.TrimSpace(den), 64); derr != nil || d == 0 {
				err = strconv.ErrSyntax
			}
		}
		pct = 100 * f / d
		if err != nil || !(pct >= 0 && pct <= 100) {
			r.err(fmt.Sprintf("%s is no fuel level; write for example 20 %%, 1/4, half or full", strict.Quote(s)), steps...)
			return
		}
	}
	r.out.Complaint.Facts[FuelBelowQuarter] = "no"
	if pct < 25 {
		r.out.Complaint.Facts[FuelBelowQuarter] = "yes"
	}
}

// workWords tell what recent work was about: whole words of the languages there are, in
// the singular. What
// is taken from them is stated.
var workWords = []struct {
	fact  string
	words []string
}{
	{RecentPlugOrCoilWork, []string{"plug", "sparkplug", "coil", "boot", "kerze", "zündkerze", "zündspule", "kerzenstecker"}},
	{RecentEngineWork, []string{"engine", "timing", "camshaft", "crankshaft", "crank", "head", "gasket", "flywheel", "module", "computer", "ecu", "software", "injector",
		"steuerzeit", "nockenwelle", "kurbelwelle", "zylinderkopf", "zylinderkopfdichtung", "schwungrad", "steuergerät", "injektor", "einspritzventil"}},
	{RecentDrivelineWork, []string{"clutch", "flywheel", "gearbox", "transmission", "driveshaft", "shaft", "axle", "wheel", "tyre", "tire",
		"kupplung", "schwungrad", "getriebe", "antriebswelle", "gelenkwelle", "achse", "räder", "reifen"}},
}

// mentions reports whether a text has one of the words, in singular or in the plural of
// English or German.
func mentions(text string, words []string) bool {
	return slices.ContainsFunc(strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) }), func(w string) bool {
		return slices.ContainsFunc([]string{"", "s", "n", "en", "e"}, func(plural string) bool {
			return strings.HasSuffix(w, plural) && slices.Contains(words, strings.TrimSuffix(w, plural))
		})
	})
}

// recent reads recent_work. An empty list means asked and none.
func (r *resolver) recent() {
	facts := r.out.Complaint.Facts
	work := r.f.Complaint.Conditions.RecentWork
	node := r.f.doc.Get("complaint", "conditions", "recent_work")
	none := node != nil && node.Kind == strict.List && len(node.Items) == 0
	for i, w := range work {
		t := strings.ToLower(strings.TrimSpace(w))
		switch t {
		case "none", "no", "nothing":
			none = len(work) == 1
			continue
		case "unknown", "":
			continue
		}
		var ids, past []string
		since := 0.0
		for _, k := range workWords {
			// Each piece of work has its own date; the latest of those that a fact asks for counts.
			lately, long := false, false
			for _, part := range clauses.Split(t, -1) {
				if !about(k.fact, part, k.words) {
					continue
				}
				if ago, dated := r.ago(part); dated && ago > recentWays[k.fact] {
					long, since = true, ago
				} else {
					lately = true
				}
			}
			switch {
			case !lately && !long:
			case !lately:
				past = append(past, k.fact)
			default:
				facts[k.fact] = "yes"
				ids = append(ids, k.fact)
			}
		}
		if len(past) > 0 {
			r.note(fmt.Sprintf("%s: %s ago by the odometer, too long to be taken as %s", strict.Quote(w), kilometres(since), strings.Join(past, ", ")), "complaint", "conditions", "recent_work", i)
			if len(ids) == 0 {
				continue
			}
		}
		if len(ids) == 0 {
			r.note(fmt.Sprintf("%s: taken as nothing a fault book asks for; history.facts can say otherwise", strict.Quote(w)), "complaint", "conditions", "recent_work", i)
			continue
		}
		r.note(fmt.Sprintf("%s: taken as %s: yes; history.facts can say otherwise", strict.Quote(w), strings.Join(ids, ", ")), "complaint", "conditions", "recent_work", i)
	}
	if none {
		facts[RecentEngineWork], facts[RecentPlugOrCoilWork], facts[RecentDrivelineWork] = "no", "no", "no"
	}
}

// facts reads history.facts, which win over what was derived.
func (r *resolver) facts() {
	known := map[string]bool{}
	for _, id := range DerivedFacts {
		known[id] = true
	}
	for _, b := range r.in.Books {
		for id := range b.Context {
			known[id] = true
		}
	}
	ids := slices.Sorted(maps.Keys(known))
	have := r.out.Complaint.Facts
	for _, id := range slices.Sorted(maps.Keys(r.f.History.Facts)) {
		answer, err := yesNo(r.f.History.Facts[id])
		switch {
		case !known[ident(id)]:
			r.err(fmt.Sprintf("no fault book of this job asks for the fact %s%s", strict.Quote(id), listed(ident(id), ids)), "history", "facts", id)
		case err != nil:
			r.err(err.Error(), "history", "facts", id)
		case answer != "":
			if was := have[ident(id)]; was != "" && was != answer {
				r.warn(fmt.Sprintf("%s here, but the complaint's conditions or the age of the parts say %s; this answer is used", answer, was), "history", "facts", id)
			}
			have[ident(id)] = answer
		}
	}
}

package job

import (
	"fmt"
	"regexp"
	"strings"

	"proveout/strict"
	"proveout/unit"
)

// PartAge is a part whose age is known: the odometer when it was fitted, and after what way
// its maker has it changed. Together with the vehicle's odometer they answer what a fault
// book asks, so that nobody has to reckon.
type PartAge struct {
	Name     string `yaml:"part"`
	Fitted   string `yaml:"fitted"`   // "90000 km" on the odometer; "unknown": nobody can say
	Interval string `yaml:"interval"` // "60000 km"
}

// recentWays are how long ago by the odometer work is still taken as recent, in metres:
// that of the built-in book's own question for plugs and coils, our choice for the others.
var recentWays = map[string]float64{RecentPlugOrCoilWork: 1e6, RecentEngineWork: 5e6, RecentDrivelineWork: 5e6}

// way reads a distance; ok is false when none was given or it cannot be read, and then
// that was said.
func (r *resolver) way(s string, steps ...any) (metres float64, ok bool) {
	if t := strings.TrimSpace(s); t == "" || fold(t) == "unknown" {
		return 0, false
	}
	q, err := quantity(s, "")
	switch {
	case err != nil:
		r.err(err.Error()+"; write for example 90000 km", steps...)
	case q.Unit.Dim != unit.Length || !(q.SI >= 0):
		r.err(strict.Quote(s)+" is no distance; write for example 90000 km", steps...)
	default:
		return q.SI, true
	}
	return 0, false
}

// odometer is what the odometer shows in metres; what is wrong with it is said elsewhere.
func (r *resolver) odometer() (metres float64, ok bool) {
	q, err := quantity(r.f.Vehicle.Odometer, "")
	return q.SI, err == nil && q.Unit.Dim == unit.Length && q.SI >= 0
}

// parts draws from history.parts what a fault book asks. The age of a part is stated with
// what is concluded from it.
func (r *resolver) parts() {
	facts := r.out.Complaint.Facts
	now, read := r.odometer()
	for i, p := range r.f.History.Parts {
		at := func(name string) []any { return []any{"history", "parts", i, name} }
		if strings.TrimSpace(p.Name) == "" {
			r.err("is missing; write which part, for example spark plugs", at("part")...)
			continue
		}
		plugs := mentions(strings.ToLower(p.Name), plugWords)
		fitted, known := r.way(p.Fitted, at("fitted")...)
		interval, limited := r.way(p.Interval, at("interval")...)
		switch {
		case fold(p.Fitted) == "unknown" && plugs:
			facts[PlugsBeyondInterval] = "yes"
			r.note("nobody can say when the plugs were changed: taken as plugs_beyond_interval: yes", at("fitted")...)
			continue
		case !known:
			continue
		case !read:
			r.note("its age follows only with the vehicle's odometer; write vehicle.odometer", at("fitted")...)
			continue
		case fitted > now:
			r.warn(fmt.Sprintf("fitted at %s, but the odometer shows %s: one of the two is wrong, and no age is drawn from them", kilometres(fitted), kilometres(now)), at("fitted")...)
			continue
		}
		age := now - fitted
		for _, k := range workWords {
			if mentions(strings.ToLower(p.Name), k.words) && age <= recentWays[k.fact] {
				facts[k.fact] = "yes"
				r.note(fmt.Sprintf("fitted %s ago: taken as %s: yes", kilometres(age), k.fact), at("fitted")...)
			}
		}
		if !plugs || !limited {
			continue
		}
		facts[PlugsBeyondInterval] = "no"
		if age >= interval {
			facts[PlugsBeyondInterval] = "yes"
		}
		r.note(fmt.Sprintf("fitted %s ago at an interval of %s: taken as plugs_beyond_interval: %s", kilometres(age), kilometres(interval), facts[PlugsBeyondInterval]), at("fitted")...)
	}
}

var (
	plugWords = []string{"plug", "sparkplug", "kerze", "zündkerze"}
	workedAt  = regexp.MustCompile(`\b(?:at|bei)\s+(\d[\d.,' ]*?)\s*(km|mi|miles)\b`)
	thousands = regexp.MustCompile(`[.,' ](\d{3})\b`)
)

// ago finds how long ago by the odometer a piece of work was, from words such as "new
// plugs at 90000 km".
func (r *resolver) ago(text string) (metres float64, ok bool) {
	m := workedAt.FindStringSubmatch(text)
	now, read := r.odometer()
	if m == nil || !read {
		return 0, false
	}
	symbol := map[string]string{"km": "km", "mi": "mi", "miles": "mi"}[m[2]]
	q, err := unit.ParseQuantity(thousands.ReplaceAllString(m[1], "$1") + " " + symbol)
	if err != nil || q.SI > now {
		return 0, false
	}
	return now - q.SI, true
}

func kilometres(metres float64) string { return fmt.Sprintf("%.0f km", metres/1000) }

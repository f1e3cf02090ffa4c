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
	q, err := quantity(wholeKilometres(s), "")
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

// wholeKilometres takes the marks between thousands out of a distance: an odometer shows
// no thousandths, so that 127.900 km, 127,900 km and 127 900 km are one way.
func wholeKilometres(s string) string { return thousands.ReplaceAllString(s, "$1") }

// odometer is what the odometer shows in metres; what is wrong with it is said elsewhere.
func (r *resolver) odometer() (metres float64, ok bool) {
	metres, err := Odometer(r.f.Vehicle.Odometer)
	return metres, err == nil
}

// Odometer reads what an odometer shows, or a distance of its kind, in metres.
func Odometer(s string) (metres float64, err error) {
	q, err := quantity(wholeKilometres(s), "")
	if err == nil && (q.Unit.Dim != unit.Length || !(q.SI >= 0)) {
		err = fmt.Errorf("%s is no distance", strict.Quote(s))
	}
	return q.SI, err
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
		plugs := aboutPlugs(strings.ToLower(p.Name)) && mentions(strings.ToLower(p.Name), plugWords)
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
			if about(k.fact, strings.ToLower(p.Name), k.words) && age <= recentWays[k.fact] {
				if facts[k.fact] == "no" {
					r.warn(fmt.Sprintf("fitted %s ago, but recent_work says that nothing was done; the part is believed", kilometres(age)), at("fitted")...)
				}
				facts[k.fact] = "yes"
				r.note(fmt.Sprintf("fitted %s ago: taken as %s: yes", kilometres(age), k.fact), at("fitted")...)
			}
		}
		if !plugs || !limited {
			continue
		}
		if interval < leastInterval {
			r.warn(fmt.Sprintf("%s is no interval of spark plugs; nothing is drawn from it", kilometres(interval)), at("interval")...)
			continue
		}
		answer := "no"
		if age >= interval {
			answer = "yes"
		}
		r.note(fmt.Sprintf("fitted %s ago at an interval of %s: taken as plugs_beyond_interval: %s", kilometres(age), kilometres(interval), answer), at("fitted")...)
		if facts[PlugsBeyondInterval] != "yes" { // one old plug among new ones is beyond it
			facts[PlugsBeyondInterval] = answer
		}
	}
}

// leastInterval is the shortest interval of spark plugs in metres; leastShare the least
// share of the odometer that is taken for a reading of it (our choices).
const (
	leastInterval = 5e6
	leastShare    = 0.02
)

var (
	plugWords = []string{"plug", "sparkplug", "kerze", "zündkerze"}
	// Other things that are called plugs and boots.
	notPlugs  = []string{"glow", "drain", "sump", "cv", "axle", "connector", "glühkerze", "ablassschraube"}
	workedAt  = regexp.MustCompile(`\b(?:at|bei)\s+(\d[\d.,' ]*?)\s*(km|mi|miles)\b(?:\s*(?:/|per|pro)\s*h|/h)?`)
	clauses   = regexp.MustCompile(`[;,]\s+|\s+(?:and|und)\s+`)
	thousands = regexp.MustCompile(`[.,' ](\d{3})\b`)
)

// aboutPlugs reports whether what is called a plug or a boot is one of the ignition.
func aboutPlugs(text string) bool { return !mentions(text, notPlugs) }

// about reports whether a text speaks of what a fact of recent work asks for.
func about(fact, text string, words []string) bool {
	return mentions(text, words) && (fact != RecentPlugOrCoilWork || aboutPlugs(text) || mentions(text, []string{"coil", "zündspule"}))
}

// ago finds how long ago by the odometer a piece of work was, from words such as "new
// plugs at 90000 km".
func (r *resolver) ago(text string) (metres float64, ok bool) {
	m := workedAt.FindStringSubmatch(text)
	now, read := r.odometer()
	if m == nil || !read || strings.ContainsAny(m[0], "/") || strings.HasSuffix(m[0], "h") {
		return 0, false // nothing, or a road speed
	}
	symbol := map[string]string{"km": "km", "mi": "mi", "miles": "mi"}[m[2]]
	q, err := unit.ParseQuantity(wholeKilometres(m[1]) + " " + symbol)
	if err != nil || q.SI > now || q.SI < leastShare*now {
		return 0, false
	}
	return now - q.SI, true
}

func kilometres(metres float64) string { return fmt.Sprintf("%.0f km", metres/1000) }

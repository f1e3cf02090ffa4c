package runner

import (
	"encoding/json"
	"fmt"

	"proveout/procedure"
)

// Stamp is a moment as a device knows it.
type Stamp struct {
	Wall int64  `json:"wall"` // Unix time in nanoseconds; may jump
	Mono int64  `json:"mono"` // nanoseconds since boot; never runs fast, may stop in sleep
	Boot string `json:"boot"` // id of the boot
}

// AtLeast is the time in seconds that has surely passed from a to b.
func AtLeast(a, b Stamp) float64 {
	if a.Boot == b.Boot {
		return max(0, float64(b.Mono-a.Mono)*1e-9)
	}
	return max(0, float64(b.Mono)*1e-9)
}

// AtMost is the longest time in seconds that may have passed from a to b.
func AtMost(a, b Stamp) float64 {
	return max(AtLeast(a, b), float64(b.Wall-a.Wall)*1e-9)
}

// byWall is the time by the wall clock, never less than what has surely passed.
func byWall(a, b Stamp) float64 { return AtMost(a, b) }

// Kinds of entry.
const (
	Begin     = "begin"     // Step
	End       = "ended"     // Step: its movement or action is over
	Confirm   = "confirm"   // Step, How, Value or Figures
	Choose    = "choose"    // Step, Outcome
	Happens   = "interrupt" // What: a kind of interruption
	Fails     = "fails"     // Step, What: not_as_expected or overdue
	Broken    = "broken"    // Step: its wait was broken early
	AtRest    = "at_rest"   // nothing moves any more
	GoOn      = "resume"
	StopNow   = "stop"
	HandOver  = "hand_over" // To
	TakeUp    = "take_up"
	Finished  = "finish"
	WatchNow  = "watch"      // Watch, Level, Value: the level of a feed changed
	Typed     = "typed"      // Watch, Value: read from a meter and typed
	MinHold   = "min_hold"   // Watch, Value: the meter's lowest value over the last movement
	Summary   = "summary"    // Watch, Step, Data: what the watch kept of a step
	Note      = "note"       // Text
	Opened    = "opened"     // the program was started (again)
	Resolved  = "resolved"   // Text: what was done about what failed, and what showed it right
	MakerRest = "maker_rest" // Step, Value in seconds, Text: the maker's figure for the rest, with its source
)

// Entry is one line of the record of a run.
type Entry struct {
	Seq     int      `json:"seq"` // from 1
	At      Stamp    `json:"at"`
	Device  string   `json:"device"`
	Who     string   `json:"who"`
	Kind    string   `json:"kind"`
	Step    string   `json:"step,omitempty"`
	How     string   `json:"how,omitempty"`
	Outcome string   `json:"outcome,omitempty"`
	What    string   `json:"what,omitempty"`
	Watch   string   `json:"watch,omitempty"`
	Level   string   `json:"level,omitempty"`
	Value   *float64 `json:"value,omitempty"` // SI
	// Figures come with a confirmation that names them: each value, and its limit.
	Figures map[string]procedure.Given `json:"figures,omitempty"`
	Supply  map[string]float64         `json:"supply,omitempty"` // with begin: last value of each watch, SI
	To      string                     `json:"to,omitempty"`
	Text    string                     `json:"text,omitempty"`
	// Standing is why the vehicle must not be left or driven after this entry, when that
	// changed with it. The board reads it without the procedure.
	Standing *[]string `json:"standing,omitempty"`
	// Seen is the attempt of the step the person saw, when a screen sent this; 0 = not said.
	Seen int             `json:"seen,omitempty"`
	Data json.RawMessage `json:"data,omitempty"`
}

// Refusal is why an entry was not accepted. Nothing has changed.
type Refusal struct{ Reasons []string }

func (r *Refusal) Error() string {
	if len(r.Reasons) == 0 {
		return "refused"
	}
	out := r.Reasons[0]
	for _, x := range r.Reasons[1:] {
		out += " " + x
	}
	return out
}

func refuse(format string, a ...any) error {
	return &Refusal{Reasons: []string{fmt.Sprintf(format, a...)}}
}

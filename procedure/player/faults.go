package player

import (
	"fmt"
	"strings"
)

// Fault is one way a vehicle fails in a rehearsal, with what each means then shows
// (trade.md 5.6: current signatures, codes and feel).
type Fault struct {
	ID      string
	Text    string
	Acts    []string // in steps of these acts
	Spoils  []string // these means do not show what the step asks for
	Sees    string
	Overdue bool    // the movement does not end in time
	Supply  float64 // the supply falls to this during the movement, V
	Mended  bool    // the technician mends it; it shows once
}

var moves = []string{"apply", "release", "retract", "extend", "slacken", "learn"}
var clamps = []string{"apply", "extend", "learn", "function_test"}

// Faults are those of trade.md 5.6.
var Faults = []Fault{
	{ID: "motor_open", Text: "motor or brush open, connector off", Acts: moves, Spoils: []string{"heard", "reported", "measured", "felt"}, Sees: "No sound on that side, 0 A by the clamp."},
	{ID: "worn_brushes", Text: "worn brushes or commutator", Acts: moves, Spoils: []string{"measured"}, Sees: "Ragged free run with dropouts; it starts again when tapped."},
	{ID: "seized_spindle", Text: "stalled or seized spindle", Acts: moves, Spoils: []string{"heard", "reported", "measured", "felt"}, Sees: "Inrush goes straight to a high plateau, no free run, cut off under 0.3 s; overcurrent code."},
	{ID: "stripped_gear", Text: "stripped gear or belt", Acts: clamps, Spoils: []string{"reported", "measured", "felt"}, Sees: "Normal inrush, then 1 to 3 A flat, never rises; the motor sounds fast; \"force not reached\".", Overdue: true},
	{ID: "binding", Text: "binding slide, pins or pad", Acts: clamps, Spoils: []string{"measured"}, Sees: "Free run high and stepped, early rise."},
	{ID: "missing_pad", Text: "missing pad, disc, or loose caliper", Acts: []string{"extend", "learn"}, Spoils: []string{"reported", "measured", "felt"}, Sees: "Long free run, no rise.", Overdue: true},
	{ID: "wiring_resistance", Text: "resistance in the wiring", Acts: moves, Spoils: []string{"measured", "reported"}, Sees: "Lower inrush, slow, low plateau; battery voltage holds, connector voltage sags."},
	{ID: "undervoltage", Text: "supply falls", Acts: moves, Supply: 11.2, Sees: "The supply falls to 11.2 V while it moves; both sides slow.", Mended: true},
	{ID: "imbalance", Text: "left and right differ", Acts: []string{"function_test"}, Spoils: []string{"measured", "reported"}, Sees: "One side far stronger than the other."},
	{ID: "current_collapse", Text: "sudden current collapse", Acts: clamps, Spoils: []string{"reported", "measured"}, Sees: "Current drops to nothing in the middle: connector or thermal cut.", Mended: true},
	{ID: "switch_fault", Text: "switch fault", Acts: []string{"apply", "release"}, Spoils: []string{"heard", "reported", "measured", "felt"}, Sees: "No command current; switch code."},
	{ID: "thermal", Text: "module protects itself from heat", Acts: []string{"apply"}, Spoils: []string{"heard", "reported", "measured", "felt"}, Sees: "Nothing for minutes, a message.", Mended: true},
	{ID: "frayed_cable", Text: "cable frayed or stuck", Acts: []string{"learn"}, Spoils: []string{"reported", "measured"}, Sees: "Unit current rises early or never, tension sensor flat."},
}

// FaultByID finds a fault.
func FaultByID(id string) (*Fault, error) {
	var ids []string
	for i := range Faults {
		if Faults[i].ID == id {
			return &Faults[i], nil
		}
		ids = append(ids, Faults[i].ID)
	}
	return nil, fmt.Errorf("fault %q is not known; it is one of: %s", id, strings.Join(ids, ", "))
}

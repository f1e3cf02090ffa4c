package player

import (
	"os"
	"strings"
	"testing"

	"proveout/procedure"
)

// TestRehearseEveryStepInterrupted: every step of every shipped procedure, every kind
// of interruption, going on and leaving: a technician who does what is said gets
// through, and is never told to do what is then refused.
func TestRehearseEveryStepInterrupted(t *testing.T) {
	for _, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		kinds := []string{"power_loss", "operator_leaves"}
		if os.Getenv("PROVEOUT_RUNS") != "" {
			kinds = procedure.Kinds
		}
		n, handed := 0, 0
		for _, kind := range kinds {
			for i := range m.Steps {
				st := &m.Steps[i]
				if st.Origin() == "recovery" || kind == "overdue" && st.AtMostSeconds == 0 {
					continue
				}
				answers := map[string]string{}
				if st.ID == "gear_neutral" || i%2 == 1 && strings.HasPrefix(id, "epb_") && st.ID != "gear_park" {
					answers = map[string]string{"drive": "rear", "lift": "axle"} // the other variant
				}
				for _, leave := range []bool{false, true} {
					told, err := Rehearse(m, Rehearsal{Kind: kind, Step: st.ID, Leave: leave, Answers: answers})
					if err != nil {
						t.Fatal(err)
					}
					n++
					if told.Handed {
						handed++
					}
					if !told.Struck || !told.Finished && !told.Handed || len(told.Stumbles) > 0 {
						t.Errorf("%s, %s at %s (leave %v): finished %v, stumbles %v\n%v", id, kind, st.ID, leave, told.Finished, told.Stumbles, told.Lines[max(0, len(told.Lines)-12):])
						if t.Failed() {
							return
						}
					}
				}
			}
		}
		t.Logf("%s: %d rehearsals, %d ended handed over", id, n, handed)
	}
}

// TestRehearseFaults: each fault of the trade note is met by a stop and hand-over,
// or mended, or shown in two other ways; never by going on as if nothing were.
func TestRehearseFaults(t *testing.T) {
	want := map[string]bool{ // may it finish?
		"motor_open": false, "seized_spindle": false, "stripped_gear": false, "missing_pad": false, "switch_fault": false, "imbalance": false, "frayed_cable": false,
		"undervoltage": true, "current_collapse": true, "thermal": true,
	}
	for _, id := range []string{"epb_caliper_pads", "epb_cable_drum", "epb_cable_lever"} {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range Faults {
			told, err := Rehearse(m, Rehearsal{Fault: f.ID, Side: "left"})
			if err != nil {
				continue // not in this procedure
			}
			finish, decided := want[f.ID]
			if decided && told.Finished != finish || !told.Finished && !told.Handed || len(told.Stumbles) > 0 {
				t.Errorf("%s with %s: finished %v, handed over %v, stumbles %v\n%v", id, f.ID, told.Finished, told.Handed, told.Stumbles, told.Lines[max(0, len(told.Lines)-10):])
			}
		}
	}
}

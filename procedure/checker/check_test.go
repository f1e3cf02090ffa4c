package checker

import (
	"testing"
	"time"

	"proveout/procedure"
)

// TestShippedProceduresPass is the gate every shipped procedure goes through.
func TestShippedProceduresPass(t *testing.T) {
	for _, id := range procedure.Shipped() {
		t.Run(id, func(t *testing.T) {
			m, _, err := procedure.LoadShipped(id)
			if err != nil {
				t.Fatal(err)
			}
			begin := time.Now()
			r := Check(m, Options{MaxStates: 12000000})
			t.Logf("%d states, %d transitions, %d rules, %v", r.States, r.Transitions, r.Rules, time.Since(begin).Round(time.Millisecond))
			for _, p := range r.Problems {
				t.Errorf("%s: %s", p.Kind, p.Text)
				for i, line := range p.Story {
					t.Logf("  %d. %s", i+1, line)
				}
			}
		})
	}
}

package player

import (
	"fmt"
	"os"
	"sort"
	"strconv"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/checker"
)

// expected are the kinds of mutation of which one may survive, each with its own
// reason. A survivor of another kind fails the test.
var expected = map[string]bool{"guard_removed": true, "fact_dropped": true, "need_dropped": true, "confirmation_dropped": true, "confirmation_weakened": true, "wait_zeroed": true, "hazard_dropped": true, "recovery_removed": true, "recovery_made_harmless": true, "sets_dropped": true, "act_renamed": true, "order_swapped": true, "step_removed": true, "disturb_dropped": true, "recovery_forgets": true, "recovery_step_removed": true, "figures_dropped": true, "only_if_dropped": true, "applies_dropped": true, "recovery_guard_removed": true}

// TestMutationsAreRejected makes procedures wrong by machine. Those that break a
// never rule, strand someone or leave a dead step must be rejected, by the loader or
// by the checker. Those that survive are played at random: nobody may be hurt.
// PROVEOUT_MUTATIONS=1 takes every mutation of every procedure (=8: every one, but of
// the brakes every eighth).
func TestMutationsAreRejected(t *testing.T) {
	// Of the brakes, whose states are many, every so many-th.
	brakes, err := strconv.Atoi(os.Getenv("PROVEOUT_MUTATIONS"))
	all := err == nil && brakes > 0
	total, rejected, same := 0, 0, 0
	byKind := map[string][2]int{}
	var survivors []string
	for _, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		ms, err := Mutants(m.File)
		if err != nil {
			t.Fatal(err)
		}
		every, plays := 8, 1
		if strings.HasPrefix(id, "epb_") {
			every = 120
		}
		whole := checker.Check(m, checker.Options{})
		if all {
			plays = 20
			if every = 1; strings.HasPrefix(id, "epb_") {
				every = brakes
			}
		}
		for k := 0; k < len(ms); k += every {
			mu := ms[k]
			total++
			n := byKind[mu.Kind]
			n[0]++
			mm, err := procedure.Compile(mu.File)
			if err == nil {
				if r := checker.Check(mm, checker.Options{MaxStates: 2_000_000}); r.Passed {
					n[1]++
					name := fmt.Sprintf("%s: %s: %s", id, mu.Kind, mu.Where)
					if r.States == whole.States && r.Transitions == whole.Transitions {
						same++
					}
					why := Reason(m, mm, mu, whole, r)
					survivors = append(survivors, name+" -- "+why)
					if !expected[mu.Kind] || strings.HasPrefix(why, ";") {
						t.Errorf("%s survives, and there is no reason why that is no danger", name)
					}
					for seed := 1; seed <= plays; seed++ {
						if res := Play(mm, Options{Seed: uint64(seed)}); len(res.Harms)+len(res.Broken) > 0 {
							t.Errorf("%s passed the checker, and the player is hurt: %v %v (seed %d)", name, res.Harms, res.Broken, seed)
							break
						}
					}
					byKind[mu.Kind] = n
					continue
				}
			}
			byKind[mu.Kind] = n
			rejected++
		}
	}
	t.Logf("%d mutations, %d rejected, %d survive, %d of them change nothing that can be reached", total, rejected, len(survivors), same)
	var kinds []string
	for k := range byKind {
		kinds = append(kinds, k)
	}
	sort.Strings(kinds)
	for _, k := range kinds {
		t.Logf("%-26s %4d made, %4d survive", k, byKind[k][0], byKind[k][1])
	}
	for _, s := range survivors {
		t.Logf("survivor %s", s)
	}
	if total < 200 {
		t.Errorf("%d mutations, want at least 200", total)
	}
	if rejected*2 < total {
		t.Errorf("only %d of %d mutations are rejected", rejected, total)
	}
}

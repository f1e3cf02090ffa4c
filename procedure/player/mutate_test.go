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

// reasons says, for each kind of mutation, why one that the checker lets pass is no
// danger. A survivor of a kind that is not here fails the test.
var reasons = map[string]string{
	"guard_removed":          "the order and the other interlocks give the same: the never rules were explored and hold without it",
	"fact_dropped":           "the order gives the fact before the step can begin; the never rules were explored and hold without it",
	"need_dropped":           "the steps between are held by their interlocks, or may be done in this order: the never rules hold in every order explored",
	"confirmation_dropped":   "as many independent means are left as the hazard class asks for",
	"confirmation_weakened":  "the hazard class asks for one means here; the file asked for more",
	"wait_zeroed":            "the hazard class asks for no wait here: the figure is the file's own",
	"watch_dropped":          "the hazard class asks for no watch here",
	"hazard_dropped":         "the hazard class asks for no caution here, or a graver one is left",
	"recovery_removed":       "the procedure's own way back for this interruption is safe too",
	"recovery_made_harmless": "going on is safe: interlocks are asked again, and an honest person confirms only what is so",
	"sets_dropped":           "nothing that is asked for hangs on the fact",
	"act_renamed":            "the act changes no fact and no rule is about it",
	"order_swapped":          "both orders keep every never rule",
	"step_removed":           "no never rule hangs on the step: it serves the quality of the work",
	"recovery_step_removed":  "there is another way to the safe resting state",
	"disturb_dropped":        "the hazard class puts the same in doubt whatever the file says, or no never rule hangs on it",
	"recovery_forgets":       "the interlocks hold it",
	"rest_weakened":          "in every state that can be reached the vehicle may be left with a movement at rest",
}

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
				if r := checker.Check(mm, checker.Options{MaxStates: 400_000}); r.Passed {
					n[1]++
					name := fmt.Sprintf("%s: %s: %s", id, mu.Kind, mu.Where)
					if r.States == whole.States && r.Transitions == whole.Transitions {
						same++
						survivors = append(survivors, name+" -- changes nothing: the same states and transitions are reached")
					} else {
						survivors = append(survivors, name+" -- "+reasons[mu.Kind])
					}
					if reasons[mu.Kind] == "" {
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
		t.Logf("%-26s %4d made, %4d survive: %s", k, byKind[k][0], byKind[k][1], reasons[k])
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

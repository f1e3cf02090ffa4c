package player

import (
	"os"
	"strconv"
	"strings"
	"testing"

	"proveout/procedure"
)

// runs is how many random runs each procedure gets; PROVEOUT_RUNS asks for more.
func runs(t *testing.T, n int) int {
	if s := os.Getenv("PROVEOUT_RUNS"); s != "" {
		k, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	return n
}

// TestCalmRunsFinish: with nothing going wrong there is a way through.
func TestCalmRunsFinish(t *testing.T) {
	for _, id := range procedure.Shipped() {
		t.Run(id, func(t *testing.T) {
			m, _, err := procedure.LoadShipped(id)
			if err != nil {
				t.Fatal(err)
			}
			for seed := uint64(1); seed <= 5; seed++ {
				r := Play(m, Options{Seed: seed, Calm: true, Trace: true, MaxTurns: 3000})
				if !r.Finished || len(r.Harms)+len(r.Broken) > 0 {
					n := max(0, len(r.Trace)-15)
					t.Fatalf("seed %d: finished %v after %d turns, harms %v, broken %v\n%v", seed, r.Finished, r.Turns, r.Harms, r.Broken, r.Trace[n:])
				}
			}
		})
	}
}

// TestNobodyIsHurt is the oracle beside the checker: it shares no rule with it.
func TestNobodyIsHurt(t *testing.T) {
	for _, id := range procedure.Shipped() {
		t.Run(id, func(t *testing.T) {
			m, _, err := procedure.LoadShipped(id)
			if err != nil {
				t.Fatal(err)
			}
			few := 60
			if strings.HasPrefix(id, "epb_") {
				few = 15
			}
			n, finished, turns, cut, bad := runs(t, few), 0, 0, 0, 0
			for seed := 1; seed <= n; seed++ {
				r := Play(m, Options{Seed: uint64(seed)})
				turns += r.Turns
				cut += r.Interrupted
				if r.Finished {
					finished++
				}
				if len(r.Harms)+len(r.Broken) > 0 {
					if bad++; bad <= 3 {
						again := Play(m, Options{Seed: uint64(seed), Trace: true})
						t.Errorf("seed %d: harms %v, broken %v\n%v", seed, r.Harms, r.Broken, again.Trace[max(0, len(again.Trace)-40):])
					}
				}
			}
			t.Logf("%d runs, %d finished, %d turns, %d interruptions, %d with harm", n, finished, turns, cut, bad)
			if finished == 0 && n >= 50 {
				t.Error("no run ever finished: the player does not get through")
			}
		})
	}
}

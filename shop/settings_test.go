package shop

import (
	"errors"
	"math"
	"testing"

	"proveout/book"
	"proveout/job"
	"proveout/procedure"
)

func TestSafetyLimitsOnlyTighten(t *testing.T) {
	base := procedure.Limits{Warn: 12.2, Hold: 12.0, Stop: 11.5, WarnHigh: math.NaN(), HoldHigh: math.NaN(), StopHigh: math.NaN()}
	for name, c := range map[string]struct {
		set      map[string]float64
		quantity string
		want     [3]float64
	}{
		"nothing set":         {nil, "supply voltage", [3]float64{12.2, 12.0, 11.5}},
		"stricter":            {map[string]float64{"supply_warn_v": 12.6, "supply_hold_v": 12.3, "supply_stop_v": 12.0}, "supply voltage", [3]float64{12.6, 12.3, 12.0}},
		"looser":              {map[string]float64{"supply_warn_v": 11, "supply_hold_v": 11, "supply_stop_v": 9}, "supply voltage", [3]float64{12.2, 12.0, 11.5}},
		"beyond the bounds":   {map[string]float64{"supply_stop_v": 20}, "supply voltage", [3]float64{12.2, 12.0, 11.5}},
		"no number":           {map[string]float64{"supply_stop_v": math.NaN()}, "supply voltage", [3]float64{12.2, 12.0, 11.5}},
		"of another quantity": {map[string]float64{"supply_stop_v": 12}, "exhaust temperature", [3]float64{12.2, 12.0, 11.5}},
	} {
		got := tightened(base, c.quantity, job.Settings{Thresholds: c.set})
		if [3]float64{got.Warn, got.Hold, got.Stop} != c.want {
			t.Errorf("%s: %v %v %v, want %v", name, got.Warn, got.Hold, got.Stop, c.want)
		}
	}
	// What a procedure asks for beyond the shop's setting stays.
	strict := base
	strict.Stop = 12.4
	if got := tightened(strict, "supply voltage", job.Settings{Thresholds: map[string]float64{"supply_stop_v": 12}}); got.Stop != 12.4 {
		t.Errorf("a setting loosened a procedure's own limit to %v", got.Stop)
	}
}

func TestSettingsAreHeldToTheirBounds(t *testing.T) {
	b := newTestBench(t)
	for name, s := range map[string]job.Settings{
		"looser":     {Thresholds: map[string]float64{"supply_stop_v": 9}},
		"unknown":    {Thresholds: map[string]float64{"shown_at": 0.1}},
		"below zero": {AccessMinutes: map[string]float64{"plugs_out": -1}},
		"odd units":  {Units: "imperial"},
	} {
		if _, err := b.Write(t.Context(), ShopJob, cmd(name, job.SettingsChangedType, s)); !errors.Is(err, ErrBadCommand) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := b.Write(t.Context(), ShopJob, cmd("good", job.SettingsChangedType, job.Settings{Units: "us", Thresholds: map[string]float64{"supply_stop_v": 12}})); err != nil {
		t.Error(err)
	}
}

// The shop's own minutes for a way in change what a test costs, and no book.
func TestAccessMinutesAreAnOverlay(t *testing.T) {
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for i, b := range books {
		for id, a := range b.Access {
			seen++
			with := withAccess(books, map[string]float64{id: 2 * a.Easy.Value})
			if got := with[i].Access[id]; got.Easy.Value != 2*a.Easy.Value || got.Buried.Value != 2*a.Buried.Value {
				t.Errorf("%s %s: %v, want twice %v", b.ID, id, got, a)
			}
			if now := b.Access[id]; now != a {
				t.Errorf("%s %s: the book itself was changed", b.ID, id)
			}
		}
	}
	if seen == 0 {
		t.Error("no book has a shared way in: nothing was tested")
	}
}

// Equipment of the shop and its own suspects reach every job, without a change to
// any book.
func TestShopsOwnReachesTheJobs(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	before, err := b.Answer(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	own := job.SuspectAdded{Scope: "shop", Component: job.Form(`{"id":"rodent","name":"gnawed loom","per":"engine"}`),
		Fault: job.Form(`{"id":"loom_gnawed","component":"rodent","name":"loom gnawed by a marten","rate":0.01,"complaint":{"misfire_load":0.5}}`)}
	r, err := b.Write(t.Context(), id, cmd("own", job.SuspectAddedType, own))
	if err != nil || r.Job != ShopJob {
		t.Fatalf("%+v, %v", r, err)
	}
	look := job.TestAdded{Scope: "shop", Test: job.Form(`{"id":"look_loom","name":"look at the loom","per":"engine","outcomes":[{"id":"whole","text":"whole","normal":true},{"id":"gnawed","text":"gnawed","proves":true}],
		"healthy":{"whole":0.97,"gnawed":0.03},"given":{"loom_gnawed":{"gnawed":0.9}},"static":true,"direct":["loom_gnawed"],"minutes":{"easy":10,"buried":10}}`)}
	if r, err := b.Write(t.Context(), id, cmd("own2", job.TestAddedType, look)); err != nil || r.Job != ShopJob {
		t.Fatalf("%+v, %v", r, err)
	}
	after, err := b.Answer(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	find := func(a *Answer) bool {
		for _, s := range a.Suspects {
			if s.ID == "loom_gnawed@engine" {
				return true
			}
		}
		return false
	}
	if find(before) || !find(after) {
		t.Errorf("the shop's own suspect stands before: %v, after: %v (left out: %v)", find(before), find(after), after.LeftOut)
	}
	if board, err := b.Board(t.Context()); err != nil || len(board.Rows) != 1 {
		t.Errorf("the shop's own record stands on the board: %+v, %v", board, err)
	}
}

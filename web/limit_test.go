package web

import (
	"context"
	"encoding/json"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"proveout/job"
	"proveout/shop"
)

// The words of an answer that asks for a limit can be followed on the screen: beside the
// test stands the form, and the next answer uses what was written there.
func TestALimitIsGivenBesideTheTest(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	b.post("/jobs/"+id+"/readings", "test", "fuel_pressure_idle", "value.engine", "310", "unit", "kPa", "state", "idle")
	a := w.answer(id)
	var asks string
	for _, f := range a.Findings {
		if strings.Contains(f.Sentence, "no limit is given") {
			asks = f.Test
		}
	}
	if asks == "" {
		t.Fatal("no finding asks for a limit: the test asks nothing")
	}
	_, page, _ := b.get("/jobs/" + id)
	if !strings.Contains(page, `/reading?test=`+asks+`#limit`) {
		t.Errorf("the job page has no way to the limit of %s", asks)
	}
	_, page, _ = b.get("/jobs/" + id + "/reading?test=" + asks)
	feature := inputValue(t, page, "feature")
	give := func(fields ...string) (int, string) {
		code, page, _ := b.post("/jobs/"+id+"/entries", append([]string{"type", "limit_given", "rev", w.rev(id), "feature", feature}, fields...)...)
		return code, plainText(page)
	}
	for name, f := range map[string][]string{
		"no source": {"min", "300", "unit", "kPa"}, "no figure": {"unit", "kPa", "source", "x"}, "crossed": {"min", "400", "max", "300", "unit", "kPa", "source", "x"},
		"no number": {"min", "NaN", "unit", "kPa", "source", "x"}, "no unit": {"min", "3", "unit", "furlong", "source", "x"},
	} {
		if code, _ := give(f...); code != 422 {
			t.Errorf("%s: %d", name, code)
		}
	}
	if code, page := give("min", "370", "max", "390", "unit", "kPa", "source", "service information, page 12"); code != 200 {
		t.Fatalf("a limit: %d %s", code, page)
	}
	// Put right by a later one: the last stands.
	give("min", "300", "max", "320", "unit", "kPa", "source", "service information, page 13")
	for _, f := range w.answer(id).Findings {
		if f.Test == asks && (strings.Contains(f.Sentence, "no limit is given") || f.State != "normal") {
			t.Errorf("310 kPa of 300 to 320: %s, %s", f.State, f.Sentence)
		}
	}
	if _, page, _ := b.get("/jobs/" + id + "/reading?test=" + asks); !strings.Contains(page, "page 13") || strings.Contains(page, "page 12") {
		t.Error("the form does not show the limit that stands")
	}
}

func (w *workshop) answer(id string) *shop.Answer {
	w.Helper()
	a, err := w.bench.Answer(w.Context(), id)
	if err != nil {
		w.Fatal(err)
	}
	return a
}

// What an answer asks to be known of engine and circuit has its field at reception, can be
// put right and taken back later, and goes out with the job and comes back.
func TestFactsOfTheVehicleAreKept(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	at := "/jobs/" + id + "/complaint"
	post := func(fields ...string) int {
		code, _, _ := b.post(at, append([]string{"cylinders", "4", "rev", w.rev(id)}, fields...)...)
		return code
	}
	for name, f := range map[string][]string{
		"a cylinder that is not there": {"firing_order", "1-3-4-5"}, "one missing": {"firing_order", "1-3-4"}, "twice": {"firing_order", "1-3-3-2"}, "no volume": {"displacement", "1.6 mm"}, "too large": {"displacement", "1600 L"},
		"134 kV": {"known.supply", "134 V"}, "no unit": {"known.supply", "lots"}, "no number": {"known.pole_pairs", "six"}, "too many": {"known.crank_teeth", "9999"},
	} {
		if code := post(f...); code != 422 {
			t.Errorf("%s: %d", name, code)
		}
	}
	if code := post("firing_order", "1-3-4-2", "displacement", "1.6 L", "known.supply", "13.8 V", "known.pole_pairs", "6", "known.pulsed_order", "1 3 4 2"); code != 200 {
		t.Fatalf("facts: %d", code)
	}
	_, page, _ := b.get(at)
	for name, want := range map[string]string{"firing_order": "1-3-4-2", "displacement": "1.6 L", "known.supply": "13.8 V", "known.pole_pairs": "6", "known.pulsed_order": "1-3-4-2"} {
		if got := inputValue(t, page, name); got != want {
			t.Errorf("%s shows %q, want %q", name, got, want)
		}
	}
	if code := post("known.supply", "", "had.known.supply", "1", "known.pole_pairs", "8"); code != 200 {
		t.Fatalf("put right: %d", code)
	}
	file := func(b *shop.Bench, id string) *job.File {
		st, err := b.State(context.Background(), id)
		if err != nil {
			t.Fatal(err)
		}
		f, ps := st.File(job.Private{})
		if f == nil {
			t.Fatal(ps)
		}
		return f
	}
	check := func(f *job.File) {
		t.Helper()
		if k := f.Known; k.Supply != "" || k.PolePairs != 8 || len(k.PulsedOrder) != 4 || f.Vehicle.Engine.Displacement != "1.6 L" || len(f.Vehicle.Engine.FiringOrder) != 4 {
			t.Errorf("known %+v, engine %+v", k, f.Vehicle.Engine)
		}
	}
	check(file(w.bench, id))
	dir := filepath.Join(t.TempDir(), "out")
	if err := w.bench.Export(t.Context(), id, dir, shop.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	other := openShop(t)
	back, err := other.bench.Import(t.Context(), dir, "p-ines")
	if err != nil {
		t.Fatal(err)
	}
	check(file(other.bench, back.Job))
	for i, known := range []string{`{"supply":"134 V"}`, `{"suply":"13 V"}`} {
		if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": strconv.Itoa(i), "type": job.VehicleChangedType, "payload": json.RawMessage(`{"known":` + known + `}`)}, nil); code != 422 {
			t.Errorf("%s through the API: %d", known, code)
		}
	}
}

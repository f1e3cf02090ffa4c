package measure

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

// spice reads one of the ngspice fixtures: testdata/spice, netlist beside each.
func spice(t *testing.T, name string) *trace.Recording {
	t.Helper()
	f, err := os.Open("testdata/spice/" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, err := trace.ReadText(f, trace.TextOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// only keeps the named channels.
func only(rec *trace.Recording, labels ...string) *trace.Recording {
	out := *rec
	out.Channels = nil
	for _, ch := range rec.Channels {
		for _, l := range labels {
			if ch.Label == l {
				out.Channels = append(out.Channels, ch)
			}
		}
	}
	return &out
}

// noisy adds normal noise to the channels of a unit.
func noisy(rec *trace.Recording, dim unit.Dimension, sigma float64, seed uint64) *trace.Recording {
	rng := rand.New(rand.NewPCG(seed, 5))
	out := *rec
	out.Channels = nil
	for _, ch := range rec.Channels {
		if ch.Unit.Dim == dim {
			v := make([]float64, len(ch.Values))
			for i, x := range ch.Values {
				v[i] = x + sigma*rng.NormFloat64()
			}
			ch.Values = v
		}
		out.Channels = append(out.Channels, ch)
	}
	return &out
}

// within fails unless the feature was read within a relative distance of want.
func within(t *testing.T, res Result, feature string, want, rel float64) {
	t.Helper()
	r, ok := find(res.Readings, feature)
	if !ok {
		t.Errorf("%s was not measured: %+v", feature, why(res, feature))
		return
	}
	if math.Abs(r.Value.SI-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.5g (u %.2g), want %.5g within %g %%", feature, r.Value.SI, r.Uncertainty, want, 100*rel)
	}
	t.Logf("%-26s %12.5g  u %8.2g  want %12.5g  off %+.2f %%", feature, r.Value.SI, r.Uncertainty, want, 100*(r.Value.SI/want-1))
}

// near is within for values that may be zero.
func near(t *testing.T, res Result, feature string, want, abs float64) {
	t.Helper()
	r, ok := find(res.Readings, feature)
	if !ok {
		t.Errorf("%s was not measured: %+v", feature, why(res, feature))
		return
	}
	if math.Abs(r.Value.SI-want) > abs {
		t.Errorf("%s = %.5g (u %.2g), want %.5g within %g", feature, r.Value.SI, r.Uncertainty, want, abs)
	}
	t.Logf("%-26s %12.5g  u %8.2g  want %12.5g", feature, r.Value.SI, r.Uncertainty, want)
}

func why(res Result, feature string) []NotMeasured {
	var out []NotMeasured
	for _, n := range res.NotMeasured {
		if n.Feature == feature || n.Flag == evidence.WrongChannel {
			out = append(out, n)
		}
	}
	return out
}

func channel(name, symbol string, v []float64) trace.Channel {
	return trace.Channel{Name: name, Label: name, Unit: unit.Must(symbol), Values: v}
}

func sampledAt(rate float64, chs ...trace.Channel) *trace.Recording {
	n := len(chs[0].Values)
	return &trace.Recording{
		Time:     trace.TimeBase{Num: int64(math.Round(1e9 / rate * 1000)), Den: 1000, N: n},
		Channels: chs, Segments: []trace.Segment{{First: 0, End: n}},
	}
}

// covers fails unless the truth lies within 2.6 stated uncertainties (99 %).
func covers(t *testing.T, res Result, feature string, want float64) {
	t.Helper()
	r, ok := find(res.Readings, feature)
	if !ok {
		t.Errorf("%s was not measured: %+v", feature, why(res, feature))
		return
	}
	if z := (r.Value.SI - want) / r.Uncertainty; math.Abs(z) > 2.6 || r.Uncertainty == 0 {
		t.Errorf("%s = %.5g (u %.2g), want %.5g: %.1f uncertainties off", feature, r.Value.SI, r.Uncertainty, want, z)
	}
	t.Logf("%-26s %12.5g  u %8.2g  want %12.5g", feature, r.Value.SI, r.Uncertainty, want)
}

// sure fails when one of the features came out as a reading that may decide something.
func sure(t *testing.T, name string, res Result, features ...string) {
	t.Helper()
	for _, f := range features {
		if r, ok := find(res.Readings, f); ok && !r.Blocked() {
			t.Errorf("%s: %s = %v (u %.2g) looks sure", name, f, r.Value, r.Uncertainty)
		}
	}
}

func scaled(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = by * x
	}
	return out
}

// standardsTable reads a small table with a header from testdata; copies of the tables of
// the standards reference, sources in their last column.
func standardsTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatal(name, err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

package sim_test

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"proveout/sim"
	"proveout/vehicle"
)

// The same seed gives the same vehicle and the same files.
func TestSameSeedSameBytes(t *testing.T) {
	file := func(seed uint64) string {
		r := rng(seed)
		v := sim.Draw(r)
		sparks, err := v.Secondary(r, 1, sim.Under{State: "idle"}, sim.IdleProfile(780), 0.5)
		if err != nil {
			t.Fatal(err)
		}
		s := sim.GoodPickup().Triggered(r, sparks, 3e-3, 5e-3)
		log := v.ParameterCSV(v.ParameterLog(r, sim.RoadTest("", "")[:4], 1), true)
		ex := v.Messages(r, v.Session(r, sim.RoadTest("", "")))
		return fmt.Sprint(v.Faults, v.VIN) + string(s.CSV(sim.CSVStyle{TimeUnit: "ms"})) + string(log) + string(sim.Candump(r, ex, 1700000000))
	}
	for seed := range uint64(6) {
		if first, again := file(seed), file(seed); first != again {
			t.Fatalf("seed %d does not repeat", seed)
		}
	}
	if file(1) == file(2) {
		t.Error("two seeds give the same vehicle")
	}
}

// A drawn fleet covers the layouts and most faults, and no draw panics.
func TestDrawCoversTheFleet(t *testing.T) {
	seen, cyl := map[string]int{}, map[int]int{}
	r := rng(11)
	for range 600 {
		v := sim.Draw(r)
		cyl[v.Engine.Cylinders]++
		seen[strconv.Itoa(len(v.Faults))+" faults"]++
		for _, f := range v.Faults {
			seen[f.Name]++
		}
	}
	for _, n := range []int{3, 4, 5, 6, 8} {
		if cyl[n] == 0 {
			t.Errorf("no engine of %d cylinders in 600", n)
		}
	}
	for _, f := range sim.FaultNames(sim.Layouts()[1]) {
		if seen[f] == 0 {
			t.Errorf("%q never drawn in 600", f)
		}
	}
	if seen["0 faults"] < 20 || seen["2 faults"] < 25 {
		t.Errorf("shares of no fault and two faults: %v", seen)
	}
}

// Waste spark: both towers fire each revolution, the second one upside down, and
// the spark in the exhaust stroke is small.
func TestWasteSpark(t *testing.T) {
	v := with(t, 2)
	sparks, err := v.Secondary(rng(1), 1, sim.Under{State: "idle"}, sim.IdleProfile(780), 2)
	if err != nil {
		t.Fatal(err)
	}
	var event, waste float64
	for _, s := range sparks {
		if s.Waste {
			waste += s.Peak
		} else {
			event += s.Peak
		}
	}
	if len(sparks) < 24 || waste > 0.7*event {
		t.Errorf("%d sparks in 2 s, waste %.0f of event %.0f", len(sparks), waste, event)
	}
	if v.Inverted(1) || !v.Inverted(4) {
		t.Error("cylinder 4 is the second tower of 1-4 and must be the inverted one")
	}
	if v.Engine.Ignition != vehicle.WasteSpark {
		t.Fatal("layout 2 is the waste-spark four")
	}
}

// Source: 49 CFR 565 worked example and the table of standards.md 6 for the
// rule; the drawn numbers are checked by a second, plain reading of the rule.
func TestInventedVIN(t *testing.T) {
	value := map[byte]int{}
	for i, group := range []string{"", "AJ", "BKS", "CLT", "DMU", "ENV", "FW", "GPX", "HY", "RZ"} {
		value[byte('0'+i)] = i
		for k := range len(group) {
			value[group[k]] = i
		}
	}
	check := func(v string) byte {
		sum := 0
		for i, w := range []int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2} {
			sum += value[v[i]] * w
		}
		return "0123456789X"[sum%11]
	}
	if check("1G4AH59H45G118341") != '4' { // CFR 565 Table VI sample
		t.Fatal("the test's own reading of the rule is wrong")
	}
	for seed := range uint64(200) {
		v := sim.InventedVIN(rng(seed), 2014+int(seed%9))
		if len(v) != 17 || v[:3] != "0PV" || strings.ContainsAny(v, "IOQ") || v[8] != check(v) {
			t.Fatalf("%s: want 17 signs, 0PV first, no I O Q, check digit %c", v, check(v))
		}
		if want := "EFGHJKLMN"[seed%9]; v[9] != want {
			t.Fatalf("%s: year letter %c, want %c", v, v[9], want)
		}
	}
}

// Source: ISO 15765-2 examples of standards.md 4: first frame with 12-bit
// length, consecutive frames numbered from 1, flow control on the id below.
func TestMessagesOnTheWire(t *testing.T) {
	v := with(t, 0, sim.Fault{Name: "boot leak", Cylinder: 3, Severity: 0.8})
	r := rng(3)
	s := v.Session(r, sim.RoadTest("", ""))
	if len(s.Confirmed) != 1 || s.Confirmed[0] != 0x0303 {
		t.Errorf("a leaking boot on 3 stores %X, want 303", s.Confirmed)
	}
	for i, c := range s.Counts { // the next in firing order may get a few by mistake
		if i != 2 && 20*c > s.Counts[2] || s.Counts[2] < 50 {
			t.Errorf("counts %v: only cylinder 3 should be high", s.Counts)
		}
	}
	log := sim.Candump(r, v.Messages(r, s), 1700000000)
	for _, want := range []string{"7DF#020902AAAAAAAAAA", "7E8#037F0978AAAAAAAA", "7E8#1014490201305056", "7E0#300000AAAAAAAAAA", "7E8#0443010303AAAAAA", "7E9#024300AAAAAAAAAA"} {
		if !bytes.Contains(log, []byte(want)) {
			t.Errorf("the log lacks %s", want)
		}
	}
	last := ""
	for _, line := range strings.Split(strings.TrimSpace(string(log)), "\n") {
		stamp, _, ok := strings.Cut(line, " can0 ")
		if !ok || stamp <= last {
			t.Fatalf("line %q after %q", line, last)
		}
		last = stamp
	}
	h := with(t, 0)
	if q := h.Session(rng(8), sim.RoadTest("", "")); len(q.Confirmed)+len(q.Pending) != 0 {
		t.Errorf("a healthy engine stores %X %X", q.Confirmed, q.Pending)
	}
}

// Source: EWMA series of standards.md 2.4: constant 100 gives 10, 19, ... and
// 65.1322 after ten drives.
func TestWeightedRegister(t *testing.T) {
	ten := []int{100, 100, 100, 100, 100, 100, 100, 100, 100, 100}
	if got := sim.WeightedRegister(ten); math.Abs(got-65.1322) > 1e-4 {
		t.Errorf("after ten drives of 100: %.4f, want 65.1322", got)
	}
	if got := sim.WeightedRegister(ten[:2]); math.Abs(got-19) > 1e-9 {
		t.Errorf("after two drives of 100: %g, want 19", got)
	}
}

func TestParameterLogIsPlausible(t *testing.T) {
	v := with(t, 0)
	rows := v.ParameterLog(rng(1), sim.RoadTest("", ""), 0.8)
	if len(rows) < 400 {
		t.Fatalf("%d rows", len(rows))
	}
	for i, r := range rows {
		if r.RPM < 500 || r.RPM > 4000 || r.LoadPct < 10 || r.LoadPct > 100 || math.Abs(r.ShortPct[0]+r.LongPct[0]) > 12 || r.AirGS < 1 || r.AirGS > 90 {
			t.Fatalf("row %d: %+v", i, r)
		}
		if i > 0 && r.Seconds <= rows[i-1].Seconds {
			t.Fatalf("time stands still at row %d", i)
		}
	}
	csv := string(v.ParameterCSV(rows, true))
	if lines := strings.Count(csv, "\n"); lines != len(rows)+1 || !strings.HasPrefix(csv, "Time (s),Engine speed (rpm),") {
		t.Errorf("%d lines for %d rows", lines, len(rows))
	}
}

func TestCrankingCurrent(t *testing.T) {
	v := with(t, 6, sim.Fault{Name: "leaking valve", Cylinder: 5, Severity: 0.6})
	rows := v.CrankingCurrent(rng(1), 3, 2000)
	peak := make([]float64, 6)
	rpm := 215.0
	for _, r := range rows {
		if u := r.Seconds - 0.1; u > 0.6 {
			k := int(u*rpm/120*6) % 6
			peak[k] = math.Max(peak[k], r.Amp)
		}
	}
	for k := range peak {
		if (k == 4) != (peak[k] < 155) {
			t.Errorf("humps %.0f A in firing order: only the fifth should be low", peak)
		}
	}
}

func BenchmarkSecondaryCapture(b *testing.B) {
	v, err := sim.New(rng(1), sim.Layouts()[0])
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		sparks, _ := v.Secondary(rng(2), 1, sim.Under{State: "idle"}, sim.IdleProfile(780), 3)
		sim.GoodPickup().Triggered(rng(3), sparks, 3e-3, 5e-3)
	}
}

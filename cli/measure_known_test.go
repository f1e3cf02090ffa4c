package cli

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The facts given by flags reach the measuring: what was refused for want of one is
// measured with it.
func TestMeasureKnownFlags(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, head string, n int, row func(i int) string) string {
		var b strings.Builder
		b.WriteString(head + "\n")
		for i := range n {
			b.WriteString(row(i) + "\n")
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	// standards.md 8.3: 1500 rpm, pulley 2.5, 6 pole pairs: 375 Hz, ripple at 2250 Hz.
	ripple := write("ripple.csv", "Time (s),Battery (V)", 20000, func(i int) string {
		s := float64(i) / 40e3
		return fmt.Sprintf("%.6f,%.4f", s, 14+0.05*math.Abs(math.Sin(math.Pi*2250*s))+0.0005*math.Sin(float64(i*i)))
	})
	crank := write("start.csv", "Time (s),Starter current (A),Sync (V)", 8000, func(i int) string {
		s := float64(i)/2e3 - 0.2
		amp, sync := 0.0, 0.0
		if s > 0 {
			c := s * 200 / 30 // 200 rpm, four cylinders
			amp = 110 + 60*math.Pow(math.Sin(math.Pi*c), 2) + 400*math.Exp(-s/0.05)
			if math.Mod(c, 4) > 0.45 && math.Mod(c, 4) < 0.55 {
				sync = 5
			}
		}
		return fmt.Sprintf("%.4f,%.2f,%.0f", s+0.2, amp+0.3*math.Sin(float64(i*i)), sync)
	})
	for _, c := range []struct {
		args      []string
		says, not string
	}{
		{[]string{ripple}, "note the engine speed", "0 % of"},
		{[]string{"--rpm", "1500", "--pulley-ratio", "2.5", "--pole-pairs", "6", ripple}, "2251.0 Hz", "note the engine speed"},
		{[]string{"--rpm", "1500", "--pulley-ratio", "2.5", "--pole-pairs", "9", ripple}, "no ripple line stands out", "2251"},
		{[]string{crank}, "number of cylinders is not given", "Cylinder 3"},
		{[]string{"--cylinders", "4", crank}, "firing order is not given", "Cylinder 3"},
		{[]string{"--order", "1-3-4-2", crank}, "Cylinder 3", "not given"},
	} {
		var out, bad bytes.Buffer
		code := Main(append([]string{"measure"}, c.args...), strings.NewReader(""), &out, &bad)
		text := strings.Join(strings.Fields(out.String()), " ")
		if code != 0 || !strings.Contains(text, c.says) || strings.Contains(text, c.not) {
			t.Errorf("%v: code %d, wanted %q and not %q:\n%s%s", c.args[:len(c.args)-1], code, c.says, c.not, out.String(), bad.String())
		}
	}
}

// Every flag is checked as its line in a job file is, and lands where it belongs.
func TestKnownFlagsCheck(t *testing.T) {
	k := knownFlags{order: "1, 3, 4, 2", displacement: "1.6 L", fuel: "petrol", pulsed: "2-1-4-3"}
	k.known.Supply, k.known.Driver, k.known.Ambient, k.known.BatteryTemperature = "13.8 V", "0.6 V", "98 kPa", "8 degC"
	k.known.PumpBars, k.known.CrankTeeth = 8, 60
	e, f, err := k.check()
	if err != nil || e.Cylinders != 4 || fmt.Sprint(e.FiringOrder) != "[1 3 4 2]" || math.Abs(e.DisplacementL-1.6) > 1e-12 || e.Fuel != "petrol" {
		t.Errorf("engine %+v, %v", e, err)
	}
	if f.SupplyVolts != 13.8 || f.DriverVolts != 0.6 || f.AmbientPa != 98e3 || f.BatteryCelsius == nil || math.Abs(*f.BatteryCelsius-8) > 1e-9 || f.PumpBars != 8 || f.CrankTeeth != 60 || fmt.Sprint(f.PulsedOrder) != "[2 1 4 3]" {
		t.Errorf("facts %+v", f)
	}
	for _, c := range []struct {
		set  func(*knownFlags)
		says string
	}{
		{func(k *knownFlags) { k.order = "1-3-x" }, `--order`},
		{func(k *knownFlags) { k.order = "1-3-3-2" }, "each of cylinders 1 to 4 once"},
		{func(k *knownFlags) { k.known.Supply = "13.8 A" }, "--supply"},
		{func(k *knownFlags) { k.known.PolePairs = 99 }, "--pole-pairs"},
		{func(k *knownFlags) { k.displacement = "1.6 kPa" }, "--displacement"},
		{func(k *knownFlags) { k.rpm = -1 }, "--rpm"},
	} {
		var k knownFlags
		c.set(&k)
		if _, _, err := k.check(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.says, err)
		}
	}
}

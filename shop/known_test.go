package shop

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Facts of the job reach the measurement: a reading that needs one comes with it, and
// without it the answer names the fact that would make it measurable.
func TestKnownFactsMakeReadingsMeasurable(t *testing.T) {
	balance := func() string {
		// Rail pressure with four timed pulses: 66, 47, 65 and 67 kPa (trade.md appendix A,
		// case 2), each over a tenth of a second, 3 s apart, the pump topping up between.
		var b strings.Builder
		b.WriteString("time_s,fuel rail pressure (kPa)\n")
		for i := range 1400 {
			x := float64(i) * 0.01
			p := 380.0
			for k, drop := range []float64{66, 47, 65, 67} {
				switch at := 1.5 + 3*float64(k); {
				case x >= at && x < at+1.2:
					p -= drop * math.Min(1, (x-at)/0.1)
				case x >= at+1.2 && x < at+1.5:
					p -= drop * (1 - (x-at-1.2)/0.3)
				}
			}
			fmt.Fprintf(&b, "%.2f,%.3f\n", x, p+0.2*math.Sin(37*x))
		}
		return b.String()
	}
	coil := func() string {
		// RL rise from 13.8 V into 0.6 ohm and 3 mH, 2 ms dwells (standards.md 8.7).
		var b strings.Builder
		b.WriteString("time_ms,coil current (A)\n")
		for i := range 20000 {
			x := math.Mod(float64(i)*0.01, 50)
			a := 0.0
			if x >= 10 && x < 12 {
				a = 13.0 / 0.6 * (1 - math.Exp(-(x-10)*0.2))
			}
			fmt.Fprintf(&b, "%.2f,%.4f\n", float64(i)*0.01, a+0.01*math.Sin(float64(i)*1.7))
		}
		return b.String()
	}
	even := func() string {
		// 24 even teeth at 900 rpm: 360 a second.
		var b strings.Builder
		b.WriteString("time_s,crank sensor (V)\n")
		for i := range 40000 {
			x := float64(i) * 1e-4
			v := 0
			if math.Mod(x*360, 1) < 0.5 {
				v = 5
			}
			fmt.Fprintf(&b, "%.4f,%d\n", x, v)
		}
		return b.String()
	}
	for _, c := range []struct {
		name, file, capture string
		fact                string // in the job file, under known
		feature             string
		without             string // what the answer says without the fact
		want                float64
		subject             SubjectAnswer
	}{
		{"injector balance", balance(), "kind: fuel_pressure, condition: key_on", "pulsed_order: [1, 2, 3, 4]", "injector.balance_drop", "known: pulsed_order", 47, SubjectAnswer{Kind: "cylinder", Number: 2}},
		{"coil inductance", coil(), "kind: ignition_primary, cylinder: 2, condition: idle", "supply: 13.8 V, driver: 0.8 V", "coil.inductance", "known: supply", 3, SubjectAnswer{Kind: "cylinder", Number: 2}},
		{"even crank wheel", even(), "kind: crank_edges, condition: idle", "crank_teeth: 24", "crank.speed", "known: crank_teeth", 900, SubjectAnswer{Kind: "engine"}},
	} {
		for _, place := range []string{"job", "capture", "nowhere"} {
			dir := t.TempDir()
			job := "schema: proveout/job/1\nvehicle:\n  engine: {cylinders: 4, ignition: coil_on_plug, injection: port, fuel: petrol}\ncomplaint: {said: runs rough, symptoms: [misfire_load]}\n"
			capture := "  - {file: c.csv, " + c.capture
			switch place {
			case "job":
				job += "known: {" + c.fact + "}\n"
			case "capture":
				capture += ", known: {" + c.fact + "}"
			}
			for name, text := range map[string]string{"job.yaml": job + "captures:\n" + capture + "}\n", "c.csv": c.file} {
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			a, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			found, said := false, false
			for _, f := range a.Findings {
				if f.Feature == c.feature && f.Subject == c.subject && f.Value != nil {
					found = true
					if math.Abs(*f.Value-c.want) > 0.04*c.want {
						t.Errorf("%s, fact in the %s: %v, want %g", c.name, place, *f.Value, c.want)
					}
				}
				said = said || strings.Contains(f.Sentence, c.without)
			}
			if found == (place == "nowhere") || said != (place == "nowhere") {
				t.Errorf("%s, fact in the %s: found %v, fact named as missing %v", c.name, place, found, said)
				for _, f := range a.Findings {
					t.Log(f.Feature, f.Sentence)
				}
				t.Log(a.LeftOut)
			}
		}
	}
}

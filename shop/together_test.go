package shop_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/shop"
)

// twoInstruments writes a module log and a recorder's file of one drive. Both have
// battery voltage; the recorder was started 37.25 s later. The recorder's fuel
// pressure falls shortly before each mark; everything else wanders.
func twoInstruments(t *testing.T, dir string, marks []float64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(4, 15))
	var jumps [][2]float64
	for at := 0.0; at < 520; at += 4 + 22*rng.Float64() {
		jumps = append(jumps, [2]float64{at, 0.6 * (rng.Float64() - 0.5)})
	}
	battery := func(t float64) float64 {
		v := 14.1
		for _, j := range jumps {
			v += j[1] / (1 + math.Exp(-(t-j[0])*3))
		}
		return v
	}
	wander := func(sd, tau, step float64) func() float64 {
		v := 0.0
		return func() float64 {
			v += -v*step/tau + sd*math.Sqrt(2*step/tau)*rng.NormFloat64()
			return v
		}
	}
	var log, scope bytes.Buffer
	log.WriteString("Time (s),Engine speed (rpm),Load (%),Battery (V)\n")
	speed, load := wander(250, 6, 0.5), wander(8, 4, 0.5)
	for at := 0.0; at < 500; at += 0.5 {
		fmt.Fprintf(&log, "%.1f,%.0f,%.1f,%.2f\n", at, 2100+speed(), 40+load(), battery(at)+0.01*rng.NormFloat64())
	}
	scope.WriteString("Time (s),Supply (V),Fuel pressure (kPa),Pump current (A)\n")
	pressure, pump := wander(3, 2, 0.05), wander(0.2, 3, 0.05)
	for at := 0.0; at < 420; at += 0.05 {
		drive := at + 37.25
		p := 380 + pressure()
		for _, m := range marks {
			if d := drive - m + 1.4; d > 0 && d < 1 {
				p -= 45
			}
		}
		fmt.Fprintf(&scope, "%.2f,%.3f,%.1f,%.2f\n", at, battery(drive)+0.01*rng.NormFloat64(), p, 6+pump())
	}
	for name, b := range map[string][]byte{"drive.csv": log.Bytes(), "scope.csv": scope.Bytes()} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

var feltAt = []float64{66, 121, 178, 240, 301, 388}

// Two instruments of one drive lie on one line of time within the stated error, and
// the channel that moved before each mark is named, and no other.
func TestTwoInstrumentsOnOneLine(t *testing.T) {
	dir := t.TempDir()
	twoInstruments(t, dir, feltAt)
	got := shop.JoinFiles([]string{filepath.Join(dir, "drive.csv"), filepath.Join(dir, "scope.csv")}, nil, shop.TogetherOptions{Marks: feltAt})
	second := got.Files[1]
	if second.Offset == nil {
		t.Fatalf("not joined: %s", second.Sentence)
	}
	if off := math.Abs(*second.Offset - 37.25); off > 3**second.Uncertainty || *second.Uncertainty > 0.2 {
		t.Errorf("offset %.3f s ± %.3f, drawn 37.25", *second.Offset, *second.Uncertainty)
	}
	if !strings.Contains(second.Sentence, "Battery (V) and Supply (V)") {
		t.Errorf("joined by: %s", second.Sentence)
	}
	for _, a := range got.Felt {
		if want := strings.HasPrefix(a.Channel, "Fuel pressure"); a.Goes != want {
			t.Errorf("%s: %s", a.Channel, a.Sentence)
		}
	}
	if len(got.Felt) != 6 {
		t.Errorf("%d channels held against the marks, 6 were recorded", len(got.Felt))
	}
}

// Without a shared signal nothing is joined by guess, and it is said what to do.
func TestTwoDrivesAreNotJoined(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	twoInstruments(t, a, nil)
	text := "Time (s),Supply (V)\n"
	rng := rand.New(rand.NewPCG(9, 9))
	for i := range 3000 {
		text += fmt.Sprintf("%.2f,%.3f\n", float64(i)*0.05, 13.8+0.05*rng.NormFloat64())
	}
	other := filepath.Join(b, "other.csv")
	if err := os.WriteFile(other, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	got := shop.JoinFiles([]string{filepath.Join(a, "drive.csv"), other}, nil, shop.TogetherOptions{})
	if f := got.Files[1]; f.Offset != nil || !strings.Contains(f.Sentence, "record one signal on both") {
		t.Errorf("%+v", f)
	}
}

// Marks in a job become notes, move no odds, and are told when there are too few.
func TestMarksOfAJob(t *testing.T) {
	for _, c := range []struct {
		marks string
		want  []string
	}{
		{"[66 s, 121 s, 178 s, 4 min, 301 s, 388 s]", []string{"laid on captures/drive.csv by Battery (V) and Supply (V)", "Fuel pressure (kPa) goes along with it"}},
		{"[66 s, 121 s]", []string{"2 marks lie inside the recording: at least 3"}},
	} {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, "captures"), 0o755); err != nil {
			t.Fatal(err)
		}
		twoInstruments(t, filepath.Join(dir, "captures"), feltAt)
		job := "schema: proveout/job/1\njob: felt\nvehicle:\n  engine: {cylinders: 4, fuel: petrol, ignition: coil_on_plug, injection: port}\ncomplaint: {symptoms: [misfire_load]}\ncaptures:\n" +
			"  - {file: captures/scope.csv, kind: fuel_pressure}\n  - {file: captures/drive.csv, kind: parameter_log, marks: " + c.marks + "}\n"
		if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(job), 0o644); err != nil {
			t.Fatal(err)
		}
		a, err := shop.Diagnose(dir, shop.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		for _, n := range a.Notes {
			said.WriteString(n.Text + "\n")
		}
		for _, want := range c.want {
			if !strings.Contains(said.String(), want) {
				t.Errorf("%s: no note says %q:\n%s", c.marks, want, said.String())
			}
		}
	}
}

package shop

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/job"
)

// A recording counts once: kept again it is no second look, and kept as something else
// neither counts until one of the two is set aside. A file with two channels may be kept
// for each.
func TestSameBytesCountOnce(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,crank sensor (V)\n")
	for i := range 40000 {
		x := float64(i) * 1e-4
		v := 0
		if x*360-float64(int(x*360)) < 0.5 {
			v = 5
		}
		fmt.Fprintf(&b, "%.4f,%d\n", x, v)
	}
	const edges = "kind: crank_edges, known: {crank_teeth: 24}"
	for _, c := range []struct {
		name, captures string
		counted        int // items that give readings
		says           string
	}{
		{"once", "  - {item: 1, file: a.csv, " + edges + ", condition: idle}\n", 1, ""},
		{"kept again", "  - {item: 1, file: a.csv, " + edges + ", condition: idle}\n  - {item: 2, file: b.csv, " + edges + ", condition: idle}\n", 1, "the same file as item 1, byte for byte"},
		{"kept as after", "  - {item: 1, file: a.csv, " + edges + ", condition: idle}\n  - {item: 2, file: b.csv, " + edges + ", condition: idle, when: after}\n", 0, "items 1 and 2 are the same file, byte for byte, and are said to be different things"},
		{"one set aside", "  - {item: 1, file: a.csv, " + edges + ", condition: idle}\n  - {item: 2, file: b.csv, " + edges + ", condition: idle, when: after, set_aside: kept twice}\n", 2, ""},
		{"three", "  - {item: 1, file: a.csv, " + edges + ", condition: idle}\n  - {item: 2, file: b.csv, " + edges + ", condition: idle}\n  - {item: 3, file: a.csv, " + edges + ", condition: idle}\n", 1, "the same file as item 1, byte for byte"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			job := "schema: proveout/job/1\nvehicle:\n  engine: {cylinders: 4, ignition: coil_on_plug, injection: port, fuel: petrol}\ncomplaint: {said: runs rough, symptoms: [misfire_load]}\ncaptures:\n" + c.captures
			for name, text := range map[string]string{"job.yaml": job, "a.csv": b.String(), "b.csv": b.String()} {
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			a, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			items := map[int]bool{}
			for _, f := range a.Findings {
				if f.Value != nil {
					items[f.Item] = true
				}
			}
			if len(items) != c.counted {
				t.Errorf("%d items give readings, want %d", len(items), c.counted)
			}
			said := ""
			for _, l := range a.LeftOut {
				said += l.Why + "\n"
			}
			if c.says == "" && strings.Contains(said, "byte for byte") || !strings.Contains(said, c.says) {
				t.Errorf("left out: %q, want %q", said, c.says)
			}
		})
	}
}

// Two items of one file that read different channels, or different stretches, are two looks.
func TestSameFileForTwoChannels(t *testing.T) {
	item := func(n int, channel string, first, last int) taken {
		return taken{
			c: job.CaptureFile{Item: n, Subject: evidence.Subject{Kind: evidence.Corner, Number: n}},
			m: measured{sha256: "a", read: true, readings: []evidence.Reading{{Feature: "brake.inrush", From: evidence.Source{Channel: channel, First: first, Last: last}}}},
		}
	}
	for name, c := range map[string]struct {
		b    taken
		both bool
	}{
		"another channel":  {item(2, "right (A)", 0, 99), true},
		"another stretch":  {item(2, "left (A)", 100, 199), true},
		"the same samples": {item(2, "left (A)", 50, 199), false},
	} {
		all := []taken{item(1, "left (A)", 0, 99), c.b}
		sameBytes(all)
		if got := !all[0].silent && !all[1].silent; got != c.both {
			t.Errorf("%s: both count: %v, want %v", name, got, c.both)
		}
	}
}

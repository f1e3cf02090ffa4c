package procedure

import (
	"math"
	"strings"
	"testing"
)

// TestFiguresAgainstTheirLimits: a value is demanded and held to the limit typed
// beside it; a yes is not enough.
func TestFiguresAgainstTheirLimits(t *testing.T) {
	m, _, err := LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	const mm = 1e-3
	for _, tc := range []struct {
		id           string
		value, limit float64
		want         string
	}{
		{"disc.left", 10.4 * mm, 10.4 * mm, ""},
		{"disc.left", 10.3 * mm, 10.4 * mm, "The left disc, thinnest place: 10.30 mm is under the limit of 10.40 mm"},
		{"disc.right", 0, 10.4 * mm, "both above zero"},
		{"disc.right", 12 * mm, 0, "both above zero"},
		{"disc.right", math.NaN(), 10 * mm, "both above zero"},
		{"disc.right", math.Inf(1), 10 * mm, "both above zero"},
		{"pad_worn.left", 1 * mm, 2 * mm, ""}, // goes out: written down, not held against it
		{"pad_new.left", 1 * mm, 2 * mm, "under the limit"},
		{"caliper_torque.left", 35, 35, ""},
		{"caliper_torque.left", 36.7, 35, ""},
		{"caliper_torque.left", 36.8, 35, "more than 5 % off 35"},
		{"caliper_torque.left", 33.2, 35, "more than 5 % off 35"},
	} {
		f, ok := m.FigureByID(tc.id)
		if !ok {
			t.Fatalf("no figure %s", tc.id)
		}
		got := f.Against(Given{tc.value, tc.limit})
		if tc.want == "" && got != "" || tc.want != "" && !strings.Contains(got, tc.want) {
			t.Errorf("%s %g against %g: %q, want %q", tc.id, tc.value, tc.limit, got, tc.want)
		}
	}
}

// TestNoLimitAboveTheCeiling: zero is shown by numbers, and no limit above 60 V DC or
// 30 V AC (S129) is taken, whoever typed it.
func TestNoLimitAboveTheCeiling(t *testing.T) {
	m, _, err := LoadShipped("high_voltage_isolation")
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		id           string
		value, limit float64
		want         string
	}{
		{"zero_dc", 0, 60, ""},
		{"zero_dc", 59.9, 60, ""},
		{"zero_dc", 61, 60, "over the limit"},
		{"zero_dc", 6, 5, "over the limit"},
		{"zero_dc", 1, 60.1, "never above 60"},
		{"zero_dc", 400, 400, "never above 60"},
		{"zero_dc", -380, 60, "without its sign"},
		{"zero_ac", 0, 30, ""},
		{"zero_ac", 0, 31, "never above 30"},
		{"zero_ac", 0, 0, "without its sign"},
		{"zero_ac", math.NaN(), 30, "without its sign"},
		{"zero_ac", 0, math.Inf(1), "without its sign"},
	} {
		f, ok := m.FigureByID(tc.id)
		if !ok {
			t.Fatalf("no figure %s", tc.id)
		}
		got := f.Against(Given{tc.value, tc.limit})
		if tc.want == "" && got != "" || tc.want != "" && !strings.Contains(got, tc.want) {
			t.Errorf("%s %g against %g: %q, want %q", tc.id, tc.value, tc.limit, got, tc.want)
		}
	}
}

// TestBrakeFiguresAreAsked: thickness before and after, disc or drum, and both torques,
// on both sides, in every brake procedure.
func TestBrakeFiguresAreAsked(t *testing.T) {
	for _, id := range []string{"epb_caliper_pads", "epb_cable_drum", "epb_cable_lever"} {
		m, _, err := LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		n := map[string]int{}
		for i := range m.Steps {
			for _, mean := range m.Steps[i].Confirm.By {
				for _, f := range mean.Figures {
					n[strings.TrimSuffix(strings.TrimSuffix(f, ".left"), ".right")]++
				}
			}
		}
		worn, fresh := "pad_worn", "pad_new"
		if id == "epb_cable_drum" {
			worn, fresh = "shoe_worn", "shoe_new"
		}
		for _, f := range []string{worn, fresh, "disc", "caliper_torque", "wheel_torque"} {
			if n[f] != 2 {
				t.Errorf("%s asks %s %d times, want left and right", id, f, n[f])
			}
		}
	}
}

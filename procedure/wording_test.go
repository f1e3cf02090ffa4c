package procedure

import (
	"fmt"
	"strings"
	"testing"
)

// TestAnswersOpenStepsAndWording: which axle is driven opens one gear step and closes
// the other; how it is lifted changes what is said of chocks, jack, locks and stands.
func TestAnswersOpenStepsAndWording(t *testing.T) {
	for _, id := range []string{"epb_caliper_pads", "epb_cable_drum", "epb_cable_lever"} {
		m, _, err := LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		for _, tc := range []struct{ drive, lift, open, shut, chock, lower string }{
			{"front", "axle", "gear_park", "gear_neutral", "gear P only helps", "stands out"},
			{"rear", "axle", "gear_neutral", "gear_park", "gear P holds nothing", "stands out"},
			{"all", "axle", "gear_neutral", "gear_park", "gear P holds nothing", "stands out"},
			{"front", "two_post", "gear_park", "gear_neutral", "arms and locks do", "off the locks"},
			{"rear", "two_post", "gear_neutral", "gear_park", "arms and locks do", "off the locks"},
		} {
			s := m.Initial()
			for q, a := range map[string]string{"drive": tc.drive, "lift": tc.lift} {
				i, _ := m.StepIndex(q)
				for k, o := range m.Steps[i].Outcomes {
					if o.ID == a {
						for _, set := range m.Steps[i].outcomes[k].sets {
							m.Facts[set.fact].f.set(&s, uint64(set.value))
						}
					}
				}
			}
			open, _ := m.StepIndex(tc.open)
			shut, _ := m.StepIndex(tc.shut)
			if m.SkippedIn(s, open) || !m.SkippedIn(s, shut) {
				t.Errorf("%s, %s driven: %s left out %v, %s left out %v", id, tc.drive, tc.open, m.SkippedIn(s, open), tc.shut, m.SkippedIn(s, shut))
			}
			for step, want := range map[string]string{"chock": tc.chock, "lower": tc.lower} {
				i, _ := m.StepIndex(step)
				if do, _ := m.SayStep(s, i); !strings.Contains(do, want) {
					t.Errorf("%s, %s driven, %s lift: %s says %q, want %q in it", id, tc.drive, tc.lift, step, do, want)
				}
			}
		}
	}
}

// TestChocksAwayCarriesItsCaution: a vehicle freed of its chocks can roll, so a file
// that does not say so is refused. And a hold test before the first stops from walking
// pace sends nobody to a slope or a roller tester: that would be the first drive on
// brakes not yet proven, with the tag on and the support supply connected.
func TestChocksAwayCarriesItsCaution(t *testing.T) {
	for _, id := range Shipped() {
		text, err := ShippedText(id)
		if err != nil {
			t.Fatal(err)
		}
		steps := strings.Split(string(text), "\n  - id: ")
		for k, b := range steps {
			if strings.Contains(b, "act: hold_test\n") && !strings.Contains(b, "come after the yard") {
				t.Errorf("%s: the hold test does not say that slope and roller tester come after the yard", id)
			}
			if !strings.Contains(b, "act: remove_chocks\n") {
				continue
			}
			from := strings.Index(b, "    hazards:")
			if from < 0 {
				t.Errorf("%s: chocks come away without a caution", id)
				continue
			}
			to := from + strings.Index(b[from:], "\n") + 1
			bare := append([]string(nil), steps...)
			bare[k] = b[:from] + b[to:]
			if _, problems := Load("bare.yaml", []byte(strings.Join(bare, "\n  - id: "))); !strings.Contains(fmt.Sprint(problems), "WARNING") {
				t.Errorf("%s without the caution at its chocks: %v", id, problems)
			}
		}
	}
}

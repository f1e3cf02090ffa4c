package player

import (
	"strings"
	"testing"

	"proveout/procedure"
)

// TestThePlayerCanBeHurt is the control: in procedures made dangerous by hand the
// world must say what hurts. Without it "nobody is hurt" would prove nothing.
func TestThePlayerCanBeHurt(t *testing.T) {
	type steps = func(string) *procedure.Step
	none := procedure.Guard{}
	for _, tc := range []struct {
		id, want string
		change   func(f *procedure.File, step steps)
	}{
		{"epb_caliper_pads", "nut that is not back", func(f *procedure.File, step steps) {
			step("push_piston").Needs, step("push_piston").Guard = []string{"wheels_off"}, none
			step("fit_pads").Needs = []string{"push_piston.{side}", "unbolt.{side}"}
		}},
		{"epb_caliper_pads", "caliper off", func(f *procedure.File, step steps) {
			step("pedal_firm").Needs, step("pedal_firm").Guard = []string{"fit_pads"}, none
		}},
		{"epb_caliper_pads", "ignition on", func(f *procedure.File, step steps) {
			step("measure_before").Needs, step("measure_before").Guard = []string{"locks_in"}, none
			step("lift_up").Needs, step("wheels_off").Needs = []string{"baseline_release"}, []string{"locks_in", "key_off_lift"}
		}},
		{"epb_caliper_pads", "gearbox holding", func(f *procedure.File, step steps) {
			step("hold_test").Needs = []string{"apply_last"}
			delete(step("hold_test").Guard.Facts, "gear")
			step("tag_off").Needs = []string{"hold_test", "gear_test"}
		}},
		{"epb_caliper_pads", "tag on", func(f *procedure.File, step steps) {
			step("yard").Needs, step("yard").Guard = []string{"pedal_last"}, none
			step("key_scan").Needs = []string{"yard", "chocks_away"}
		}},
		{"epb_caliper_pads", "erased before", func(f *procedure.File, step steps) {
			step("erase_codes").Needs, step("erase_codes").Guard = []string{"battery"}, none
			step("reread_codes").Needs = []string{"erase_codes", "read_codes"}
		}},
		{"battery_replacement", "negative lead is on", func(f *procedure.File, step steps) {
			step("pos_off").Needs, step("pos_off").Guard = []string{"sleep"}, none
			step("swap").Needs = []string{"pos_off", "neg_off"}
		}},
		{"air_suspension_service", "not supported", func(f *procedure.File, step steps) {
			step("vent").Needs, step("vent").Guard = []string{"jack_on"}, none
			step("key_out").Needs = []string{"vent", "locks_in"}
		}},
	} {
		t.Run(tc.want, func(t *testing.T) {
			m, _, err := procedure.LoadShipped(tc.id)
			if err != nil {
				t.Fatal(err)
			}
			f := m.File
			tc.change(f, func(id string) *procedure.Step {
				for i := range f.Steps {
					if f.Steps[i].ID == id {
						return &f.Steps[i]
					}
				}
				t.Fatalf("no step %q", id)
				return nil
			})
			bad, err := procedure.Compile(f)
			if err != nil {
				t.Fatal(err)
			}
			for seed := uint64(1); seed <= 400; seed++ {
				for _, h := range Play(bad, Options{Seed: seed, MaxTurns: 800}).Harms {
					if strings.Contains(h, tc.want) {
						return
					}
				}
			}
			t.Errorf("in 400 runs the world never said %q", tc.want)
		})
	}
}

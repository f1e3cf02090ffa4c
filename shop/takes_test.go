package shop_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"proveout/shop"
)

// Two readings of one thing that cannot both be right are told as that pair, read from
// a job folder, and the thing is what is read again first: not another test that one of
// the two does not fit. A third reading names the odd one and no longer stands in the way.
func TestTwoReadingsOfOneThingInAJob(t *testing.T) {
	const head = `schema: proveout/job/1
vehicle:
  engine: {cylinders: 4, firing_order: [1, 3, 4, 2], ignition: coil_on_plug, injection: port, fuel: petrol}
complaint: {symptoms: [misfire_load]}
readings:
  - {feature: plug.gap, values: {1: 1.05 mm, 2: 1.06 mm, 3: 1.60 mm, 4: 1.05 mm}}
  - {test: plug_swap, cylinder: 3, result: moves_and_returns}
`
	const again = "  - {feature: plug.gap, values: {3: 1.04 mm}}\n"
	for _, c := range []struct {
		name, more string
		items      []int // of the first conflict
		doubtful   string
		first      string // next test
		blocks     bool
	}{
		{"one reading", "", nil, "", "", false},
		{"two that differ", again, []int{1, 3}, "", "plug_gap_others", true},
		{"a third that is like the first", again + "  - {feature: plug.gap, values: {3: 1.58 mm}}\n", []int{1, 3}, "item 3", "", false},
		{"a swap done twice", "  - {test: plug_swap, cylinder: 3, result: stays}\n", []int{2, 3}, "plug_swap@cyl3#2", "plug_swap", true},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(head+c.more), 0o600); err != nil {
			t.Fatal(err)
		}
		a, err := shop.Diagnose(dir, shop.Options{Program: "test"})
		if err != nil {
			t.Fatal(err)
		}
		if blocks := strings.Contains(a.Stop, "disagree"); blocks != c.blocks {
			t.Errorf("%s: %s", c.name, a.Stop)
		}
		if c.items == nil {
			if len(a.Conflicts) > 0 {
				t.Errorf("%s: %+v", c.name, a.Conflicts)
			}
			continue
		}
		if len(a.Conflicts) != 1 {
			t.Errorf("%s: %d conflicts: %+v", c.name, len(a.Conflicts), a.Conflicts)
			continue
		}
		got := a.Conflicts[0]
		items := slices.Clone(got.Items)
		slices.Sort(items)
		if !slices.Equal(items, c.items) || got.Doubtful != c.doubtful {
			t.Errorf("%s: items %v, doubtful %q: %s", c.name, got.Items, got.Doubtful, got.Reason)
		}
		if c.first != "" && (a.Next[0].Test != c.first || !strings.Contains(a.Next[0].Why, "disagree")) {
			t.Errorf("%s: next is %s (%s), want %s again", c.name, a.Next[0].Test, a.Next[0].Why, c.first)
		}
	}
}

package measure

import (
	"math"

	"proveout/evidence"
	"proveout/unit"
)

// Derive adds readings that follow from two others: the snap ratio, where idle
// and snap were taken as two captures on one placement of one cylinder. The
// given readings come first, unchanged.
func Derive(rs []evidence.Reading) []evidence.Reading {
	out := append([]evidence.Reading{}, rs...)
	for _, idle := range rs {
		if idle.Feature != "ignition.firing_height_idle" || idle.Blocked() || idle.Placement == "" || !(idle.Value.SI > 0) {
			continue
		}
		have := false
		for _, r := range rs {
			have = have || r.Feature == "ignition.snap_ratio" && r.Subject == idle.Subject && r.Placement == idle.Placement && r.When == idle.When
		}
		if have {
			continue
		}
		for _, snap := range rs {
			if snap.Feature != "ignition.firing_height_snap" || snap.Blocked() || snap.Subject != idle.Subject ||
				snap.Placement != idle.Placement || snap.When != idle.When || snap.Instrument != idle.Instrument || !(snap.Value.SI > 0) {
				continue
			}
			q, err := unit.New(snap.Value.SI/idle.Value.SI, unit.Must("x"))
			if err != nil {
				continue
			}
			r := snap
			r.ID, r.Feature, r.Value = "", "ignition.snap_ratio", q
			r.Uncertainty = 0
			if idle.Uncertainty > 0 && snap.Uncertainty > 0 {
				r.Uncertainty = q.SI * math.Hypot(idle.Uncertainty/idle.Value.SI, snap.Uncertainty/snap.Value.SI)
			}
			r.Flags = uniqueFlags(append(append([]evidence.Flag{}, idle.Flags...), snap.Flags...))
			out = append(out, r)
			break
		}
	}
	return out
}

package evaluate

import (
	"fmt"
	"strings"

	"proveout/reason"
)

// ShownPart is a part that a direct test would show at the end of a job if the
// chance asked of it were low enough.
type ShownPart struct {
	Chance float64 // of the part, all its ways of failing together
	Right  bool
}

// lowestShown is the chance asked while the trade-off is played: what is shown
// above it is told apart afterwards. The search itself does not depend on it, since
// it ends at a higher chance.
const lowestShown = 0.5

// TradeOff plays jobs under the advice once and says, for each chance that might be
// asked of a part before it is called shown, in how many jobs a true cause and in
// how many a sound part would be.
func TradeOff(c Config) (string, error) {
	l := reason.DefaultLimits()
	if c.Options.Limits != nil {
		l = *c.Options.Limits
	}
	l.ShownAt = lowestShown
	c.Options.Limits = &l
	scores, err := Run(c, Advice)
	if err != nil {
		return "", err
	}
	s := &scores[0]
	var b strings.Builder
	fmt.Fprintf(&b, "chance asked   right cause shown      a sound part shown\n")
	for _, at := range []float64{0.50, 0.60, 0.70, 0.75, 0.80, 0.85, 0.90} {
		right, wrong := 0, 0
		for _, job := range s.ShownParts {
			r, w := false, false
			for _, p := range job {
				if p.Chance >= at {
					r, w = r || p.Right, w || !p.Right
				}
			}
			if r {
				right++
			}
			if w {
				wrong++
			}
		}
		fmt.Fprintf(&b, "%8.2f       %3d of %3d (%.1f %%)      %3d of %3d (%.1f %%)\n", at, right, s.Listed, 100*float64(right)/max(1, float64(s.Listed)), wrong, s.Jobs, 100*float64(wrong)/max(1, float64(s.Jobs)))
	}
	return b.String(), nil
}

package play

import (
	"fmt"
	"io"
	"math"
	"sort"

	"proveout/stats"
)

// Score is what the games of one run came to.
type Score struct {
	Seed         uint64  `json:"seed"`
	Jobs         int     `json:"jobs"`
	Failed       int     `json:"failed"`               // games that ended with an error
	First        int     `json:"first"`                // right cause in first place at the end
	Shown        int     `json:"shown"`                // a true cause shown by direct test
	OtherWay     int     `json:"right_part_other_way"` // the part was shown, its way of failing named wrongly
	WronglyShown int     `json:"wrongly_shown"`
	RuledOut     int     `json:"true_cause_ruled_out"`
	Stopped      int     `json:"stopped"`
	Unlisted     int     `json:"unlisted"`       // vehicles with a cause the books lack
	UnlistedCall int     `json:"unlisted_shown"` // of those, some listed part was called shown
	MedianMin    float64 `json:"median_minutes_to_shown"`
	LogLoss      float64 `json:"log_loss_of_first"`
	Brier        float64 `json:"brier_of_first"`
	// Reliability is over all suspects of all vehicles, as they stood at the end.
	Reliability stats.Reliability `json:"reliability"`
}

// Tally adds games up.
func Tally(seed uint64, games []Game) Score {
	s := Score{Seed: seed, Jobs: len(games), Reliability: stats.NewReliability()}
	var minutes []float64
	n := 0
	for _, g := range games {
		if g.Err != "" {
			s.Failed++
			continue
		}
		n++
		for _, c := range g.Chances {
			s.Reliability.Add(c.Told, c.True)
		}
		y := 0.0
		if g.First {
			s.First++
			y = 1
		}
		p := math.Min(math.Max(g.Chance, 1e-3), 1-1e-3)
		s.Brier += (p - y) * (p - y)
		s.LogLoss -= y*math.Log(p) + (1-y)*math.Log(1-p)
		if g.RightlyShown {
			s.Shown++
			minutes = append(minutes, g.Minutes)
		}
		if len(g.WronglyShown) > 0 {
			s.WronglyShown++
		}
		if len(g.OtherWay) > 0 {
			s.OtherWay++
		}
		if len(g.RuledOut) > 0 {
			s.RuledOut++
		}
		if g.Stopped {
			s.Stopped++
		}
		if !g.Listed {
			s.Unlisted++
			if len(g.WronglyShown) > 0 {
				s.UnlistedCall++
			}
		}
	}
	if n > 0 {
		s.Brier /= float64(n)
		s.LogLoss /= float64(n)
	}
	sort.Float64s(minutes)
	if len(minutes) > 0 {
		s.MedianMin = minutes[len(minutes)/2]
	}
	return s
}

// Write prints the score for people.
func (s Score) Write(w io.Writer) error {
	_, err := fmt.Fprintf(w, `simulator -> files -> intake -> measurement -> odds, seed %d
vehicles played                        %6d (%d ended with an error)
right cause in first place at the end  %6d
right cause shown by direct test       %6d, median %.0f min of testing
stop rule reached                      %6d
the right part, another way of failing %6d
a sound part shown                     %6d
a true cause ruled out                 %6d
vehicles whose cause is in no book     %6d, of which %d had a wrong part shown
Brier score of the leader %.3f, log loss %.3f
reliability over all suspects at the end: chance told against share true
%s`, s.Seed, s.Jobs, s.Failed, s.First, s.Shown, s.MedianMin, s.Stopped, s.OtherWay, s.WronglyShown, s.RuledOut, s.Unlisted, s.UnlistedCall, s.Brier, s.LogLoss, s.Reliability)
	return err
}

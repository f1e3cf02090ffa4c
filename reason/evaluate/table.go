package evaluate

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"proveout/reason"
	"proveout/stats"
)

// Score sums up the jobs of one policy.
type Score struct {
	Policy       Policy
	Jobs         int
	Listed       int // jobs whose cause is in the book
	Stopped      int // jobs that ended with a suspect shown
	RightFirst   int // of the listed
	RightShown   int // of the listed
	WronglyShown int
	TrueRuledOut int
	ByElim       int
	RuledOut     float64 // suspects ruled out at the end, mean
	Conflicts    int
	Minutes      float64 // mean, all jobs
	MinutesShown float64 // mean, jobs that reached the right cause shown
	Tests        float64
	Brier        float64 // mean over suspects and jobs of (chance - truth)^2, times the number of suspects
	LogLoss      float64 // mean of -ln(chance of what is true)
	Bins         stats.Reliability
	ShownParts   [][]ShownPart // of each job, at the end
}

// Config is what Run needs.
type Config struct {
	World   func(rng *rand.Rand) *World
	Jobs    int
	Seed    uint64
	Options reason.Options
	// Each, if set, is called after each job, one at a time: for a progress display.
	Each func(done int)
}

// each does the jobs, as many at once as there are processors. A job draws from a
// source of its own, so that the order in which they end changes nothing.
func (c *Config) each(do func(n int) error) error {
	var all errgroup.Group
	all.SetLimit(runtime.GOMAXPROCS(0))
	var ending sync.Mutex
	failed, done := make([]error, c.Jobs), 0
	for n := range c.Jobs {
		all.Go(func() error {
			failed[n] = do(n)
			ending.Lock()
			defer ending.Unlock()
			if done++; c.Each != nil {
				c.Each(done)
			}
			return nil
		})
	}
	_ = all.Wait()
	return errors.Join(failed...) // in the order of the jobs, whichever ended first
}

// Run plays the same vehicles under each policy and gives the scores in order.
func Run(c Config, policies ...Policy) ([]Score, error) {
	out := make([]Score, len(policies))
	for p := range out {
		out[p].Policy, out[p].Bins = policies[p], stats.NewReliability()
	}
	jobs := make([][]*Job, c.Jobs)
	err := c.each(func(n int) error {
		for _, by := range policies {
			rng := rand.New(rand.NewPCG(c.Seed, uint64(n)))
			w := c.World(rng)
			j, err := w.Play(w.Draw(rng), by, c.Options, rng)
			if err != nil {
				return fmt.Errorf("job %d of seed %d, %s: %w", n, c.Seed, by, err)
			}
			jobs[n] = append(jobs[n], j)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for n := range jobs {
		for p := range out {
			out[p].add(jobs[n][p])
		}
	}
	for p := range out {
		out[p].finish()
	}
	return out, nil
}

func (s *Score) add(j *Job) {
	s.Jobs++
	listed := len(j.Truth.Causes) > 0
	count := func(n *int, ok bool) {
		if ok {
			*n++
		}
	}
	count(&s.Listed, listed)
	count(&s.Stopped, j.Stopped)
	count(&s.RightFirst, listed && j.RightFirst)
	count(&s.RightShown, listed && j.RightShown)
	count(&s.WronglyShown, j.WronglyShown)
	count(&s.TrueRuledOut, j.TrueRuledOut)
	count(&s.ByElim, j.ByElim)
	count(&s.Conflicts, j.Conflict)
	s.RuledOut += float64(j.RuledOut)
	s.ShownParts = append(s.ShownParts, j.Shown)
	s.Minutes += j.Minutes
	s.Tests += float64(j.Tests)
	if j.RightShown {
		s.MinutesShown += j.Minutes
	}
	s.LogLoss -= math.Log(math.Max(j.TrueChance, 1e-12))
	for i, p := range j.Chances {
		y := 0.0
		if j.Truth.is(i) {
			y = 1
		}
		s.Brier += (p - y) * (p - y)
		s.Bins.Add(p, y == 1)
	}
}

func (s *Score) finish() {
	n := math.Max(1, float64(s.Jobs))
	s.RuledOut /= n
	s.Minutes /= n
	s.Tests /= n
	s.Brier /= n
	s.LogLoss /= n
	s.MinutesShown /= math.Max(1, float64(s.RightShown))
}

// Text prints scores side by side, then the reliability of the first.
func Text(scores []Score) string {
	var b strings.Builder
	row := func(name string, f func(s *Score) string) {
		fmt.Fprintf(&b, "%-34s", name)
		for i := range scores {
			fmt.Fprintf(&b, "%20s", f(&scores[i]))
		}
		b.WriteByte('\n')
	}
	share := func(k, n int) string {
		if n == 0 {
			return "-"
		}
		return fmt.Sprintf("%d of %d (%.1f %%)", k, n, 100*float64(k)/float64(n))
	}
	row("", func(s *Score) string { return string(s.Policy) })
	row("right cause first at the end", func(s *Score) string { return share(s.RightFirst, s.Listed) })
	row("right cause shown", func(s *Score) string { return share(s.RightShown, s.Listed) })
	row("a wrong cause shown", func(s *Score) string { return share(s.WronglyShown, s.Jobs) })
	row("a true cause ruled out, ever", func(s *Score) string { return share(s.TrueRuledOut, s.Jobs) })
	row("suspects ruled out, mean", func(s *Score) string { return fmt.Sprintf("%.1f", s.RuledOut) })
	row("jobs with a conflict", func(s *Score) string { return share(s.Conflicts, s.Jobs) })
	row("minutes, mean", func(s *Score) string { return fmt.Sprintf("%.0f", s.Minutes) })
	row("minutes to the right cause shown", func(s *Score) string { return fmt.Sprintf("%.0f", s.MinutesShown) })
	row("tests, mean", func(s *Score) string { return fmt.Sprintf("%.1f", s.Tests) })
	row("log loss of the truth", func(s *Score) string { return fmt.Sprintf("%.3f", s.LogLoss) })
	row("Brier score", func(s *Score) string { return fmt.Sprintf("%.3f", s.Brier) })
	if len(scores) > 0 {
		fmt.Fprintf(&b, "\nReliability at the end (%s): chance told against share true\n", scores[0].Policy)
		b.WriteString(scores[0].Bins.String())
	}
	return b.String()
}

package cli

import (
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"proveout/play"
	"proveout/reason"
	"proveout/reason/evaluate"
	"proveout/shop"
)

func init() { commands = append(commands, newEvaluate) }

func newEvaluate() *cobra.Command {
	var asJSON, verbose bool
	var jobs, tests, against int
	var seed uint64
	c := &cobra.Command{
		Use:   "evaluate",
		Short: "Play simulated vehicles to the end under the tool's own advice, and print the score",
		Long: `Draws vehicles with hidden faults from the simulator, writes their captures and
answers into job folders, follows the advice of diagnose until it says stop, and
scores the end. The simulator shares no constant with the fault books, and some of
its faults are in none of them. The same seed gives the same score.

With --against N the reasoning alone also plays N abstract vehicles under its own
advice, under a fixed check order and in random order, and N small books against
the best plan that dynamic programming finds.`,
		Example: `  proveout evaluate --jobs 20
  proveout evaluate --jobs 100 --seed 2 --against 250
  proveout evaluate --jobs 1000 --seed 7 --json`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, args []string) error {
			if jobs < 1 {
				return fmt.Errorf("--jobs %d: write 1 or more", jobs)
			}
			dir, err := os.MkdirTemp("", "proveout-evaluate-")
			if err != nil {
				return err
			}
			defer os.RemoveAll(dir)
			start := time.Now()
			var waiting []play.Game // ended, but not yet told: they are told in order
			told := 0
			games := play.All(play.Options{Jobs: jobs, Seed: seed, MaxTests: tests, Dir: dir, Shop: shop.Options{Program: Version()}, Ended: func(g play.Game, done int) {
				fmt.Fprintf(c.ErrOrStderr(), "\r%d of %d vehicles, %s ", done, jobs, time.Since(start).Round(time.Second))
				if !verbose {
					return
				}
				waiting = append(waiting, g)
				slices.SortFunc(waiting, func(a, b play.Game) int { return a.Job - b.Job })
				for len(waiting) > 0 && waiting[0].Job == told {
					writeGame(c, waiting[0])
					waiting, told = waiting[1:], told+1
				}
			}})
			fmt.Fprintln(c.ErrOrStderr())
			s := play.Tally(seed, games)
			if asJSON {
				return writeJSON(c.OutOrStdout(), s)
			}
			if err := s.Write(c.OutOrStdout()); err != nil || against <= 0 {
				return err
			}
			text, err := evaluate.Report(against, seed, reason.Options{}, func(done int) {
				fmt.Fprintf(c.ErrOrStderr(), "\r%d of %d abstract vehicles ", done, against)
			})
			fmt.Fprintln(c.ErrOrStderr())
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "\n%s", text)
			return err
		},
	}
	f := c.Flags()
	f.BoolVar(&asJSON, "json", false, "print the score as JSON")
	f.BoolVar(&verbose, "verbose", false, "print each vehicle as it ends")
	f.IntVar(&jobs, "jobs", 20, "vehicles to play")
	f.IntVar(&tests, "tests", 12, "tests after reception before giving up")
	f.IntVar(&against, "against", 20, "abstract vehicles to play against fixed and random order and the optimum; 0 = none")
	f.Uint64Var(&seed, "seed", 1, "seed of the generator")
	return c
}

func writeGame(c *cobra.Command, g play.Game) {
	p := &page{w: c.OutOrStdout()}
	p.para(fmt.Sprintf("%4d  ", g.Job), fmt.Sprintf("truth %v; leads %s at %s; shown %v; %d tests, %.0f min %v", g.Truth, g.Top, figures(g.Chance), g.Shown, len(g.Tests), g.Minutes, g.Tests), 6)
	if g.Err != "" {
		p.para("      ", "ended with: "+g.Err, 6)
	}
}

package cli

import (
	"github.com/spf13/cobra"

	"proveout/shop"
)

func init() { commands = append(commands, newProve) }

func newProve() *cobra.Command {
	var asJSON, all, plan bool
	var own bookFiles
	c := &cobra.Command{
		Use:   "prove JOBDIR",
		Short: "Say whether a repair is proven, and what is left to drive or measure",
		Long: `Counts the time the drives before and after the repair spent inside the fault
conditions, cell by cell, and the episodes in it; compares the direct test that
showed the cause with the same test after the repair; and reads the codes and
monitors again. Before the repair --plan says how long to drive, where, and
which one proof to name before driving. Nothing in the folder is changed.

docs/proof.md teaches the rule with its arithmetic.

Exit codes: 0 proven (with --plan: there is a plan), 1 not proven, 2 bad use or
nothing could be read.`,
		Example: `  proveout prove examples/06-proven-on-the-hill
  proveout prove --plan JOBDIR
  proveout prove --json JOBDIR | jq '.plan'`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			books, err := own.shelf(c)
			if err != nil {
				return err
			}
			a, err := shop.Prove(args[0], shop.Options{Books: books, Program: Version(), Progress: progress(c)})
			if err != nil {
				return err
			}
			if asJSON {
				err = writeJSON(c.OutOrStdout(), a)
			} else {
				p := &page{w: c.OutOrStdout()}
				if plan {
					writeDrivePlan(p, a)
				} else {
					writeProof(p, a, all)
				}
				err = p.err
			}
			if err == nil && (plan && !a.Plan.Possible || !plan && a.State != "proven") {
				return silent{Refused}
			}
			return err
		},
	}
	own.flag(c)
	f := c.Flags()
	f.BoolVar(&asJSON, "json", false, "print the answer as JSON (proveout schema proof)")
	f.BoolVar(&all, "all", false, "list every episode and what did not count")
	f.BoolVar(&plan, "plan", false, "only the drive to plan: how long, in which cells, how many climbs")
	return c
}

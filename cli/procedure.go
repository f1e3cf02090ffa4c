package cli

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"proveout/procedure"
	"proveout/procedure/checker"
	"proveout/procedure/paper"
	"proveout/strict"
)

func init() { commands = append(commands, newProcedureCommand) }

func newProcedureCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "procedure",
		Short: "Services with a set order: list, check, explain, run, rehearse, compare",
		Long: `A procedure is a service with a set order as data: steps, interlocks, waits,
watches, and the way back from every step. Each one is explored to the end before
it may be started. Proveout never commands the vehicle: you and your equipment act,
it says what is safe next and keeps the record. docs/procedures.md describes the form.

The vehicle maker's procedure overrides every one of these wherever they differ.`,
	}
	c.AddCommand(newProcedureList(), newProcedureCheck(), newProcedureExplain(), newProcedureRun(), newProcedureRehearse(), newProcedureCompare(), newProcedureBoard())
	return c
}

// loadProcedure takes the id of a shipped procedure or the path of a file.
func loadProcedure(name string) (*procedure.Machine, string, error) {
	var data []byte
	var err error
	if strings.ContainsAny(name, "./\\") {
		if data, err = os.ReadFile(name); err != nil {
			return nil, "", err
		}
	} else if data, err = procedure.ShippedText(name); err != nil {
		return nil, "", err
	}
	m, ps := procedure.Load(name, data)
	if m == nil {
		var lines []string
		for _, p := range strict.Errors(ps) {
			lines = append(lines, p.String())
		}
		return nil, "", fmt.Errorf("the procedure cannot be read:\n%s", strings.Join(lines, "\n"))
	}
	sum := sha256.Sum256(data)
	return m, hex.EncodeToString(sum[:]), nil
}

func newProcedureList() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "list", Short: "List the built-in procedures", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, args []string) error {
			type row struct {
				ID      string   `json:"id"`
				Version int      `json:"version"`
				Title   string   `json:"title"`
				Summary string   `json:"summary"`
				Systems []string `json:"systems"`
				Steps   int      `json:"steps"`
			}
			rows := []row{}
			for _, id := range procedure.Shipped() {
				m, _, err := procedure.LoadShipped(id)
				if err != nil {
					return err
				}
				rows = append(rows, row{id, m.File.Version, m.File.Title, m.File.Summary, m.File.Systems, len(m.Steps)})
			}
			if asJSON {
				return writeJSON(c.OutOrStdout(), rows)
			}
			p := &page{w: c.OutOrStdout()}
			for _, r := range rows {
				p.line(r.ID)
				p.para("    ", r.Title+". "+r.Summary, 4)
			}
			p.line("")
			p.para("", procedure.Overrides, 0)
			return p.err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return c
}

func newProcedureCheck() *cobra.Command {
	var asJSON bool
	var bound int
	c := &cobra.Command{
		Use: "check PROCEDURE...", Short: "Explore every state a procedure can reach",
		Long: `Explores every order, every interruption at every moment, every wait broken and
every feed lost, and says whether a never rule can be broken, whether someone can be
stranded, whether a step is dead. A procedure that does not pass cannot be started.`,
		Example: "  proveout procedure check epb_caliper_pads\n  proveout procedure check mine.yaml",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			var reports []checker.Report
			passed := true
			for _, name := range args {
				m, _, err := loadProcedure(name)
				if err != nil {
					return err
				}
				r := checker.Check(m, checker.Options{MaxStates: bound})
				if r.Problems == nil {
					r.Problems = []checker.Problem{}
				}
				reports = append(reports, r)
				passed = passed && r.Passed
			}
			if asJSON {
				if err := writeJSON(c.OutOrStdout(), reports); err != nil {
					return err
				}
			} else {
				p := &page{w: c.OutOrStdout()}
				for _, r := range reports {
					writeCheck(p, r)
				}
				if p.err != nil {
					return p.err
				}
			}
			if !passed {
				return refusal{"not passed: this procedure cannot be started"}
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	c.Flags().IntVar(&bound, "states", 0, "end after this many states; reaching the bound is not passed")
	return c
}

func writeCheck(p *page, r checker.Report) {
	if r.Passed {
		p.para("", fmt.Sprintf("%s version %d: passed. %d states, %d transitions, %d never rules; rest and finish reachable from everywhere, no dead step, no wait or watch bypassed.", r.Procedure, r.Version, r.States, r.Transitions, r.Rules), 0)
		return
	}
	p.para("", fmt.Sprintf("%s version %d: NOT PASSED (%d states seen).", r.Procedure, r.Version, r.States), 0)
	for _, x := range r.Problems {
		p.line("")
		p.para("", capitalFirst(x.Text)+".", 0)
		if len(x.Story) > 0 {
			p.line("The shortest way there:")
			for i, s := range x.Story {
				p.para(fmt.Sprintf("%3d. ", i+1), s, 5)
			}
		}
	}
}

func capitalFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func newProcedureExplain() *cobra.Command {
	var svg string
	c := &cobra.Command{
		Use: "explain PROCEDURE", Short: "Print a procedure as a checklist, and draw its order",
		Example: "  proveout procedure explain epb_caliper_pads --svg order.svg | lp",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			m, _, err := loadProcedure(args[0])
			if err != nil {
				return err
			}
			if svg != "" {
				if err := os.WriteFile(svg, paper.Graph(m), 0o644); err != nil {
					return err
				}
			}
			var b bytes.Buffer
			if err := paper.Checklist(&b, m); err != nil {
				return err
			}
			_, err = c.OutOrStdout().Write(b.Bytes())
			return err
		},
	}
	c.Flags().StringVar(&svg, "svg", "", "write the drawing of the order to this file")
	return c
}

package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"proveout/procedure/runner"
)

func newProcedureBoard() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "board JOBDIR...", Short: "List the procedure runs of jobs, vehicles that must not be left or driven first",
		Long: `Reads the records of the job folders and nothing else. A vehicle that was handed
over with a failed or unproven step stays dangerous here until the step is shown right,
a later run of the same procedure is finished, or someone resolves it with words in the
run ("r" and what was done). Exits with 1 while any vehicle is dangerous.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			type jobRows struct {
				Job  string       `json:"job"`
				Runs []runner.Row `json:"runs"`
			}
			all := []jobRows{}
			dangerous := 0
			for _, job := range args {
				rows, err := boardOf(job)
				if err != nil {
					return err
				}
				for _, r := range rows {
					if r.Dangerous() {
						dangerous++
					}
				}
				all = append(all, jobRows{job, rows})
			}
			if asJSON {
				if err := writeJSON(c.OutOrStdout(), all); err != nil {
					return err
				}
			} else {
				p := &page{w: c.OutOrStdout()}
				for _, dangerousFirst := range []bool{true, false} {
					for _, j := range all {
						for _, r := range j.Runs {
							if r.Dangerous() == dangerousFirst {
								writeRow(p, j.Job, r)
							}
						}
					}
				}
				if p.err != nil {
					return p.err
				}
			}
			if dangerous > 0 {
				return refusal{fmt.Sprintf("%d runs leave a vehicle that must not be left or driven", dangerous)}
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return c
}

// boardOf reads the board of one job folder. A folder without runs has none.
func boardOf(job string) ([]runner.Row, error) {
	root, err := os.OpenRoot(job)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	names, err := fs.Glob(root.FS(), "record/procedure-*.jsonl")
	if err != nil {
		return nil, err
	}
	records := map[string][]byte{}
	for _, name := range names {
		data, err := root.ReadFile(name)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		records[name] = data
	}
	rows := runner.Board(records)
	if rows == nil {
		rows = []runner.Row{}
	}
	return rows, nil
}

func writeRow(p *page, job string, r runner.Row) {
	state := r.State
	if r.Holder != "" {
		state += " to " + r.Holder
	}
	if r.Practice {
		state += ", practice"
	}
	if r.Dangerous() {
		p.large("do not drive", false)
	}
	p.para("", fmt.Sprintf("%s: %s, %s (%s, last %s).", job, r.Procedure, state, r.Record, r.Who), 2)
	for _, d := range r.Dangers {
		p.para("  - ", d, 4)
	}
	if r.ShownIn != "" && len(r.Dangers) > 0 {
		p.para("  ", "Shown right since, in "+r.ShownIn+".", 2)
	}
}

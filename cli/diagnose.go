package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"proveout/reason"
	"proveout/shop"
)

func init() { commands = append(commands, newDiagnose) }

func newDiagnose() *cobra.Command {
	var asJSON, all, anyEquipment bool
	var rank, stopAt string
	var faults int
	var maxValues int64
	var own bookFiles
	c := &cobra.Command{
		Use:   "diagnose JOBDIR",
		Short: "Say what a job's files show, what is ruled out, what is left, what to do next",
		Long: `Reads a job folder (one job.yaml and the capture files beside it), measures
what it holds, and works out the odds over the suspects of the fault book and
of the job itself. Nothing in the folder is changed.

What could not be used is listed under "left out"; the rest is answered.
docs/job-folder.md describes the folder.`,
		Example: `  proveout diagnose examples/01-stumble-on-the-hill
  proveout diagnose --all examples/02-one-placement-only
  proveout diagnose --json JOBDIR | jq '.next[0]'
  proveout diagnose --rank cost JOBDIR
  proveout diagnose --book my-book.yaml JOBDIR`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			o := shop.Options{Program: Version(), Progress: progress(c)}
			o.Limits.Values = maxValues
			switch rank {
			case "": // the job's own choice
			case "ends", "bits", "cost":
				o.Reason.Rank = reason.Rank(rank)
			default:
				return fmt.Errorf("--rank %q is not known; write ends, bits or cost", rank)
			}
			if faults < 1 || faults > 3 {
				return fmt.Errorf("--faults %d: write 1, 2 or 3", faults)
			}
			if stopAt != "" {
				v, err := share(stopAt)
				if err != nil {
					return fmt.Errorf("--stop-at %q: %w", stopAt, err)
				}
				o.StopAt = v
			}
			var err error
			if o.Books, err = own.shelf(c); err != nil {
				return err
			}
			o.Reason.MaxFaults, o.Reason.AnyEquipment = faults, anyEquipment
			a, err := shop.Diagnose(args[0], o)
			if a == nil {
				return err
			}
			if asJSON {
				if werr := writeJSON(c.OutOrStdout(), a); werr != nil {
					return werr
				}
			} else if err == nil {
				p := &page{w: c.OutOrStdout()}
				writeAnswer(p, a, all)
				if p.err != nil {
					return p.err
				}
			}
			if errors.Is(err, shop.ErrNothingRead) {
				if !asJSON {
					p := &page{w: c.ErrOrStderr()}
					writeLeftOut(p, a)
				}
				return err
			}
			return err
		},
	}
	f := c.Flags()
	f.BoolVar(&asJSON, "json", false, "print the answer as JSON (proveout schema answer)")
	f.BoolVar(&all, "all", false, "list everything, however unlikely")
	f.BoolVar(&anyEquipment, "any-equipment", false, "list tests whose equipment is not on hand too")
	f.StringVar(&rank, "rank", "", "order of next tests: ends (chance it ends the search per minute, the usual), bits (doubt removed per minute), cost (minutes to a finished repair); goes before search.order of the job")
	f.StringVar(&stopAt, "stop-at", "", "chance that what is shown must have before the search ends, such as 95%; goes before search.stop_at of the job")
	f.Int64Var(&maxValues, "max-values", 0, maxValuesHelp)
	own.flag(c)
	f.IntVar(&faults, "faults", 3, "how many faults at once to consider, 1 to 3")
	return c
}

// share reads a chance from a half up: "95%", "95 %" or 0.95.
func share(s string) (float64, error) {
	t, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(t), 64)
	if percent {
		v /= 100
	}
	if err != nil || !(v >= 0.5 && v < 1) {
		return 0, errors.New("write a chance from 50 % to below 100 %, such as 95%")
	}
	return v, nil
}

// writeJSON prints an answer for programs: two-space indent, no HTML escapes,
// a final newline.
func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

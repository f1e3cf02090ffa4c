package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"proveout/intake"
	"proveout/procedure/compare"
	"proveout/trace"
	"proveout/unit"
)

func newProcedureCompare() *cobra.Command {
	var left, right, motor, supply string
	var asJSON bool
	c := &cobra.Command{
		Use: "compare PROCEDURE", Short: "Hold recorded current and voltage traces against a procedure",
		Long: `Finds the movements in recorded motor currents and says what they show: cycles
counted, rests long enough, both sides moved, clamp reached, sides alike, lowest
supply voltage while something moved. What cannot be told is said to be unknown.

All files must share one clock: time zero is the same moment.`,
		Example: "  proveout procedure compare epb_caliper_pads --left left.csv --right right.csv --supply supply.csv",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			m, _, err := loadProcedure(args[0])
			if err != nil {
				return err
			}
			if left == "" && right == "" && motor == "" && supply == "" {
				return errors.New("give at least one trace: --left, --right, --motor or --supply")
			}
			var moves []compare.Movement
			for _, x := range []struct{ side, file string }{{"left", left}, {"right", right}, {"", motor}} {
				if x.file == "" {
					continue
				}
				at, v, _, err := channel(x.file, unit.Current)
				if err != nil {
					return err
				}
				moves = append(moves, compare.Movements(x.side, at, v)...)
			}
			var s *compare.Supply
			if supply != "" {
				at, v, rate, err := channel(supply, unit.Voltage)
				if err != nil {
					return err
				}
				s = &compare.Supply{At: at, Volts: v, RateHz: rate}
			}
			findings := compare.Against(m, moves, s)
			broken := 0
			for _, f := range findings {
				if f.State == "broken" {
					broken++
				}
			}
			if asJSON {
				err = writeJSON(c.OutOrStdout(), findings)
			} else {
				p := &page{w: c.OutOrStdout()}
				for _, f := range findings {
					p.para(fmt.Sprintf("%-8s %-8s ", f.What, f.State), f.Text, 18)
				}
				err = p.err
			}
			if err != nil {
				return err
			}
			if broken > 0 {
				return refusal{fmt.Sprintf("%d of %d findings do not keep to the procedure", broken, len(findings))}
			}
			return nil
		},
	}
	c.Flags().StringVar(&left, "left", "", "motor current of the left side")
	c.Flags().StringVar(&right, "right", "", "motor current of the right side")
	c.Flags().StringVar(&motor, "motor", "", "motor current of the one unit of a cable brake")
	c.Flags().StringVar(&supply, "supply", "", "supply voltage")
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return c
}

// channel reads the one channel of a file that is of the dimension, or the only
// channel there is when the file gives no unit.
func channel(path string, dim unit.Dimension) (at []int64, values []float64, rateHz float64, err error) {
	f := intake.Files([]string{path}, nil, intake.Options{})[0]
	if f.Err != nil {
		return nil, nil, 0, f.Err
	}
	if f.Recording == nil {
		return nil, nil, 0, fmt.Errorf("%s holds no trace", path)
	}
	var found []*trace.Channel
	for i := range f.Recording.Channels {
		if ch := &f.Recording.Channels[i]; ch.Unit.Dim == dim {
			found = append(found, ch)
		}
	}
	if len(found) == 0 && len(f.Recording.Channels) == 1 {
		found = []*trace.Channel{&f.Recording.Channels[0]}
	}
	if len(found) != 1 {
		return nil, nil, 0, fmt.Errorf("%s has %d channels of %s; give a file with one", path, len(found), dim)
	}
	tb := f.Recording.Time
	for i := range found[0].Values {
		at = append(at, tb.At(i))
	}
	return at, found[0].Values, tb.RateHz(), nil
}

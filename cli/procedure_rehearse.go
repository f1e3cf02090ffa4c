package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"proveout/procedure"
	"proveout/procedure/checker"
	"proveout/procedure/player"
)

func newProcedureRehearse() *cobra.Command {
	var r player.Rehearsal
	var at string
	var faults, every bool
	c := &cobra.Command{
		Use: "rehearse PROCEDURE", Short: "Work through a procedure on a fast clock with a simulated vehicle",
		Long: `A careful technician works through the procedure on a fast clock. The vehicle can
fail (--fault, see --faults), and the work can be interrupted at a step (--interrupt).
Nothing is written. A stumble, where the technician is told to do what is then
refused, is a fault of the procedure and ends with exit code 1.`,
		Example: `  proveout procedure rehearse epb_caliper_pads
  proveout procedure rehearse epb_caliper_pads --fault stripped_gear --side left
  proveout procedure rehearse epb_caliper_pads --interrupt power_loss@retract.left --leave
  proveout procedure rehearse epb_cable_drum --every --interrupt power_loss`,
		Args: cobra.RangeArgs(0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			p := &page{w: c.OutOrStdout()}
			if faults {
				for _, f := range player.Faults {
					p.para(fmt.Sprintf("%-18s ", f.ID), f.Text+": "+f.Sees, 19)
				}
				return p.err
			}
			if len(args) != 1 {
				return fmt.Errorf("name the procedure to rehearse")
			}
			m, _, err := loadProcedure(args[0])
			if err != nil {
				return err
			}
			if rep := checker.Check(m, checker.Options{}); !rep.Passed {
				writeCheck(p, rep)
				return refusal{"this procedure did not pass its check: it cannot be started"}
			}
			r.Kind, r.Step, _ = strings.Cut(at, "@")
			if every {
				return rehearseEvery(p, m, r)
			}
			told, err := player.Rehearse(m, r)
			if err != nil {
				return err
			}
			p.line("  min")
			for _, l := range told.Lines {
				p.para(l[:min(8, len(l))], l[min(8, len(l)):], 8)
			}
			if p.err != nil {
				return p.err
			}
			return verdict(told)
		},
	}
	c.Flags().StringVar(&r.Fault, "fault", "", "what fails on the vehicle (see --faults)")
	c.Flags().StringVar(&r.Side, "side", "", "on which side: left or right (default both)")
	c.Flags().StringVar(&at, "interrupt", "", "what interrupts, at which step: power_loss@retract.left")
	c.Flags().StringToStringVar(&r.Answers, "answer", nil, "how a question is answered: drive=rear,lift=axle (default the first answer of each)")
	c.Flags().BoolVar(&r.Leave, "leave", false, "after the interruption stop, hand over, and take it up an hour later")
	c.Flags().BoolVar(&faults, "faults", false, "list the faults")
	c.Flags().BoolVar(&every, "every", false, "interrupt at each step in turn and print one line for each")
	return c
}

func verdict(told player.Told) error {
	switch {
	case len(told.Stumbles) > 0:
		return refusal{fmt.Sprintf("%d stumbles: the procedure told the technician to do what it then refused", len(told.Stumbles))}
	case !told.Finished && !told.Handed:
		return refusal{"neither finished nor handed over: the technician did not know how to go on"}
	}
	return nil
}

// rehearseEvery interrupts each step in turn.
func rehearseEvery(p *page, m *procedure.Machine, r player.Rehearsal) error {
	if r.Kind == "" {
		return fmt.Errorf("say what interrupts: --interrupt power_loss")
	}
	bad := 0
	for i := range m.Steps {
		st := &m.Steps[i]
		if st.Origin() == "recovery" {
			continue
		}
		one := r
		one.Step = st.ID
		told, err := player.Rehearse(m, one)
		if err != nil {
			return err
		}
		k := 0
		for j, kind := range procedure.Kinds {
			if kind == r.Kind {
				k = j
			}
		}
		end := "finished"
		switch {
		case !told.Struck:
			continue // not a step of this variant
		case verdict(told) != nil:
			end = "STUCK: " + verdict(told).Error()
			bad++
		case told.Handed:
			end = "handed over"
		}
		rule := st.Recovers[k].Rule
		p.para(fmt.Sprintf("%-22s %s %-12s ", st.ID, rule.Class, end), rule.Text, 26)
	}
	if p.err != nil {
		return p.err
	}
	if bad > 0 {
		return refusal{fmt.Sprintf("%d steps without a way back", bad)}
	}
	return nil
}

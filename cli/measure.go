package cli

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"proveout/book"
	"proveout/evidence"
	"proveout/measure"
	"proveout/shop"
	"proveout/trace"
)

func init() { commands = append(commands, newMeasure) }

func newMeasure() *cobra.Command {
	var asJSON, calibrated, together, why bool
	var memory, scratch string
	var kind, subject, state, rate, placement, marks, markChannel, shared string
	var columns []string
	var facts knownFlags
	var maxValues int64
	c := &cobra.Command{
		Use:   "measure FILE...",
		Short: "Measure loose capture files, without a job",
		Long: `Reads delimited text, WAV or diagnostic messages, packed with gzip or not, finds
out what they hold, and measures it with uncertainty. "-" reads standard input.
It says what each file says and nothing about causes: for those, make a job.

With --together the files are recordings of one drive by several instruments: they
are laid on one line of time, that of the first file, by a signal that two of them
have both recorded, with the error of doing so. --marks then tells which channels
changed when it was felt more than at other times.

A capture that does not fit into memory is read once, its samples are kept in a
folder on disk (--memory, --scratch), and it is measured like any other.

Kinds: ` + strings.Join(measure.Kinds(), ", ") + ` (found out when not given).`,
		Example: `  proveout measure drive.csv
  proveout measure --kind ignition_secondary --subject "cylinder 3" coil3.csv.gz
  proveout measure --rate "1 MHz" --column "2=ignition_secondary:V" c3.txt
  proveout measure --order 1-3-4-2 crank.csv
  proveout measure --kind battery --rpm 1500 --pulley-ratio 2.6 --pole-pairs 6 ripple.csv
  zcat log.csv.gz | proveout measure -
  proveout measure --together --marks "95, 2:41, 4:03, 6:30" drive.csv battery.csv`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			engine, known, err := facts.check()
			if err != nil {
				return err
			}
			o := shop.MeasureOptions{
				Options: shop.Options{Program: Version(), Progress: progress(c)}, Kind: kind, Placement: placement, Calibrated: calibrated,
				Condition: evidence.Condition{State: evidence.State(state), SpeedRPM: facts.rpm}, Engine: engine, Known: known,
			}
			o.Limits.Values, o.Limits.Scratch = maxValues, scratch
			if o.Limits.Memory, err = parseMemory(memory); err != nil {
				return err
			}
			if state != "" && !slices.Contains(book.StateWords, state) {
				return fmt.Errorf("--state %q is no operating condition; write one of %s", state, strings.Join(book.StateWords, ", "))
			}
			if subject != "" {
				if o.Subject, err = evidence.ParseSubject(subject); err != nil {
					return err
				}
			}
			if rate != "" {
				if o.RateHz, err = trace.ParseRate(rate); err != nil {
					return err
				}
			}
			for _, spec := range columns {
				col, err := parseColumn(spec)
				if err != nil {
					return err
				}
				o.Columns = append(o.Columns, col)
			}
			if together || marks != "" || markChannel != "" {
				times, err := parseMarks(marks)
				if err != nil {
					return err
				}
				return measureTogether(c, args, shop.TogetherOptions{MeasureOptions: o, Marks: times, MarkChannel: markChannel, Shared: shared}, asJSON)
			}
			files := shop.Measure(args, c.InOrStdin(), o)
			if asJSON {
				if err := writeJSON(c.OutOrStdout(), files); err != nil {
					return err
				}
			} else {
				p := &page{w: c.OutOrStdout()}
				for _, f := range files {
					writeMeasured(p, f, why)
				}
				if p.err != nil {
					return p.err
				}
			}
			for _, f := range files {
				if f.Error == "" {
					return nil
				}
			}
			return silent{BadUse}
		},
	}
	f := c.Flags()
	f.BoolVar(&asJSON, "json", false, "print as JSON")
	f.BoolVar(&together, "together", false, "lay the files on one line of time by a signal they share")
	f.BoolVar(&why, "why", false, "say with each feature what it is about and how it was judged")
	f.StringVar(&marks, "marks", "", `when it was felt, on the first file's time: "95, 2:41"`)
	f.StringVar(&markChannel, "mark-channel", "", "a channel that goes up each time it was felt")
	f.StringVar(&shared, "shared", "", "part of the name of the signal the files share, where it is found wrongly")
	f.StringVar(&kind, "kind", "", "kind of capture; empty: find out")
	f.StringVar(&subject, "subject", "", `what was measured, for example "cylinder 3" or "rear left"`)
	f.StringVar(&state, "state", "", "operating condition: "+strings.Join(book.StateWords, ", "))
	f.StringVar(&rate, "rate", "", `sample rate of a file without a time column, for example "1 MHz"`)
	f.StringVar(&placement, "placement", "", "which placement of the pickup this is")
	f.BoolVar(&calibrated, "calibrated", false, "the probe's scale can be trusted")
	f.StringArrayVar(&columns, "column", nil, `column mapping NAME=ROLE[:UNIT or SCALE], for example "Channel A=ignition_secondary:mV" or "clamp=current:100 mV/A"; may be repeated`)
	f.Int64Var(&maxValues, "max-values", 0, maxValuesHelp)
	f.StringVar(&memory, "memory", "1 GiB", "memory the samples of one recording may take; those of a longer one are kept on disk while it is measured")
	f.StringVar(&scratch, "scratch", "", "folder for samples kept on disk; empty: one for temporary files")
	facts.add(f)
	return c
}

const maxValuesHelp = "values kept of one recording (rows times columns, 8 bytes each); 0: 2,147 million"

// parseMemory reads an amount of memory: "500 MB", "1 GiB".
func parseMemory(s string) (int64, error) {
	for _, u := range []struct {
		suffix string
		bytes  float64
	}{{"GiB", 1 << 30}, {"MiB", 1 << 20}, {"KiB", 1 << 10}, {"GB", 1e9}, {"MB", 1e6}, {"kB", 1e3}} {
		if n, ok := strings.CutSuffix(s, u.suffix); ok {
			if v, err := strconv.ParseFloat(strings.TrimSpace(n), 64); err == nil && v*u.bytes >= 1 && v*u.bytes < 1<<60 {
				return int64(v * u.bytes), nil
			}
		}
	}
	return 0, fmt.Errorf("--memory %q is no amount of memory; write for example \"500 MB\" or \"1 GiB\"", s)
}

// parseColumn reads NAME=ROLE[:UNIT], or a scale in the place of the unit.
func parseColumn(spec string) (trace.Column, error) {
	name, role, ok := strings.Cut(spec, "=")
	if !ok || name == "" || role == "" {
		return trace.Column{}, fmt.Errorf("--column %q: write NAME=ROLE, NAME=ROLE:UNIT or NAME=ROLE:SCALE", spec)
	}
	role, u, _ := strings.Cut(role, ":")
	as, ok := measure.FindRole(role)
	if !ok {
		return trace.Column{}, fmt.Errorf("--column %q: %q is no role; write one of %s", spec, role, strings.Join(measure.RoleIDs(), ", "))
	}
	col := trace.Column{Column: name, As: as, Unit: u}
	if u = strings.TrimSpace(u); u != "" && strings.ContainsAny(u[:1], "0123456789.+-") {
		col.Unit, col.Scale = "", u
	}
	return col, nil
}

// writeMeasured writes what one file says; with why, what each feature is about beside
// its first reading.
func writeMeasured(p *page, f shop.MeasuredFile, why bool) {
	told := map[string]bool{}
	p.head(f.File)
	if f.What != "" {
		what := f.What
		if f.Kind != "" {
			what = strings.ReplaceAll(f.Kind, "_", " ") + ": " + what
		}
		p.para("  ", what, 2)
	}
	if f.Error != "" {
		text := f.Error
		if !strings.HasPrefix(text, f.File) { // a name stays as it was typed
			text = upper(text)
		}
		p.para("  ", text, 2)
	}
	for _, g := range f.Findings {
		p.para("  · ", g.Sentence, 4)
		if why && !told[g.Feature] {
			told[g.Feature] = true
			p.para("    ", strings.TrimSpace(g.Matters+" "+g.Why), 4)
		}
	}
	for _, n := range f.Notes {
		p.para("  Note: ", place("", n.Line)+n.Text, 4)
	}
	for _, l := range f.LeftOut {
		p.para("  Left out: ", atLine(l.Line)+l.Why, 4)
	}
}

// atLine names a line of the file the page is about; nothing for the whole file.
func atLine(n int) string {
	if n > 0 {
		return fmt.Sprintf("line %d: ", n)
	}
	return ""
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

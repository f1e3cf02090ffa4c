package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"proveout/obd"
	"proveout/shop"
	"proveout/unit"
)

func init() { commands = append(commands, newDecode) }

func newDecode() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "decode FILE...",
		Short: "Say what a log of diagnostic messages holds: codes, parameters, monitor results",
		Long: `Reads logs of diagnostic messages: SocketCAN log or console lines, pcap with CAN
frames, or plain hex lines of requests and responses, packed with gzip or not.
"-" reads standard input. What is not known is shown raw, never dropped.`,
		Example: `  proveout decode before.log
  proveout decode --json captures/*.pcap
  grep 7E8 long.log | proveout decode -`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			files := shop.Decode(args, c.InOrStdin(), shop.Options{Progress: progress(c)})
			bad := 0
			for _, f := range files {
				if f.Session == nil {
					bad++
				}
			}
			if asJSON {
				if err := writeJSON(c.OutOrStdout(), files); err != nil {
					return err
				}
			} else {
				p := &page{w: c.OutOrStdout()}
				for _, f := range files {
					writeDecoded(p, f)
				}
				if p.err != nil {
					return p.err
				}
			}
			if bad == len(files) {
				return silent{BadUse}
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return c
}

func writeDecoded(p *page, f shop.DecodedFile) {
	p.head(f.File)
	if f.Error != "" {
		p.para("  Not read: ", f.Error, 2)
	}
	s := f.Session
	if s == nil {
		return
	}
	p.para("  ", fmt.Sprintf("%d records, %d messages, %d module%s.", s.Records, s.Messages, len(s.Modules), plural(len(s.Modules))), 2)
	if s.MixedVehicles {
		p.para("  ", "More than one VIN was read: this log mixes vehicles.", 2)
	}
	for _, m := range s.Modules {
		writeModule(p, m)
	}
	for _, cl := range s.Clears {
		p.para("  Erased: ", cl.Sentence(), 4)
	}
	for _, r := range s.Raw {
		p.para("  Raw: ", fmt.Sprintf("line %d: % X (%s)", r.Source.Line, r.Data, r.Why), 4)
	}
	for _, n := range s.Notes {
		p.para("  Note: ", strings.TrimSpace(place("", 0)+n.Text), 4)
	}
}

func writeModule(p *page, m *obd.Module) {
	name := "Module " + m.Address
	if m.Address == "" {
		name = "Module (no id in the log)"
	}
	if m.Name != "" {
		name += " " + m.Name
	}
	p.line("")
	p.line("  " + name)
	for _, in := range m.Info {
		p.para("    "+in.Name+": ", strings.Join(in.Values, ", "), 6)
		if in.Hint != "" {
			p.para("      ", in.Hint, 6)
		}
	}
	for _, l := range m.Codes {
		writeCodes(p, l)
	}
	for _, fr := range m.FreezeFrames {
		if fr.Empty() {
			p.line("    Freeze frame: none stored")
			continue
		}
		of := "Freeze frame of " + fr.Code.String()
		if !fr.CodeRead { // nobody asked which code stored it
			of = "Freeze frame (the code that stored it was not read)"
		}
		p.para("    "+of+": ", frameWords(fr), 6)
	}
	for i := range m.Readiness {
		p.para("    Readiness: ", readinessWords(&m.Readiness[i].Readiness), 6)
	}
	for _, r := range m.Monitors {
		p.para(fmt.Sprintf("    Monitor %02X test %02X ", r.MID, r.TID), monitorWords(&r.MonitorResult), 6)
	}
	for _, s := range m.Parameters {
		p.para("    ", seriesWords(s), 6)
	}
	for _, n := range m.Negative {
		p.para("    Refused: ", fmt.Sprintf("service %02X: %s (%02X)", n.Service, n.Text, n.Code), 6)
	}
	for _, r := range m.Raw {
		p.para("    Raw: ", fmt.Sprintf("% X (%s)", r.Data, r.Why), 6)
	}
}

func writeCodes(p *page, l obd.CodeList) {
	kind := string(l.Kind)
	if len(l.Codes) == 0 {
		p.para("    ", fmt.Sprintf("No %s codes (line %d).", kind, l.Source.Line), 6)
		return
	}
	for _, c := range l.Codes {
		text := "no generic text"
		if m, ok := c.Meaning(); ok {
			text = m.Text
		} else if c.Owner() == obd.Maker {
			text = "defined by the vehicle maker: see its service information"
		}
		if t, ok := c.FailureText(); ok {
			text += "; " + t
		}
		if c.HasStatus {
			text += fmt.Sprintf("; status %02X", byte(c.Status))
		}
		p.para(fmt.Sprintf("    %-9s %s: ", c.String(), kind), text, 14)
	}
}

func frameWords(f *obd.FreezeFrame) string {
	var parts []string
	for _, v := range f.Values {
		parts = append(parts, valueWords(v.Signal, v.SI(), v.Text))
	}
	for _, u := range f.Unknown {
		parts = append(parts, fmt.Sprintf("parameter %02X raw % X", u.PID, u.Data))
	}
	return strings.Join(parts, ", ")
}

func valueWords(s *obd.Signal, v float64, text string) string {
	if text != "" {
		return s.Name + " " + text
	}
	return s.Name + " " + unit.Format(v, s.Unit)
}

func readinessWords(r *obd.Readiness) string {
	var open, done []string
	for _, m := range r.Monitors {
		switch {
		case !m.Supported:
		case m.Complete:
			done = append(done, m.Name)
		default:
			open = append(open, m.Name)
		}
	}
	s := "since codes were cleared"
	if r.PID == 0x41 {
		s = "this drive cycle"
	} else {
		lamp := "lamp off"
		if r.MIL {
			lamp = "lamp on"
		}
		s += fmt.Sprintf(", %s, %d code%s", lamp, r.CodeCount, plural(r.CodeCount))
	}
	if len(open) > 0 {
		s += "; not complete: " + strings.Join(open, ", ")
	}
	if len(done) > 0 {
		s += "; complete: " + strings.Join(done, ", ")
	}
	return s
}

func monitorWords(r *obd.MonitorResult) string {
	what := r.Monitor
	if r.Test != "" {
		what += ", " + r.Test
	}
	s := fmt.Sprintf("%s: %s %s", what, figures(r.Value), r.Unit)
	switch {
	case r.NoMin && r.NoMax:
		return s + " (no limits: information only)"
	case r.NoMax:
		s += fmt.Sprintf(" (at least %s)", figures(r.Min))
	case r.NoMin:
		s += fmt.Sprintf(" (at most %s)", figures(r.Max))
	default:
		s += fmt.Sprintf(" (%s to %s)", figures(r.Min), figures(r.Max))
	}
	return s + ": " + string(r.Verdict)
}

func seriesWords(s *obd.Series) string {
	n := len(s.Samples)
	if n == 0 {
		return s.Name + ": not given by the module"
	}
	lo, hi := s.Samples[0].Value, s.Samples[0].Value
	for _, v := range s.Samples {
		lo, hi = min(lo, v.Value), max(hi, v.Value)
	}
	last := s.Samples[n-1]
	text := valueWords(s.Signal, last.Value, last.Text)
	if n > 1 && last.Text == "" {
		text += fmt.Sprintf(" (%d values, %s to %s)", n, unit.Format(lo, s.Signal.Unit), unit.Format(hi, s.Signal.Unit))
	}
	if s.Hint != "" {
		text += "; " + s.Hint
	}
	return text
}

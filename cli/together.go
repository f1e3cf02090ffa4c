package cli

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"proveout/shop"
)

// parseMarks reads times of marks, "12.5, 44 s, 1:20".
func parseMarks(text string) ([]float64, error) {
	var out []float64
	for _, s := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' }) {
		s = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "s"))
		minutes := 0.0
		if m, rest, ok := strings.Cut(s, ":"); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(m), 64)
			if err != nil {
				return nil, fmt.Errorf("--marks: %q is no time; write seconds or minutes:seconds, for example 12.5,1:20", s)
			}
			minutes, s = v, rest
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil {
			return nil, fmt.Errorf("--marks: %q is no time; write seconds or minutes:seconds, for example 12.5,1:20", s)
		}
		out = append(out, 60*minutes+v)
	}
	return out, nil
}

// measureTogether prints several files on one line of time.
func measureTogether(c *cobra.Command, args []string, o shop.TogetherOptions, asJSON bool) error {
	t := shop.JoinFiles(args, c.InOrStdin(), o)
	if asJSON {
		if err := writeJSON(c.OutOrStdout(), t); err != nil {
			return err
		}
	} else {
		p := &page{w: c.OutOrStdout()}
		for _, f := range t.Files {
			p.head(f.File)
			if f.Sentence != "" {
				p.para("  ", upper(f.Sentence)+".", 2)
			}
			for _, l := range f.LeftOut {
				p.para("  Left out: ", atLine(l.Line)+l.Why, 4)
			}
		}
		if t.FeltNote != "" {
			p.head("What was felt, against every channel")
			p.para("  ", t.FeltNote, 2)
			for _, a := range t.Felt {
				p.para("  · ", a.File+": "+a.Sentence, 4)
			}
		}
		if p.err != nil {
			return p.err
		}
	}
	for _, f := range t.Files {
		if f.Offset != nil {
			return nil
		}
	}
	return silent{BadUse}
}

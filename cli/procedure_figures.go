package cli

import (
	"fmt"
	"strings"
	"unicode"

	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/unit"
)

// asking is a confirmation that needs figures: they are asked for one after the other,
// each value with its limit beside it, and said together.
type asking struct {
	entry runner.Entry
	left  []*procedure.MFigure
}

// ask begins the asking for the figures of an entry, or reports that it names none.
func (t *terminal) ask(e runner.Entry) bool {
	i, ok := t.m.StepIndex(e.Step)
	if !ok || e.Kind != runner.Confirm {
		return false
	}
	a := &asking{entry: e}
	for _, mean := range t.m.Steps[i].Confirm.By {
		if mean.How != e.How {
			continue
		}
		for _, id := range mean.Figures {
			if f, ok := t.m.FigureByID(id); ok {
				a.left = append(a.left, f)
			}
		}
	}
	if len(a.left) == 0 {
		return false
	}
	a.entry.Figures = map[string]procedure.Given{}
	t.asking = a
	return true
}

// prompt says which figure is asked for now.
func (t *terminal) prompt() {
	if t.asking == nil {
		return
	}
	f := t.asking.left[0]
	t.out.line("")
	t.out.para("WRITE DOWN: ", fmt.Sprintf("%s. Type the value and beside it %s, in %s, for example: 12.3 10.4 (x: leave it)", f.Ask, f.LimitAsk, f.Unit), 4)
}

// figure takes a line as the figure asked for. It reports false when the line is no
// number: then the asking is over and the line means something else.
func (t *terminal) figure(line string) (bool, error) {
	if line == "" || !unicode.IsDigit(rune(line[0])) {
		t.asking = nil
		return line == "x", nil
	}
	a := t.asking
	f := a.left[0]
	g, err := twoNumbers(line, f.U)
	if err != nil {
		t.out.para("", err.Error(), 0)
		return true, nil
	}
	if why := f.Against(g); why != "" {
		t.asking = nil
		return true, &runner.Refusal{Reasons: []string{why + " If it is so, say that it is not as expected."}}
	}
	a.entry.Figures[f.ID] = g
	if a.left = a.left[1:]; len(a.left) > 0 {
		return true, nil
	}
	t.asking = nil
	return true, t.put(a.entry)
}

// twoNumbers reads a value and its limit: "12.3 10.4", "12.3 mm / 10.4 mm", "12,3; 10,4".
func twoNumbers(line string, u unit.Unit) (procedure.Given, error) {
	var parts []string
	for _, w := range strings.FieldsFunc(line, func(r rune) bool { return unicode.IsSpace(r) || r == '/' || r == ';' }) {
		if len(parts) > 0 && !unicode.IsDigit(rune(w[0])) {
			parts[len(parts)-1] += " " + w // its unit
			continue
		}
		parts = append(parts, w)
	}
	if len(parts) != 2 {
		return procedure.Given{}, fmt.Errorf("two numbers are needed, the value and beside it the limit, in %s", u.Symbol)
	}
	value, err := typedNumber(parts[0], u)
	if err != nil {
		return procedure.Given{}, err
	}
	limit, err := typedNumber(parts[1], u)
	return procedure.Given{Value: value, Limit: limit}, err
}

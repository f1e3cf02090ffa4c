package procedure

import (
	"fmt"
	"math"

	"proveout/unit"
)

// MFigure is a figure ready to be asked for.
type MFigure struct {
	Figure
	U      unit.Unit
	Within float64 // as a part of the limit, with about
	Most   float64 // the ceiling in SI, 0 = none
}

// Given is a figure as written down, in SI: what was measured, and the maker's limit.
type Given struct {
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
}

// Against says in a sentence why what is given is not enough; empty when it is.
func (f *MFigure) Against(g Given) string {
	// A meter on a dead circuit may read 0: only with a ceiling is that a value.
	none := g.Value <= 0 && f.Most == 0 || g.Value < 0 || g.Limit <= 0
	if none || math.IsNaN(g.Value+g.Limit) || math.IsInf(g.Value+g.Limit, 0) {
		if f.Most > 0 {
			return fmt.Sprintf("%s: give the value without its sign and %s, above zero.", f.Ask, f.LimitAsk)
		}
		return fmt.Sprintf("%s: give the value and %s, both above zero.", f.Ask, f.LimitAsk)
	}
	if f.Most > 0 && g.Limit > f.Most*(1+1e-9) {
		return fmt.Sprintf("%s: a limit of %s is not taken: never above %s, whatever it comes from.", f.Ask, unit.Format(g.Limit, f.U), unit.Format(f.Most, f.U))
	}
	// A value is held to its limit as both were typed: 10.4 mm keeps a limit of 10.4 mm.
	slack := 1e-9 * g.Limit
	value, limit := unit.Format(g.Value, f.U), unit.Format(g.Limit, f.U)
	switch {
	case f.Limit == "at_least" && g.Value < g.Limit-slack:
		return fmt.Sprintf("%s: %s is under the limit of %s (%s).", f.Ask, value, limit, f.LimitAsk)
	case f.Limit == "at_most" && g.Value > g.Limit+slack:
		return fmt.Sprintf("%s: %s is over the limit of %s (%s).", f.Ask, value, limit, f.LimitAsk)
	case f.Limit == "about" && math.Abs(g.Value-g.Limit) > f.Within*g.Limit+slack:
		return fmt.Sprintf("%s: %s is more than %.0f %% off %s (%s).", f.Ask, value, f.Within*100, limit, f.LimitAsk)
	}
	return ""
}

// FigureByID finds a figure of the procedure, with its side: "torque.left".
func (m *Machine) FigureByID(id string) (*MFigure, bool) {
	for i := range m.Figures {
		if m.Figures[i].ID == id {
			return &m.Figures[i], true
		}
	}
	return nil, false
}

// figures reads the figures of the file.
func (c *compiler) figures() {
	for i, f := range c.file.Figures {
		path := []any{"figures", i}
		u, err := unit.Parse(f.Unit)
		if err != nil {
			c.fail(path, "figure %q: %v", f.ID, err)
		}
		if f.ID == "" || f.Ask == "" || f.LimitAsk == "" {
			c.fail(path, "a figure needs id, ask, and limit_ask: what its limit is and where it stands")
		}
		if indexOf(FigureLimits, f.Limit) < 0 {
			c.fail(path, "figure %q: limit is %q; write one of: %v", f.ID, f.Limit, FigureLimits)
		}
		within := 0.0
		if (f.Within != "") != (f.Limit == "about") {
			c.fail(path, "figure %q: within goes with limit about, and about with within", f.ID)
		} else if f.Within != "" {
			q, err := unit.ParseQuantity(f.Within)
			if err != nil || q.Unit.Symbol != "%" || !(q.Typed > 0) || q.Typed > 50 {
				c.fail(path, "figure %q: within %q; write for example 5 %%", f.ID, f.Within)
			}
			within = q.Typed / 100
		}
		most := 0.0
		if f.Ceiling != "" {
			q, err := unit.ParseQuantity(f.Ceiling)
			if most = q.SI; err != nil || f.Limit != "at_most" || q.Unit.Symbol != u.Symbol || !(most > 0) {
				c.fail(path, "figure %q: ceiling %q goes with limit at_most and is above zero in the unit of the figure; write for example 60 V", f.ID, f.Ceiling)
			}
		}
		for _, side := range sidesOrOne(f.Sides) {
			g := f
			g.Ask, g.LimitAsk = replaceSide(f.Ask, side), replaceSide(f.LimitAsk, side)
			if side != "" {
				g.ID += "." + side
			}
			if _, dup := c.m.FigureByID(g.ID); dup {
				c.fail(path, "figure %q is given twice", g.ID)
			}
			c.m.Figures = append(c.m.Figures, MFigure{g, u, within, most})
		}
	}
}

func sidesOrOne(sides bool) []string {
	if sides {
		return []string{"left", "right"}
	}
	return []string{""}
}

// validateFigures: every figure is asked for by a measured means, and what is asked
// for is there.
func (c *compiler) validateFigures() {
	asked := map[string]bool{}
	for i := range c.m.Steps {
		s := &c.m.Steps[i]
		for _, mean := range s.Confirm.By {
			for _, id := range mean.Figures {
				if _, ok := c.m.FigureByID(id); !ok {
					c.fail(s.path, "%q: figure %q is not listed under figures", s.ID, id)
				}
				if mean.How != "measured" || mean.Reading != "" {
					c.fail(s.path, "%q: figures come with a means that is measured and has no reading", s.ID)
				}
				asked[id] = true
			}
		}
		if act := c.acts[s.Act]; act.Figures && s.origin != fromRecovery && !asksFigures(s) {
			c.fail(s.path, "%q: what %q measures is written down as a value with the maker's limit beside it: name its figures", s.ID, s.Act)
		}
		c.validateCeilings(s)
	}
	for i := range c.m.Figures {
		if !asked[c.m.Figures[i].ID] {
			c.fail([]any{"figures"}, "figure %q is asked for by no step", c.m.Figures[i].ID)
		}
	}
}

// validateCeilings: an act on which lives hang names the figures its class asks for,
// also in a recovery step, and takes no limit above the ceiling of the class.
func (c *compiler) validateCeilings(s *MStep) {
	for _, want := range c.acts[s.Act].Ceilings {
		named := false
		for _, mean := range s.Confirm.By {
			named = named || indexOf(mean.Figures, want.ID) >= 0
		}
		f, ok := c.m.FigureByID(want.ID)
		if !ok || !named || !asksFigures(s) || f.Limit != "at_most" || f.U.Symbol != want.Unit || !(f.Most > 0) || f.Most > f.U.SI(want.Most) {
			c.fail(s.path, "%q: %q cannot be confirmed without the figure %q in %s, limit at_most, ceiling at or below %g %s (%s)", s.ID, s.Act, want.ID, want.Unit, want.Most, want.Unit, want.Source)
		}
	}
}

// asksFigures: the step cannot be confirmed without a means that names figures.
func asksFigures(s *MStep) bool {
	without := 0
	for _, mean := range s.Confirm.By {
		if len(mean.Figures) == 0 {
			without++
		}
	}
	return s.Need > without
}

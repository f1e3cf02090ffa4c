package measure

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
)

// quality reports gaps, held values, impossible values and jumps. They speak
// about the log, not the engine: when several channels jump, or the log has
// holes, the count is marked so that no test takes it for a fault of the car.
func (l *logView) quality(res *Result) {
	holes := gaps(l.all)
	for i, h := range holes {
		if i == 5 {
			l.note(res, evidence.Gap, true, nil, "and %d more gaps", len(holes)-5)
			break
		}
		l.note(res, evidence.Gap, true, nil, "nothing was logged for %.0f s from %.0f s on; that time is not measured", h[1]-h[0], h[0])
	}
	total, jumping := 0, 0
	var held []string
	var first *parameter
	for _, p := range l.all {
		if p.held {
			held = append(held, strings.TrimSpace(p.Name))
		}
		bad := p.jumps + p.drops
		total += bad
		if p.blocked || p.drops > 0 {
			jumping++
			if first == nil {
				first = p
			}
		}
		if p.jumps > 0 {
			l.note(res, evidence.Jump, true, p, "%s: %s no engine makes; the channel is not used to judge anything", strings.TrimSpace(p.Name), plural(p.jumps, "a jump", "%d jumps"))
		}
		if p.outside > 0 {
			l.note(res, evidence.ScaleUnsure, true, p, "%s: %s outside what it can be (%s to %s)", strings.TrimSpace(p.Name), plural(p.outside, "a value", "%d values"), p.shown(p.role.low), p.shown(p.role.high))
		}
		if p.drops > 0 {
			l.note(res, evidence.Jump, true, p, "%s: %s to nothing and back", strings.TrimSpace(p.Name), plural(p.drops, "a drop-out", "%d drop-outs"))
		}
	}
	if len(held) > 0 {
		l.note(res, "", false, nil, "values are repeated between updates; true update about every %.1f s for %s", l.slowest(), strings.Join(held, ", "))
	}
	var flags []evidence.Flag
	logger := jumping >= 2 || jumping > 0 && len(holes) > 0
	if logger {
		flags = append(flags, evidence.Jump, evidence.Gap)
		l.note(res, evidence.Jump, true, nil, "impossible values on %d channels%s: this is trouble of the logger or its connection, not of the engine; log it again", jumping, gapText(holes))
	}
	r := l.emit(res, "log.dropouts", evidence.WholeEngine, "count", float64(total), math.Sqrt(float64(total)), 1, "", nil, flags, nil)
	if r != nil && first != nil {
		r.From.Channel = strings.TrimSpace(first.Name)
	}
}

func (p *parameter) shown(si float64) string {
	u := p.Unit
	if u.Symbol == "" || u.Factor == 0 {
		return fmt.Sprintf("%.4g", si)
	}
	return fmt.Sprintf("%.4g %s", u.FromSI(si), u.Symbol)
}

func gapText(h [][2]float64) string {
	if len(h) == 0 {
		return ""
	}
	return " and " + plural(len(h), "a gap", "%d gaps")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return fmt.Sprintf(many, n)
}

func (l *logView) slowest() float64 {
	s := 0.0
	for _, p := range l.all {
		if p.held {
			s = math.Max(s, p.interval)
		}
	}
	return s
}

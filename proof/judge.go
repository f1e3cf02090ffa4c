package proof

import (
	"fmt"
	"math"

	"proveout/stats"
)

// Judge says where a repair stands. Conditions that cannot be used, and drives that
// cannot, are said in Lines; the rest is judged.
func Judge(c Case) Verdict {
	v := Verdict{State: NotYet, Chance: 1, Ratio: math.NaN(), Low: math.NaN(), High: math.NaN(), Upper: math.Inf(1)}
	usable := c.Conditions.Check() == nil
	v.Before, v.After = c.before(usable), c.after(usable)
	x, t1 := v.Before.Total, v.Before.Seconds
	k := Factor(x, Level)
	v.Need, v.Far = need(v.Before.Cells, v.Before.Episodes, k), need(v.Before.Cells, v.Before.Episodes, times*k)
	v.Counted, v.CountedFar = capped(v.After.Cells, v.Need), capped(v.After.Cells, v.Far)
	back := v.After.Total
	if x >= 1 && t1 > 0 {
		v.Chance = CouldBeChance(x, t1, v.Counted.Sum())
		if t2 := v.CountedFar.Sum(); t2 > 0 {
			r := stats.CompareRates(x, t1, back, t2, Level)
			v.Ratio, v.Low, v.High = r.Ratio, r.Low, r.High
			v.Upper = upper(x, t1, back, t2)
			if back > 0 {
				v.Chance = r.Less
			}
		}
	}
	v.Named, v.NamedByPerson = c.Named, c.Named != ""
	if !v.NamedByPerson {
		v.Named, _ = c.name(v)
	}
	v.decide(c)
	return v
}

// decide sets state and lines.
func (v *Verdict) decide(c Case) {
	say := func(format string, args ...any) { v.Lines = append(v.Lines, fmt.Sprintf(format, args...)) }
	covered := v.Before.Total > 0 && left(v.Counted, v.Need).Sum() == 0 && v.Chance <= 1-Level+1e-12
	far := covered && left(v.CountedFar, v.Far).Sum() == 0 && v.Upper <= RatioLimit+1e-12
	switch n := v.After.Total + v.After.Outside + c.Told; {
	case n > 0:
		v.State = CameBack
		say("The fault showed again after the repair: %s, %d of them inside the fault conditions. The proof has failed; a further clean drive does not undo it.", count(n, "episode"), v.After.Total)
		if v.Before.Total > 0 && v.After.Total > 0 && v.Upper < 1 {
			say("It shows less often than before (could be chance %s), so something was put right, but not all of it.", In100(v.Chance))
		}
		return
	case c.CodeBack != "":
		v.State = CameBack
		say("%s is stored again after it was erased: the module saw the fault after the repair.", c.CodeBack)
		return
	}
	done := map[Way]bool{Road: far, Measured: c.Measured.Done && c.Measured.Passed, OldPartBack: c.OldPartBack.Done && c.OldPartBack.Passed}
	for _, t := range []Test{c.Measured, c.OldPartBack} {
		if t.Done {
			say("%s", t.Text)
		}
	}
	switch {
	case done[v.Named]:
		v.State, v.By = Proven, v.Named
	case covered:
		v.State = Improved
	case c.Conditions.Check() != nil || v.Before.Total == 0:
		v.State = NotKnown
	}
	for _, w := range []Way{Road, Measured, OldPartBack} {
		if done[w] && w != v.Named && v.State != Proven {
			say("The proof %s would do, but it was not the one named before driving (%s). One is named, the others inform.", w.Words(), v.Named.Words())
		}
	}
	switch {
	case far:
		say("Driven clean in every cell of the fault conditions, five times as long as 95 %% asks: the rate is at most a fifth of what it was (95 %%).")
	case covered:
		say("Driven clean in every cell of the fault conditions. On a vehicle on which nothing changed a drive this clean is expected less than 1 time in 20. That the rate fell to a fifth or less is not proven by road: %.0f s that count of %.0f s.", v.CountedFar.Sum(), v.Far.Sum())
	case v.Before.Total > 0:
		say("%.0f s that count of %.0f s inside the fault conditions, no episode; could be chance %s.", v.Counted.Sum(), v.Need.Sum(), In100(v.Chance))
	case c.Conditions.Check() != nil:
		say("The fault conditions cannot be used: %s. Without them no drive counts.", c.Conditions.Check())
	default:
		say("No episode is on record before the repair, inside the fault conditions: a clean drive after it says nothing, since the vehicle could be driven clean before too.")
	}
}

// upper is the one-sided bound at Level of the rate after over the rate before.
func upper(x1 int, t1 float64, x2 int, t2 float64) float64 {
	return stats.CompareRates(x1, t1, x2, t2, 2*Level-1).High
}

// before counts the drives before the repair.
func (c Case) before(usable bool) Count {
	var out Count
	for _, d := range c.Before {
		t := Tally{Exposure: Exposure{Name: d.Name}, Role: d.Role}
		switch err := d.Check(); {
		case d.Role == AsCause:
			t.Why = d.CauseWhy
			if t.Why == "" {
				t.Why = "the cause was read from it: it is never the before"
			}
		case err != nil:
			t.Why = err.Error()
		case !usable:
			t.Why = "the fault conditions are not known"
		default:
			t.Used, t.Episodes = true, Episodes(d.Log, c.Conditions, c.Rule)
			if first := firstInside(t.Episodes); d.Role != AsBefore && first >= 0 {
				t.ClockFrom = t.Episodes[first].To
				t.Why = "it led to the diagnosis: the clock starts at its first episode, which is not counted"
			}
			t.Exposure = Expose(d.Log, c.Conditions, Before, t.ClockFrom)
			out.add(&t)
		}
		out.Drives = append(out.Drives, t)
	}
	return out
}

// after counts the drives after the repair. One that cannot be counted as time may
// still show the fault.
func (c Case) after(usable bool) Count {
	var out Count
	for _, l := range c.After {
		t := Tally{Exposure: Exposure{Name: l.Name}}
		t.Episodes = Episodes(l, c.Conditions, c.Rule)
		if err := l.Check(); err != nil {
			t.Why = err.Error()
		} else if !usable {
			t.Why = "the fault conditions are not known"
		} else {
			t.Used, t.Exposure = true, Expose(l, c.Conditions, After, 0)
		}
		out.add(&t)
		out.Drives = append(out.Drives, t)
	}
	return out
}

// add counts the episodes and seconds of a drive.
func (n *Count) add(t *Tally) {
	n.Cells = each(n.Cells, t.Cells, func(a, b float64) float64 { return a + b })
	n.Seconds = n.Cells.Sum()
	for _, e := range t.Episodes {
		switch {
		case t.ClockFrom > 0 && e.At <= t.ClockFrom:
		case e.Inside:
			n.Episodes[e.I][e.J]++
			n.Total++
			t.Counted++
		default:
			n.Outside++
		}
	}
}

func firstInside(es []Episode) int {
	for i, e := range es {
		if e.Inside {
			return i
		}
	}
	return -1
}

// Words says a way in a sentence.
func (w Way) Words() string {
	switch w {
	case Measured:
		return "by measuring the part again"
	case OldPartBack:
		return "by putting the old part back"
	}
	return "by road"
}

// In100 writes a chance as "9 times in 100".
func In100(p float64) string {
	switch {
	case p < 0.001:
		return "less than 1 time in 1000"
	case p < 0.01:
		return "less than 1 time in 100"
	case p > 0.99:
		return "almost always"
	}
	n := math.Ceil(100*p - 1e-9) // rounded against the proof
	if n == 1 {
		return "1 time in 100"
	}
	return fmt.Sprintf("%.0f times in 100", n)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

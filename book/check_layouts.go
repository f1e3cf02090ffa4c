package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/strict"
	"proveout/vehicle"
)

// Layouts is the matrix of engines that books are checked against: 3, 4, 5, 6
// and 8 cylinders, each ignition and injection layout, boosted or not. Firing
// orders are common ones; six and eight cylinders stand in two banks.
func Layouts() []vehicle.Engine {
	base := []vehicle.Engine{
		{Cylinders: 3, Arrangement: "inline", FiringOrder: []int{1, 3, 2}},
		{Cylinders: 4, Arrangement: "inline", FiringOrder: []int{1, 3, 4, 2}},
		{Cylinders: 5, Arrangement: "inline", FiringOrder: []int{1, 2, 4, 5, 3}},
		{Cylinders: 6, Arrangement: "vee", FiringOrder: []int{1, 2, 3, 4, 5, 6}, BankOf: []int{1, 2, 1, 2, 1, 2}},
		{Cylinders: 8, Arrangement: "vee", FiringOrder: []int{1, 8, 4, 3, 6, 5, 7, 2}, BankOf: []int{1, 2, 1, 2, 1, 2, 1, 2}},
	}
	var out []vehicle.Engine
	for _, e := range base {
		for _, ign := range []vehicle.Ignition{vehicle.CoilOnPlug, vehicle.WasteSpark, vehicle.Distributor} {
			for _, inj := range []vehicle.Injection{vehicle.Port, vehicle.Direct} {
				for _, boosted := range []bool{false, true} {
					e.Ignition, e.Injection, e.Boosted, e.Fuel, e.Access = ign, inj, boosted, "petrol", "easy"
					out = append(out, e)
				}
			}
		}
	}
	return out
}

// name is how a layout is named in messages.
func layoutName(e vehicle.Engine) string {
	s := fmt.Sprintf("%d cylinders, %s, %s injection", e.Cylinders, strings.ReplaceAll(string(e.Ignition), "_", " "), e.Injection)
	if e.Boosted {
		s += ", boosted"
	}
	return s
}

// matrix is the layouts that all the books taken together may be used on: those
// that the first book applies to, or all fuels of its own when it names none of
// the matrix.
func (c *checker) matrix(b *Book) []vehicle.Engine {
	if c.only != nil {
		return []vehicle.Engine{*c.only}
	}
	var out []vehicle.Engine
	fuels := b.Applies.Fuel
	if len(fuels) == 0 {
		fuels = []string{"petrol"}
	}
	for _, fuel := range fuels {
		for _, e := range Layouts() {
			e.Fuel = fuel
			if fuel == "diesel" {
				if e.Ignition != vehicle.CoilOnPlug {
					continue
				}
				e.Ignition = vehicle.NoIgnition
			}
			if b.Applies.Matches(e) {
				out = append(out, e)
			}
		}
	}
	return out
}

// layouts checks each fault and test on every engine of the matrix.
func (c *checker) layouts(focus []*Book) {
	for _, b := range focus {
		c.book = b
		engines := c.matrix(b)
		if len(engines) == 0 {
			c.err("fits none of the engines it is checked with (3 to 8 cylinders, each ignition and injection layout)", "applies")
			continue
		}
		for i := range b.Faults {
			f := &b.Faults[i]
			m := c.comps[f.Component]
			if m == nil {
				continue // reported by faults
			}
			exists := 0
			var blind []string
			for _, e := range engines {
				if !f.When.Matches(e) || !m.When.Matches(e) || len(subjects(m.Per, e)) == 0 {
					continue
				}
				exists++
				if !m.Exchange && !c.testable(f.ID, e) { // an exchangeable part is tested there and back
					blind = append(blind, layoutName(e))
				}
			}
			switch {
			case exists == 0 && c.only != nil:
				c.warn(fmt.Sprintf("fault %q does not exist on this engine", f.ID), "faults", i)
			case exists == 0:
				c.err(fmt.Sprintf("fault %q exists on no engine: its layout, or that of component %q, matches nothing", f.ID, m.ID), "faults", i)
			case len(blind) == exists:
				c.err(fmt.Sprintf("no test bears on fault %q: nothing could ever find it", f.ID), "faults", i)
			case len(blind) > 0:
				c.err(fmt.Sprintf("no test bears on fault %q on %d of %d engines, for example %s", f.ID, len(blind), exists, blind[0]), "faults", i)
			}
		}
		for i := range b.Tests {
			t := &b.Tests[i]
			switch done := slices.ContainsFunc(engines, func(e vehicle.Engine) bool { return t.When.Matches(e) && len(subjects(t.Per, e)) > 0 }); {
			case !done && c.only != nil:
				c.warn(fmt.Sprintf("test %q cannot be done on this engine", t.ID), "tests", i)
			case !done:
				c.err(fmt.Sprintf("test %q can be done on no engine: its layout matches nothing", t.ID), "tests", i)
			}
		}
	}
}

func (c *checker) testable(fault string, e vehicle.Engine) bool {
	for _, b := range c.books {
		for i := range b.Tests {
			t := &b.Tests[i]
			if _, ok := t.Given[fault]; ok && t.When.Matches(e) && len(subjects(t.Per, e)) > 0 {
				return true
			}
		}
	}
	return false
}

// apartBy is the least ratio of chances that tells two faults apart (our choice).
const apartBy = 2

// pairs warns of faults that no test tells apart when they sit in the same place.
func (c *checker) pairs(focus []*Book) {
	type placed struct {
		book *Book
		i    int
		f    *Fault
		per  string
	}
	var all []placed
	for _, b := range c.books {
		for i := range b.Faults {
			if m := c.comps[b.Faults[i].Component]; m != nil {
				all = append(all, placed{b, i, &b.Faults[i], m.Per})
			}
		}
	}
	engines := Layouts()
	if c.only != nil {
		engines = []vehicle.Engine{*c.only}
	}
	for j := range all {
		for k := range j {
			a, b := all[k], all[j]
			if !slices.Contains(focus, a.book) && !slices.Contains(focus, b.book) || a.f == b.f || !c.together(a.f, b.f, engines) {
				continue
			}
			if !c.apart(a.f.ID, a.per, b.f.ID, b.per) {
				c.book = b.book
				if !slices.Contains(focus, b.book) {
					c.book, b, a = a.book, a, b
				}
				c.warn(fmt.Sprintf("no test tells %q from %q (chances differ by less than %d times in every outcome)", b.f.ID, a.f.ID, apartBy), "faults", b.i)
			}
		}
	}
}

// together reports whether two faults exist on one engine of the matrix.
func (c *checker) together(a, b *Fault, engines []vehicle.Engine) bool {
	for _, e := range engines {
		if a.When.Matches(e) && b.When.Matches(e) && c.comps[a.Component].When.Matches(e) && c.comps[b.Component].When.Matches(e) {
			return true
		}
	}
	return false
}

func (c *checker) apart(a, perA, b, perB string) bool {
	for _, bk := range c.books {
		for i := range bk.Tests {
			t := &bk.Tests[i]
			// Seen on the tested place, and from another place of the same kind.
			for _, same := range []bool{true, false} {
				p, q := t.seen(a, perA, same), t.seen(b, perB, same)
				for o := range p {
					if p[o] > 0 && q[o] > 0 && math.Abs(math.Log(p[o]/q[o])) >= math.Log(apartBy) {
						return true
					}
				}
			}
		}
	}
	return false
}

// seen is the outcome chances of the test under a fault that sits where the test
// is done (same) or elsewhere. A fault of the whole engine sits everywhere.
func (t *Test) seen(fault, per string, same bool) []float64 {
	row, ok := t.Given[fault]
	own := same || per == "engine" || t.Per == "engine"
	if !ok || row.Where == "other" && own || row.Where != "other" && row.Where != "any" && !own {
		row = t.Healthy
	}
	return t.complete(row)
}

// SeveralFaults is the chance of two or more faults at once given one symptom,
// on one engine, before any test: faults are independent with small rates, and
// the symptom shows unless each fault fails to bring it on.
//
//	one = sum a_i q_i,  two = sum_{i<j} a_i a_j (1 - (1-q_i)(1-q_j)),  a = r/(1-r)
//
// "Nothing wrong" and "not listed" take their shares of the prior first. Sets of
// three and more are left out: they are smaller by the factor sum(a).
func SeveralFaults(in *Instance, symptom string) float64 {
	var one, a, a2, b, b2 float64
	for _, s := range in.Suspects {
		q := s.Fault.Complaint[symptom].Value
		if s.Rate <= 0 || s.Rate >= 1 {
			continue
		}
		odds := s.Rate / (1 - s.Rate)
		one += odds * q
		a += odds
		a2 += odds * odds
		b += odds * (1 - q)
		b2 += odds * odds * (1 - q) * (1 - q)
	}
	two := ((a*a - a2) - (b*b - b2)) / 2
	if one+two <= 0 {
		return 0
	}
	left := 1 - in.Setting(func(s *Settings) Num { return s.NothingWrong }) - in.Setting(func(s *Settings) Num { return s.NotListed })
	return left * two / (one + two)
}

// severalFaults reports, for each symptom, the share of two or more faults over
// the layouts: about 5 to 10 % is right (DECISIONS.md, Odds).
func (c *checker) severalFaults(focus []*Book) {
	for _, b := range focus {
		if b.own() {
			continue
		}
		c.book = b
		var engines []*Instance
		for _, e := range c.matrix(b) {
			in, err := Instantiate(e, c.books...)
			if err != nil {
				return // reported above
			}
			engines = append(engines, in)
		}
		for _, s := range sorted(b.Symptoms) {
			low, high, at := math.Inf(1), 0.0, ""
			for _, in := range engines {
				if p := SeveralFaults(in, s); p > 0 {
					low = math.Min(low, p)
					if p > high {
						high, at = p, layoutName(in.Engine)
					}
				}
			}
			if high == 0 {
				c.warn(fmt.Sprintf("no fault brings on symptom %q", s), "symptoms", s)
				continue
			}
			text := fmt.Sprintf("two or more faults given %q: %.1f to %.1f %% over the layouts, highest on %s", s, 100*low, 100*high, at)
			sev := strict.Note
			if low < 0.03 || high > 0.15 {
				sev, text = strict.Warning, text+"; about 5 to 10 % is right: scale the rates"
			}
			c.found = append(c.found, c.book.at(sev, text, "symptoms", s))
		}
	}
}

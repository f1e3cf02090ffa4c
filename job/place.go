package job

import (
	"fmt"
	"strconv"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
)

// numbered reads the key of an entry of values as the kind of place the test is
// for.
func numbered(key, per string) (evidence.Subject, error) {
	n, err := strconv.Atoi(strings.TrimSpace(key))
	if err == nil {
		switch per {
		case "bank":
			return evidence.BankNo(n), nil
		case "cylinder", "coil_pair", "neighbours":
			return evidence.Cyl(n), nil
		}
		return evidence.Subject{}, fmt.Errorf("%s is per %s; write value: with one value", strict.Quote(key), per)
	}
	s, err := evidence.ParseSubject(key)
	if err != nil {
		if s, perr := evidence.ParseSubject("pair" + key); perr == nil {
			return s, nil
		}
		return s, fmt.Errorf("%s names no cylinder; write for example {1: 1.42 mm, 2: 1.45 mm}", strict.Quote(key))
	}
	return s, nil
}

// perOf is how often the thing exists that is tested or measured.
func perOf(test *book.Test, f evidence.Feature) string {
	if test != nil {
		return test.Per
	}
	return string(f.Per)
}

// fit makes the subject one that the test or feature is for: it fills in what
// can be meant in one way only and refuses the rest.
func (r *resolver) fit(s evidence.Subject, test *book.Test, f evidence.Feature, steps ...any) (evidence.Subject, bool) {
	per := perOf(test, f)
	name := f.Name
	if test != nil {
		name = "test " + test.ID
	}
	e := r.in.Engine
	has := func(c int) bool {
		if c < 1 || c > e.Cylinders {
			r.err(fmt.Sprintf("cylinder %d: the engine has %d cylinders", c, e.Cylinders), steps...)
			return false
		}
		return true
	}
	switch per {
	case "cylinder":
		if s.Kind == evidence.Cylinder {
			return s, has(s.Number)
		}
		if s.Kind == "" && e.Cylinders == 1 {
			return evidence.Cyl(1), true
		}
		r.err(fmt.Sprintf("%s is for one cylinder; write for example cylinder: 3", name), steps...)
	case "bank":
		switch {
		case s.Kind == evidence.Bank:
			return s, r.bank(s.Number, e, steps...)
		case s.Kind == "" && e.Banks() == 1:
			return evidence.BankNo(1), true
		case s.Kind == evidence.Cylinder && has(s.Number):
			b := e.Bank(s.Number)
			r.note(fmt.Sprintf("%s is for a bank: cylinder %d is on bank %d", name, s.Number, b), steps...)
			return evidence.BankNo(b), true
		}
		r.err(fmt.Sprintf("%s is for one bank; write for example bank: 1", name), steps...)
	case "coil_pair", "neighbours", "pair":
		return r.fitPair(s, per, name, steps...)
	case "corner":
		if s.Kind == evidence.Corner {
			return s, true
		}
		r.err(fmt.Sprintf("%s is for one corner; write for example corner: front_left", name), steps...)
	default: // engine, vehicle
		if s.Kind == "" || s.Kind == evidence.Engine || s.Kind == evidence.Vehicle {
			return evidence.WholeEngine, true
		}
		r.err(fmt.Sprintf("%s is for the whole engine; leave %s out", name, s), steps...)
	}
	return s, false
}

func (r *resolver) fitPair(s evidence.Subject, per, name string, steps ...any) (evidence.Subject, bool) {
	pairs := r.in.Engine.Companions()
	if per == "neighbours" {
		pairs = r.in.Engine.Neighbours()
	} else if per == "pair" {
		pairs = append(pairs, r.in.Engine.Neighbours()...)
	}
	var match []evidence.Subject
	var names []string
	for _, p := range pairs {
		q := evidence.PairOf(p[0], p[1])
		names = append(names, fmt.Sprintf("[%d, %d]", p[0], p[1]))
		if q == s || s.Kind == evidence.Cylinder && (q.Number == s.Number || q.Second == s.Number) {
			match = append(match, q)
		}
	}
	switch {
	case len(match) == 1 && s.Kind == evidence.Cylinder:
		r.note(fmt.Sprintf("%s is for a pair: taken as %s", name, match[0]), steps...)
		return match[0], true
	case len(match) >= 1 && s.Kind == evidence.Pair:
		return match[0], true
	case len(pairs) == 0:
		r.err(fmt.Sprintf("%s is for a pair of cylinders; this engine has none of that kind", name), steps...)
	default:
		r.err(fmt.Sprintf("%s is for a pair of cylinders; write cylinders: one of %s", name, strings.Join(names, ", ")), steps...)
	}
	return s, false
}

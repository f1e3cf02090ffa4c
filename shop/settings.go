package shop

import (
	"maps"

	"proveout/book"
	"proveout/job"
	"proveout/procedure"
)

// withAccess gives the books with the shop's own minutes for ways in that several
// tests share. The books themselves stay as they are.
func withAccess(books []*book.Book, minutes map[string]float64) []*book.Book {
	if len(minutes) == 0 {
		return books
	}
	out := make([]*book.Book, len(books))
	for i, b := range books {
		c := *b
		c.Access = maps.Clone(b.Access)
		for id, m := range minutes {
			a, ok := c.Access[id]
			if !ok {
				continue
			}
			if a.Easy.Value > 0 {
				a.Buried.Value *= m / a.Easy.Value // a buried way in stays as much longer as the book has it
			}
			a.Easy.Value = m
			c.Access[id] = a
		}
		out[i] = &c
	}
	return out
}

// tightened are the limits of a watch with those the shop made stricter. They are
// held once more to what they may be: an entry from a program that checked less
// cannot loosen one.
func tightened(lim procedure.Limits, quantity string, s job.Settings) procedure.Limits {
	if quantity != "supply voltage" {
		return lim
	}
	for _, l := range job.SafetyLimits {
		v, ok := s.Thresholds[l.ID]
		if !ok || !(v >= l.From && v <= l.To) {
			continue
		}
		to := map[string]*float64{"supply_warn_v": &lim.Warn, "supply_hold_v": &lim.Hold, "supply_stop_v": &lim.Stop}[l.ID]
		if to != nil && v > *to { // not a number stays: the procedure has no such limit
			*to = v
		}
	}
	return lim
}

package unit

import "strconv"

// Format writes an SI value in u with the unit's usual decimals, for people.
func Format(si float64, u Unit) string {
	s := strconv.FormatFloat(u.FromSI(si), 'f', Decimals(u), 64)
	if u.Symbol == "1" || u.Symbol == "ratio" {
		return s
	}
	return s + " " + u.Symbol
}

package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Quantity is a value as a person or a file gave it, with its SI value beside
// it. Typed and Unit never change; SI is worked out once, by New.
type Quantity struct {
	Typed float64
	Unit  Unit
	SI    float64
}

// New makes a quantity of v in u. NaN and infinities are refused: they are
// never a reading.
func New(v float64, u Unit) (Quantity, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Quantity{}, fmt.Errorf("value %v is not a number that can be measured", v)
	}
	return Quantity{Typed: v, Unit: u, SI: u.SI(v)}, nil
}

// In gives the quantity in another unit of the same dimension.
func (q Quantity) In(u Unit) (float64, error) {
	if u.Dim != q.Unit.Dim {
		return 0, fmt.Errorf("%s is a %s, %s is a %s: they do not convert", q.Unit.Symbol, q.Unit.Dim, u.Symbol, u.Dim)
	}
	return u.FromSI(q.SI), nil
}

// String writes the quantity as typed, with its unit.
func (q Quantity) String() string {
	return strconv.FormatFloat(q.Typed, 'g', -1, 64) + " " + q.Unit.Symbol
}

// ParseQuantity reads "52 psi", "1.42mm", "-3,5 %" (a comma is a decimal comma
// when no full stop is present).
func ParseQuantity(s string) (Quantity, error) {
	t := strings.TrimSpace(s)
	i := 0
	for i < len(t) && strings.IndexByte("+-0123456789.,eE", t[i]) >= 0 {
		if (t[i] == 'e' || t[i] == 'E') && (i+1 >= len(t) || strings.IndexByte("+-0123456789", t[i+1]) < 0) {
			break
		}
		i++
	}
	num := t[:i]
	if strings.Contains(num, ",") && !strings.Contains(num, ".") {
		num = strings.Replace(num, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(num, 64)
	if err != nil {
		return Quantity{}, fmt.Errorf("%q does not start with a number; write for example \"52 psi\"", s)
	}
	u, err := Parse(t[i:])
	if err != nil {
		return Quantity{}, err
	}
	return New(v, u)
}

// Decimals is how many decimals a value in the unit is shown with
// (../design rule: V 2, kV 1, ms 2, % 0 or 1, minutes 1).
func Decimals(u Unit) int {
	switch u.Symbol {
	case "V", "ms", "ohm", "A", "mm", "1", "ratio", "x", "lambda", "bar", "g/s":
		return 2
	case "kV", "%", "min", "mohm", "kohm", "degC", "degF", "mH", "psi", "inHg", "deg", "K":
		return 1
	case "rpm", "kPa", "count", "km/h", "mph", "s":
		return 0
	}
	return 3
}

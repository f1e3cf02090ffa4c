package trace

import (
	"math"
	"math/big"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// sameFloat compares bit for bit, all NaN being alike.
func sameFloat(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || a != a && b != b
}

func TestDecimalIsExact(t *testing.T) {
	for _, s := range []string{"0", "-0", "1", "+1.5", "0.1", "9007199254740991", "9007199254740993", "1e22", "1e23", "1.7976931348623157e308", "4.9e-324", "123456789012345678901234567890",
		"0.00000000000000000000001", "5.218737249999999", "22.879999999999995", "8e-05", "9.85E-5", ".5", "5.", "1e-22", "3.82e+00"} {
		want, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(s, err)
		}
		got, st := readCell(s)
		if st != cellValue || !sameFloat(got, want) {
			t.Errorf("%s: got %v (state %d), strconv says %v", s, got, st, want)
		}
	}
}

// readCell reads a cell as the scanner does: fast where that is exact, else slow.
func readCell(s string) (float64, cellState) {
	if d, end, ok := scanDecimal([]byte(s+"\n"), 0, '.'); ok && end == len(s) {
		if v, exact := d.float(); exact {
			return v, cellValue
		}
	}
	return slowCell([]byte(s), dialect{delim: ';', dec: '.'})
}

// TestDecimalAgreesWithStrconv: strconv.ParseFloat is the oracle.
func TestDecimalAgreesWithStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[-+]?([0-9]{1,22}(\.[0-9]{0,22})?|\.[0-9]{1,9})([eE][-+]?[0-9]{1,3})?`).Draw(t, "s")
		want, err := strconv.ParseFloat(s, 64)
		got, st := readCell(s)
		if math.IsInf(want, 0) {
			if st != cellInf {
				t.Fatalf("%s: state %d, want an infinity", s, st)
			}
			return
		}
		if err != nil || st != cellValue || !sameFloat(got, want) {
			t.Fatalf("%s: got %v (state %d), strconv says %v, %v", s, got, st, want, err)
		}
	})
}

func TestSlowCell(t *testing.T) {
	point, comma := dialect{delim: ';', dec: '.'}, dialect{delim: ';', dec: ','}
	german, english := dialect{delim: ';', dec: ',', thousands: '.'}, dialect{delim: ';', dec: '.', thousands: ','}
	for _, c := range []struct {
		cell  string
		d     dialect
		want  float64
		state cellState
	}{
		{" 1.5 ", point, 1.5, cellValue},
		{"\"1.5\"", point, 1.5, cellValue},
		{"\u00a01.5\u00a0", point, 1.5, cellValue},
		{"1,5", comma, 1.5, cellValue},
		{"1,5", point, 0, cellText},
		{"1.5", comma, 0, cellText},
		{"1.234,5", german, 1234.5, cellValue},
		{"1.234.567", german, 1234567, cellValue},
		{"1.23,5", german, 0, cellText},
		{"12,345.5", english, 12345.5, cellValue},
		{"1,2345", english, 0, cellText},
		{",123", english, 0, cellText},
		{"", point, 0, cellMissing},
		{"NaN", point, 0, cellMissing},
		{"n/a", point, 0, cellMissing},
		{"-", point, 0, cellMissing},
		{"Inf", point, 0, cellInf},
		{"-Infinity", point, 0, cellInf},
		{"OL", point, 0, cellInf},
		{"1e400", point, 0, cellInf},
		{"0x1p-2", point, 0, cellText}, // strconv would take it; no recorder writes it
		{"1_000", point, 0, cellText},
		{"1e", point, 0, cellText},
		{"12V", point, 0, cellText},
	} {
		got, st := slowCell([]byte(c.cell), c.d)
		if st != c.state || (st == cellValue && got != c.want) || (st != cellValue && got == got) {
			t.Errorf("%q with decimal %q: %v, state %d; want %v, state %d", c.cell, c.d.dec, got, st, c.want, c.state)
		}
	}
}

// TestNanosIsExact compares with rational arithmetic (math/big).
func TestNanosIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := decimal{mant: rapid.Uint64().Draw(t, "mant"), frac: rapid.IntRange(-3, 19).Draw(t, "frac"), neg: rapid.Bool().Draw(t, "neg")}
		unitNs := rapid.SampledFrom([]uint64{1, 1e3, 1e6, 1e9, 60e9, 3600e9}).Draw(t, "unit")
		x := new(big.Rat).SetInt(new(big.Int).Mul(new(big.Int).SetUint64(d.mant), new(big.Int).SetUint64(unitNs)))
		p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(d.frac, -d.frac))), nil)
		if d.frac >= 0 {
			x.Quo(x, new(big.Rat).SetInt(p))
		} else {
			x.Mul(x, new(big.Rat).SetInt(p))
		}
		got, ok := d.nanos(unitNs)
		half := new(big.Rat).Add(x, big.NewRat(1, 2)) // half away from zero, of the magnitude
		want := new(big.Int).Quo(half.Num(), half.Denom())
		if !want.IsInt64() {
			if ok {
				t.Fatalf("%+v: got %d, does not fit", d, got)
			}
			return
		}
		w := want.Int64()
		if d.neg {
			w = -w
		}
		if !ok || got != w {
			t.Fatalf("%+v in %d ns: got %d %v, want %d", d, unitNs, got, ok, w)
		}
	})
}

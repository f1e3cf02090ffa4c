package unit

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Exact factors: NIST SP 811 (2008) appendix B.8; degree Celsius and Fahrenheit
// from B.9.
func TestConversions(t *testing.T) {
	for _, c := range []struct {
		typed string
		want  float64
		in    string
	}{
		{"1 psi", 6.894757293168361, "kPa"}, {"14.5 psi", 0.99973980751, "bar"}, {"1 inHg", 3.386389, "kPa"},
		{"32 degF", 0, "degC"}, {"212 degF", 100, "degC"}, {"0 K", -273.15, "degC"},
		{"1 lbf.ft", 1.3558179483314004, "Nm"}, {"60 mph", 96.56064, "km/h"}, {"1 mi", 1.609344, "km"}, {"1 in", 25.4, "mm"},
		{"3,5 V", 3.5, "V"}, {"1.42mm", 0.00142, "m"}, {"-12 %", -12, "%"}, {"1e3 mV", 1, "V"}, {"8 kV", 8000, "V"}, {"90 °C", 90, "degC"}, {"90 Â°C", 90, "degC"},
		{"4.7 MΩ", 4.7e6, "ohm"}, {"4.7 mΩ", 4.7e-3, "ohm"}, {"200 1/min", 200, "rpm"},
	} {
		q, err := ParseQuantity(c.typed)
		if err != nil {
			t.Errorf("%s: %v", c.typed, err)
			continue
		}
		got, err := q.In(Must(c.in))
		if err != nil || math.Abs(got-c.want) > 1e-9*math.Max(1, math.Abs(c.want)) {
			t.Errorf("%s in %s = %v, %v; want %v", c.typed, c.in, got, err, c.want)
		}
	}
}

// A slip between milli and mega is never made silently.
func TestMilliIsNeverTakenForMega(t *testing.T) {
	for _, s := range []string{"mpa", "mPa", "mhz", "mHz", "MOHM", "Mohms"} {
		if u, err := Parse(s); err == nil && u.Symbol != "Mohm" {
			t.Errorf("%q is read as %s without a word", s, u.Symbol)
		}
	}
	for s, want := range map[string]string{"MV": "mV", "MS": "ms", "MPa": "MPa", "MHz": "MHz", "mhm": ""} {
		u, err := Parse(s)
		if want == "" {
			if err == nil {
				t.Errorf("%q is read as %s", s, u.Symbol)
			}
			continue
		}
		if err != nil || u.Symbol != want {
			t.Errorf("%q = %v, %v; want %s", s, u.Symbol, err, want)
		}
	}
}

func TestWrongDimensionAndNonsense(t *testing.T) {
	q, err := ParseQuantity("12 V")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := q.In(Must("kPa")); err == nil {
		t.Error("volts convert to kilopascal")
	}
	for _, s := range []string{"", "V", "12 parsec", "NaN V", "1e999 V", "--3 V", "1.2.3 V"} {
		if q, err := ParseQuantity(s); err == nil {
			t.Errorf("%q is read as %v", s, q)
		}
	}
}

func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := table[rapid.IntRange(0, len(table)-1).Draw(t, "unit")]
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "value")
		if got := u.FromSI(u.SI(v)); math.Abs(got-v) > 1e-6*math.Max(1, math.Abs(v)) {
			t.Fatalf("%v %s came back as %v", v, u.Symbol, got)
		}
	})
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"52 psi", "1.42mm", "-3,5 %", "1e3 mV", "90 °C", "", "1.2.3 V"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		q, err := ParseQuantity(s)
		if err != nil {
			return
		}
		back, err := ParseQuantity(q.String())
		if err != nil || back.SI != q.SI {
			t.Fatalf("%q reads as %v, which reads back as %v, %v", s, q, back, err)
		}
	})
}

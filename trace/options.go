package trace

import (
	"fmt"
	"io"
	"strings"

	"proveout/unit"
)

// TextOptions say what the person knows about a delimited file. The zero value
// means: find everything out.
type TextOptions struct {
	// Columns map columns to roles, units and scales. Columns that are not named
	// are read all the same.
	Columns []Column
	// SampleRateHz is used when no column holds time; 0 = not given.
	SampleRateHz float64
	// Delimiter is "", ",", ";", "|", "tab" or "space"; Decimal is "", "." or ",".
	Delimiter string
	Decimal   string
	// Layout says whether a row is a sample or a change of level.
	Layout Layout
	// Size is the number of bytes to come, as a hint for reserving memory; 0 = unknown.
	Size int64
	// At reads the same bytes out of order, where that can be done: with it and Size a
	// file of too many values is refused before it is read.
	At io.ReaderAt
	// Workers is how many chunks are read at the same time; 0 = one.
	Workers int
	// MaxValues bounds the values kept (rows times columns, time included); 0 = DefaultMaxValues.
	MaxValues int64
	// Beyond says where a recording goes that is too much for memory.
	Beyond Beyond
	// Progress, when set, is told how many bytes have been taken from the reader.
	Progress func(done int64)

	careful bool // tests: every line the slow way
	chunk   int  // tests: bytes of a chunk
}

// DefaultMaxValues is 2^28 values, 2 GiB of memory (our choice).
const DefaultMaxValues = 1 << 28

// MaxColumns is how many columns a row may have (our choice: eight times the 32
// channels a recorder in a garage has).
const MaxColumns = 256

// Layout says how the rows of a file are to be understood.
type Layout string

// AutoLayout finds out; Samples is one row per sample; Edges is one row per
// change of a logic level.
const (
	AutoLayout Layout = ""
	Samples    Layout = "samples"
	Edges      Layout = "edges"
)

// Column maps one column of a delimited file, or one channel of a WAV file.
type Column struct {
	// Column is the name in the header (with or without its unit) or the 1-based number.
	Column string
	// As is the role: "time", "counter" (a row number that counts samples),
	// "ignore", or any word the caller knows; trace hands it on.
	As string
	// Unit of the values in the file; empty = as in the header.
	Unit string
	// Scale is the value of one file unit ("1000", "0.1 V"); for WAV the value at
	// full scale ("10 A"). A unit in it stands for Unit. Of a file in volts it may be the
	// scale of the probe, "100 mV/A".
	Scale string
	// Dim is the dimension the role asks for; empty = any.
	Dim unit.Dimension
}

// The roles trace itself knows.
const (
	AsTime    = "time"
	AsCounter = "counter"
	AsIgnore  = "ignore"
)

// maxRateHz: a faster rate is a mistake in the unit of time (our choice; the
// fastest instrument a garage owns samples at some 10^9 Hz).
const maxRateHz = 1e10

// ParseRate reads a sample rate, "1 MHz", "44100", "10 kS/s", or the time from
// one sample to the next, "10 us", and gives it in hertz.
func ParseRate(s string) (float64, error) {
	t := strings.TrimSpace(s)
	for _, suffix := range []struct{ from, to string }{{"MS/s", "MHz"}, {"kS/s", "kHz"}, {"S/s", "Hz"}, {"Sa/s", "Hz"}, {"samples/s", "Hz"}} {
		if rest, ok := strings.CutSuffix(t, suffix.from); ok {
			t = rest + suffix.to
			break
		}
	}
	q, err := unit.ParseQuantity(t)
	if err != nil {
		return 0, fmt.Errorf("sample rate %q: %w", s, err)
	}
	hz := q.SI
	switch q.Unit.Dim {
	case unit.Frequency, unit.None:
	case unit.Time:
		hz = 1 / q.SI
	default:
		return 0, fmt.Errorf("sample rate %q is a %s; write for example \"1 MHz\" or \"10 us\"", s, q.Unit.Dim)
	}
	if err := checkRate(hz); err != nil {
		return 0, err
	}
	return hz, nil
}

func checkRate(hz float64) error {
	if !(hz > 0) || hz > maxRateHz {
		return fmt.Errorf("sample rate %g Hz cannot be right; give a rate above 0 and up to %g Hz", hz, float64(maxRateHz))
	}
	return nil
}

// scaleOf works out factor and unit of a mapping entry: SI = file value*factor + offset.
// header is the unit found in the header, zero if none.
func (c Column) scaleOf(header unit.Unit) (factor float64, u unit.Unit, err error) {
	factor, u = 1, header
	if c.Unit != "" {
		if u, err = unit.Parse(c.Unit); err != nil {
			return 0, u, fmt.Errorf("column %q: %w", c.Column, err)
		}
		// A lone F above a temperature is Fahrenheit, though by itself it reads as farad.
		fahrenheit := header.Symbol == "F" && u.Dim == unit.Temperature
		// With a scale it is said what a unit of the file stands for: volts of a clamp.
		if c.Scale == "" && !header.IsZero() && header.Dim != u.Dim && header.Dim != unit.None && u.Dim != unit.None && !fahrenheit {
			return 0, u, fmt.Errorf("column %q: the mapping says %s (%s), the header says %s (%s); correct the unit or the column", c.Column, u.Symbol, u.Dim, header.Symbol, header.Dim)
		}
	}
	if p, ok := unit.ParseProbe(c.Scale); ok {
		volts := header
		if c.Unit != "" && u.Dim != p.Unit.Dim {
			volts = u
		}
		if !volts.IsZero() && volts.Dim != unit.Voltage {
			return 0, u, fmt.Errorf("column %q: a scale of %s is for a file in volts, this one is in %s; give the scale of one %s, or none", c.Column, c.Scale, volts.Symbol, volts.Symbol)
		}
		factor, u = p.Factor(volts), p.Unit
	} else if c.Scale != "" {
		q, err := unit.ParseQuantity(c.Scale)
		if err != nil {
			return 0, u, fmt.Errorf("column %q: scale: %w", c.Column, err)
		}
		if q.Typed == 0 {
			return 0, u, fmt.Errorf("column %q: scale is 0, every value would be 0; leave it out for 1", c.Column)
		}
		factor = q.Typed
		if q.Unit.Symbol != "1" {
			if c.Unit != "" && u.Symbol != q.Unit.Symbol {
				return 0, u, fmt.Errorf("column %q: unit says %s, scale says %s; give one of them", c.Column, c.Unit, q.Unit.Symbol)
			}
			u = q.Unit
		}
	}
	if c.Dim != "" && !u.IsZero() && u.Dim != c.Dim {
		return 0, u, fmt.Errorf("column %q: %s is a %s, but %s needs a %s; correct the unit or the role", c.Column, u.Symbol, u.Dim, c.As, c.Dim)
	}
	return factor, u, nil
}

// noUnit marks a channel whose unit the file does not give: values stay as they are.
var noUnit = unit.Unit{Symbol: "", Dim: unit.None, Factor: 1}

package trace

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"proveout/unit"
)

const mapped = "Time (ms),Coil 3 (kV),Sync,Rail pressure (bar),MAP (kPa)\n0,9.5,0,50,31\n1,9.6,0,51,32\n2,9.7,1,52,33\n3,9.8,0,53,33\n"

func TestMapping(t *testing.T) {
	rec, err := ReadText(strings.NewReader(mapped), TextOptions{Columns: []Column{
		{Column: "Coil 3", As: "ignition_secondary", Scale: "2"},
		{Column: "3", As: "sync", Unit: "V", Scale: "0.5"},
		{Column: "rail pressure (BAR)", As: "rail_pressure", Unit: "psi"},
		{Column: "MAP (kPa)", As: AsIgnore},
	}})
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Channels) != 3 {
		t.Fatalf("%d channels", len(rec.Channels))
	}
	coil, sync, rail := rec.Channels[0], rec.Channels[1], rec.Channels[2]
	if coil.Values[1] != 19200 || coil.As != "ignition_secondary" || coil.Mapped != 1 || coil.Column != 2 || coil.Unit.Symbol != "kV" {
		t.Errorf("coil: %+v", coil)
	}
	if sync.Values[2] != 0.5 || sync.Unit.Symbol != "V" || sync.Mapped != 2 {
		t.Errorf("sync: %+v", sync)
	}
	if rail.Values[0] != 50*unit.Must("psi").Factor || rail.Mapped != 3 {
		t.Errorf("rail: %+v", rail)
	}
	if rec.Time.RateHz() != 1000 {
		t.Errorf("rate %v", rec.Time.RateHz())
	}
	wantNote(t, rec, "the header says bar, the mapping says psi", false)
	wantNote(t, rec, `"MAP (kPa)" is left out`, false)
}

func wantNote(t *testing.T, r *Recording, text string, lost bool) Note {
	t.Helper()
	for _, n := range r.Notes {
		if strings.Contains(n.Text, text) {
			if n.Lost != lost {
				t.Errorf("note %q: lost %v", n.Text, n.Lost)
			}
			return n
		}
	}
	t.Errorf("no note about %q in %v", text, r.Notes)
	return Note{}
}

// A lone F above a temperature reads as farad; a mapping that says degF wins.
func TestFahrenheitWins(t *testing.T) {
	rec, err := ReadText(strings.NewReader("time,ect\ns,F\n0,212\n1,212\n2,32\n"), TextOptions{Columns: []Column{{Column: "ect", As: "coolant", Unit: "degF"}}})
	if err != nil {
		t.Fatal(err)
	}
	if v := rec.Channels[0].Values; math.Abs(v[0]-100) > 1e-9 || math.Abs(v[2]) > 1e-9 {
		t.Errorf("%v", v)
	}
}

// Columns of one name stay apart, by number and by the name they are given.
func TestTwoColumnsOfOneName(t *testing.T) {
	rec, err := ReadText(strings.NewReader("time,V,V\n0,1,20\n1,2,30\n2,3,40\n"), TextOptions{Columns: []Column{{Column: "3", As: "supply_voltage"}}})
	if err != nil {
		t.Fatal(err)
	}
	a, b := rec.Channels[0], rec.Channels[1]
	if a.Name == b.Name || a.As != "" || b.As != "supply_voltage" || b.Values[0] != 20 {
		t.Errorf("%+v %+v", a, b)
	}
	wantNote(t, rec, "columns 2 and 3 are all called", false)
}

// TestMappingErrors: each names the column and says what to do.
func TestMappingErrors(t *testing.T) {
	twice := "time,coil,coil\n0,1,2\n1,2,3\n2,3,4\n"
	for _, c := range []struct {
		name, text string
		opts       TextOptions
		want       []string
	}{
		{"unknown column", mapped, TextOptions{Columns: []Column{{Column: "Coil 4"}}}, []string{`"Coil 4"`, "not in the file", `"Coil 3 (kV)"`}},
		{"number too high", mapped, TextOptions{Columns: []Column{{Column: "9"}}}, []string{`"9"`, "5 columns"}},
		{"number zero", mapped, TextOptions{Columns: []Column{{Column: "0"}}}, []string{`"0"`, "numbered from 1"}},
		{"no name", mapped, TextOptions{Columns: []Column{{As: "time"}}}, []string{"names no column"}},
		{"ambiguous name", twice, TextOptions{Columns: []Column{{Column: "coil"}}}, []string{`"coil"`, "columns 2 and 3", "number"}},
		{"mapped twice", mapped, TextOptions{Columns: []Column{{Column: "2", As: "a"}, {Column: "Coil 3", As: "b"}}}, []string{`"Coil 3"`, "twice"}},
		{"two times", mapped, TextOptions{Columns: []Column{{Column: "1", As: AsTime}, {Column: "3", As: AsTime}}}, []string{`"3"`, "already given"}},
		{"wrong dimension against the header", mapped, TextOptions{Columns: []Column{{Column: "Coil 3", Unit: "kPa"}}}, []string{`"Coil 3"`, "kPa", "kV"}},
		{"wrong dimension for the role", mapped, TextOptions{Columns: []Column{{Column: "Sync", As: "engine_speed", Unit: "V", Dim: unit.EngineSpeed}}}, []string{`"Sync"`, "voltage", "engine speed"}},
		{"header of the wrong dimension for the role", mapped, TextOptions{Columns: []Column{{Column: "MAP (kPa)", As: "ignition_secondary", Dim: unit.Voltage}}}, []string{`"MAP (kPa)"`, "pressure", "voltage"}},
		{"time in kV", mapped, TextOptions{Columns: []Column{{Column: "Coil 3", As: AsTime}}}, []string{`"Coil 3"`, "time"}},
		{"unknown unit", mapped, TextOptions{Columns: []Column{{Column: "Sync", Unit: "furlong"}}}, []string{`"Sync"`, "furlong"}},
		{"scale that is no number", mapped, TextOptions{Columns: []Column{{Column: "Sync", Scale: "much"}}}, []string{`"Sync"`, "much"}},
		{"scale zero", mapped, TextOptions{Columns: []Column{{Column: "Sync", Scale: "0"}}}, []string{`"Sync"`, "0"}},
		{"time backwards by scale", mapped, TextOptions{Columns: []Column{{Column: "1", As: AsTime, Scale: "-1"}}}, []string{`"Time (ms)"`, "backwards"}},
		{"scale and unit differ", mapped, TextOptions{Columns: []Column{{Column: "Sync", Scale: "2 A", Unit: "V"}}}, []string{`"Sync"`, "give one"}},
		{"absurd rate", "a\n1\n2\n3\n", TextOptions{SampleRateHz: 1e15}, []string{"1e+15", "cannot be right"}},
		{"negative rate", "a\n1\n2\n3\n", TextOptions{SampleRateHz: -5}, []string{"-5", "cannot be right"}},
		{"delimiter", mapped, TextOptions{Delimiter: "~"}, []string{`"~"`, "tab"}},
		{"decimal", mapped, TextOptions{Decimal: "x"}, []string{`"x"`}},
		{"everything left out", "a\n1\n2\n", TextOptions{Columns: []Column{{Column: "a", As: AsIgnore}}}, []string{"no column with values"}},
		{"prose", "dear customer,\nyour car is ready\nwith regards\n", TextOptions{}, []string{"no rows of numbers"}},
		{"decimal comma and comma", "time,v\n0,1,2,5\n0,2,2,6\n0,3,2,7\n", TextOptions{}, []string{"line 1", "semicolons"}},
		{"zero bytes", "a,b\n1,2\n\x00\x00", TextOptions{}, []string{"byte 8", "zero bytes"}},
		{"empty", "", TextOptions{}, []string{"empty"}},
		{"blank", "\n\n  \n", TextOptions{}, []string{"empty"}},
		{"too many values", mapped, TextOptions{MaxValues: 10}, []string{"more than 10 values", "--max-values 12"}},
	} {
		_, err := ReadText(strings.NewReader(c.text), c.opts)
		if err == nil {
			t.Errorf("%s: no error", c.name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q does not say %q", c.name, err, w)
			}
		}
	}
}

func TestOptionsOverrule(t *testing.T) {
	rec, err := ReadText(strings.NewReader("v\n0,5\n1,5\n2,5\n"), TextOptions{Decimal: ",", Delimiter: ";", SampleRateHz: 100})
	if err != nil || len(rec.Channels) != 1 || rec.Channels[0].Values[2] != 2.5 || rec.Time.RateHz() != 100 {
		t.Errorf("decimal comma given: %v %+v", err, rec)
	}
	text := "time,v\n" + strings.Repeat("0,1\n1,0\n2,1\n", 1)
	rec, err = ReadText(strings.NewReader(text), TextOptions{Layout: Samples})
	if err != nil || rec.Channels[0].Edges {
		t.Errorf("samples given: %v", err)
	}
	rec, err = ReadText(strings.NewReader("time,v\n0,5\n1,5\n2,0\n"), TextOptions{Layout: Edges})
	if err != nil || !rec.Channels[0].Edges {
		t.Errorf("edges given: %v", err)
	}
	rec, err = ReadText(strings.NewReader("n,v\n10,1\n11,2\n12,3\n20,4\n21,5\n22,6\n"), TextOptions{SampleRateHz: 50})
	if err != nil || rec.Time.At(3) != 200e6 || len(rec.Segments) != 2 {
		t.Errorf("a row counter with a gap of 8 rows at 50 Hz: %v, sample 3 at %d ns, segments %v", err, rec.Time.At(3), rec.Segments)
	}
	rec, err = ReadText(strings.NewReader("ticks,v\n0,1\n4,2\n8,3\n12,4\n"), TextOptions{Columns: []Column{{Column: "ticks", As: AsTime, Scale: "0.25 us"}}})
	if err != nil || rec.Time.RateHz() != 1e6 {
		t.Errorf("time in ticks of 0.25 us: %v %+v", err, rec.Time)
	}
}

func TestParseRate(t *testing.T) {
	for s, want := range map[string]float64{"1 MHz": 1e6, "44100": 44100, "10 kS/s": 1e4, "2 MS/s": 2e6, "10 us": 1e5, "0.5 s": 2, "5 Hz": 5} {
		got, err := ParseRate(s)
		if err != nil || got < want*(1-1e-12) || got > want*(1+1e-12) {
			t.Errorf("%s: %v %v, want %v", s, got, err, want)
		}
	}
	for _, s := range []string{"", "fast", "0", "-1 Hz", "1e20", "5 V", "0 s"} {
		if got, err := ParseRate(s); err == nil {
			t.Errorf("%q was taken as %v Hz", s, got)
		}
	}
}

// A file of too many values is refused before its rows are read, with the number
// of values in it within a few percent; one that just fits is read.
func TestTooManyIsRefusedAtOnce(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,a\n")
	for i := range 200000 {
		fmt.Fprintf(&b, "%d,%d\n", i, i%7)
	}
	text := b.String()
	read := 0
	opts := TextOptions{At: strings.NewReader(text), Size: int64(len(text)), MaxValues: 300000, Progress: func(n int64) { read = int(n) }}
	_, err := ReadText(strings.NewReader(text), opts)
	if !errors.Is(err, ErrTooMany) || !strings.Contains(err.Error(), "--max-values 4") || !strings.Contains(err.Error(), "about 0.4") {
		t.Errorf("%v", err)
	}
	if read > headSize {
		t.Errorf("%d bytes were read before", read)
	}
	opts.MaxValues = 400000
	if rec, err := ReadText(strings.NewReader(text), opts); err != nil || rec.Time.N != 200000 {
		t.Errorf("%v", err)
	}
}

// A first row that is cut short must not cost the header.
func TestShortFirstRowKeepsTheHeader(t *testing.T) {
	rec, err := ReadText(strings.NewReader("Time (s),Engine speed (rpm),Vehicle speed (km/h)\n0.0,800\n0.1,801,36\n0.2,802,36\n0.3,803,36\n"), TextOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Channels) != 2 || rec.Channels[0].Label != "Engine speed" || rec.Time.N != 4 || !math.IsNaN(rec.Channels[1].Values[0]) || rec.Channels[1].Values[1] != 10 {
		t.Errorf("%+v", rec)
	}
	wantNote(t, rec, "2 of 3 values", false)
}

// Log lines among rubbish are a damaged log of messages; a row of numbers beside
// them is a table.
func TestDamagedLogIsStillALog(t *testing.T) {
	for text, want := range map[string]Kind{
		"(1.0) can0 7E8#06410\n(2.0) can0 7E8#ZZ\nhello\n(3.0) can0 7E8#064100BE3FA813\n": KindMessages,
		"note 7E8#0641\nremark\nthird\n1,2\n2,3\n":                                        KindText,
	} {
		if kind, _ := Sniff([]byte(text), int64(len(text))); kind != want {
			t.Errorf("%q: %s", text, kind)
		}
	}
}

// The scale of a probe: a clamp of 100 mV/A gives 10 A for a volt, in a file of volts or
// of millivolts, by the mapping or by the name of the column.
func TestScaleOfAProbe(t *testing.T) {
	for _, c := range []struct {
		head string
		col  Column
		want float64 // SI of a file value of 0.7
		sym  string
		note string
	}{
		{"clamp (V)", Column{Scale: "100 mV/A"}, 7, "A", ""},
		{"clamp (mV)", Column{Scale: "100mV/A"}, 7e-3, "A", ""},
		{"clamp", Column{Scale: "100 mV/A"}, 7, "A", ""},
		{"clamp", Column{Scale: "10 mV/A", Unit: "mV"}, 70e-3, "A", ""},
		{"clamp (V)", Column{Scale: "10 A"}, 7, "A", ""},
		{"clamp (V)", Column{Scale: "10", Unit: "A"}, 7, "A", ""},
		{"rail (V)", Column{Scale: "4 bar/V"}, 2.8e5, "bar", ""},
		{"rail (V)", Column{Scale: "0.5 V/MPa"}, 1.4e6, "MPa", ""},
		{"Clamp 100mV/A (V)", Column{}, 7, "A", "its name gives the scale of a probe"},
		{"Clamp 100mV/A (V)", Column{Dim: unit.Current}, 7, "A", "its name gives the scale of a probe"},
		{"Clamp 10 A/V (mV)", Column{}, 7e-3, "A", "its name gives the scale of a probe"},
		{"Clamp 100mV/A (V)", Column{Unit: "V"}, 0.7, "V", ""},
		{"Clamp 100mV/A (V)", Column{Scale: "1 mV/A"}, 700, "A", ""},
		{"Clamp 100mV/A (A)", Column{}, 0.7, "A", ""},
		{"Clamp (100mV/A)", Column{}, 0.7, "", "whether the file is in volts or in A is not said"},
		{"Clamp (100mV/A)", Column{Scale: "100mV/A"}, 7, "A", ""},
		{"Clamp (100mV/A)", Column{Unit: "A"}, 0.7, "A", ""},
		{"wheel km/h (V)", Column{}, 0.7, "V", ""},
	} {
		o := TextOptions{}
		if c.col != (Column{}) {
			c.col.Column, c.col.As = "2", "brake_motor"
			o.Columns = []Column{c.col}
		}
		rec, err := ReadText(strings.NewReader("time (s),"+c.head+"\n0,0.7\n1,0.7\n2,0.7\n"), o)
		if err != nil {
			t.Errorf("%s %+v: %v", c.head, c.col, err)
			continue
		}
		ch := rec.Channels[0]
		if math.Abs(ch.Values[1]/c.want-1) > 1e-12 || ch.Unit.Symbol != c.sym {
			t.Errorf("%s %+v: %g in %q, want %g in %q", c.head, c.col, ch.Values[1], ch.Unit.Symbol, c.want, c.sym)
		}
		if c.note != "" {
			wantNote(t, rec, c.note, c.sym == "")
		}
	}
	if _, err := ReadText(strings.NewReader("time (s),clamp (A)\n0,1\n1,1\n2,1\n"), TextOptions{Columns: []Column{{Column: "2", As: "brake_motor", Scale: "100 mV/A"}}}); err == nil || !strings.Contains(err.Error(), "a file in volts") {
		t.Errorf("a probe's scale on amperes: %v", err)
	}
}

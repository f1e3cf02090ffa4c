package table

import (
	"math"

	"proveout/procedure"
	"proveout/unit"
)

// Format names the format of a table.
const Format = "proveout/procedure-table/1"

// Table is a procedure as a page runs it. Everything is by index; times are in
// seconds, values in SI.
type Table struct {
	Format    string `json:"format"`
	Procedure string `json:"procedure"`
	Version   int    `json:"version"`
	SHA256    string `json:"sha256"` // of the procedure's text, as in the header of a record
	Title     string `json:"title"`
	Override  string `json:"override"`
	procedure.Open
	Watches   []Watch           `json:"watches"`
	Figures   []Figure          `json:"figures"`
	Kinds     []string          `json:"kinds"` // interruptions, in the order of disturbs and recovers
	Interrupt []Recovery        `json:"interrupt"`
	After     []string          `json:"after"`
	Texts     map[string]string `json:"texts"`
}

// Recovery is the way out of an interruption that no step has a say in.
type Recovery struct {
	Class string `json:"class"`
	Text  string `json:"text"`
}

// Watch is what must hold during a step. A limit that is not there is absent.
type Watch struct {
	ID          string   `json:"id"`
	Quantity    string   `json:"quantity"`
	Point       string   `json:"point"`
	Blind       string   `json:"blind"`
	StartText   string   `json:"start_text"`
	TypedGate   bool     `json:"typed_gate"`
	TypedMaxAge float64  `json:"typed_max_age_s"`
	Start       *float64 `json:"start,omitempty"`
	Hold        *float64 `json:"hold,omitempty"`
	HoldHigh    *float64 `json:"hold_high,omitempty"`
	Unit        string   `json:"unit"`
}

// Figure is a number to be written down with its limit. A value in the unit is
// (SI * scale) + offset, shown with so many decimals.
type Figure struct {
	ID       string  `json:"id"`
	Ask      string  `json:"ask"`
	Unit     string  `json:"unit"`
	Limit    string  `json:"limit"`
	LimitAsk string  `json:"limit_ask"`
	Within   float64 `json:"within,omitempty"`
	Most     float64 `json:"most,omitempty"`
	Scale    float64 `json:"scale"`
	Offset   float64 `json:"offset"`
	Decimals int     `json:"decimals"`
}

// Compile lays a machine out. sha is the fingerprint of the text it was loaded from.
func Compile(m *procedure.Machine, sha string) (Table, error) {
	t := Table{Format: Format, Procedure: m.File.ID, Version: m.File.Version, SHA256: sha, Title: m.File.Title, Override: procedure.Overrides, Open: m.Open(),
		Watches: []Watch{}, Figures: []Figure{}, Kinds: procedure.Kinds, Interrupt: []Recovery{}, After: append([]string{}, m.File.After...), Texts: texts}
	for _, k := range procedure.Kinds {
		r := m.File.Interrupt[k]
		t.Interrupt = append(t.Interrupt, Recovery{r.Class, r.Text})
	}
	for i := range m.Watches {
		w := &m.Watches[i]
		lim, err := w.Limits()
		if err != nil {
			return Table{}, err
		}
		t.Watches = append(t.Watches, Watch{w.ID, w.Quantity, w.Point, w.Blind, w.Start, w.TypedGate, lim.TypedMaxAge, known(lim.Start), known(lim.Hold), known(lim.HoldHigh), lim.Unit.Symbol})
	}
	for i := range m.Figures {
		f := &m.Figures[i]
		offset := f.U.FromSI(0)
		t.Figures = append(t.Figures, Figure{f.ID, f.Ask, f.U.Symbol, f.Limit, f.LimitAsk, f.Within, f.Most, f.U.FromSI(1) - offset, offset, unit.Decimals(f.U)})
	}
	return t, nil
}

func known(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

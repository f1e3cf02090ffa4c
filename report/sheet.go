package report

import (
	"time"

	"proveout/figure"
	"proveout/shop"
	"proveout/text"
)

// Input is what a report is made from. Printed is the date on the page: it is
// passed in, so that the same report is the same bytes. Text is its language and
// units; none: English and SI.
type Input struct {
	Report  shop.ReportAnswer
	Printed time.Time
	Text    *text.Printer
}

// Sheet is a report in words, ready to be set.
type Sheet struct {
	Lang     string // BCP 47
	Title    string
	Word     string // what the page calls itself
	Mark     string // on a practice job
	Shop     string
	Practice bool
	Head     []Fact
	ID       []Fact
	State    State
	Parts    []Part
	Sign     []string
	Key      string // under the signatures: the short form of the shop's key
	Foot     string
	Short    string // in the foot where something is left off
	Cut      string // at the foot of a page that ends too early
	Item     string // the word for an item, as notes cite it
	Printed  time.Time

	clip int // step of clips, once leaving things off is not enough
}

// State is where the job stands: its word and the square drawn beside it.
type State struct {
	Word   string
	Square Square
}

// Square is the proof square: solid is settled, half in hand, hollow open.
type Square string

// Squares.
const (
	Solid  Square = "solid"
	Half   Square = "half"
	Hollow Square = "hollow"
)

// Fact is a name with its value in the head of the sheet.
type Fact struct{ Name, Value string }

// Part is one line of the ledger.
type Part struct {
	Name    string
	Said    string // a person's own words
	Key     string // the bold line for the customer
	Notes   []Note
	Table   *Table
	Figures []figure.Drawing
	Items   []Entry
	// Keep: the words of this part are never left out (the proof, what is not proven).
	Keep             bool
	FiguresUnprinted bool
}

// Note is one small line for the reviewer, with its first words in bold. Here and
// below, what is Unprinted is on the screen and left off the page, where it does not
// fit.
type Note struct {
	Kind       string // what it says, in no language: key of the lead
	Lead, Text string
	Unprinted  bool
}

// Table is a table of values, one column a place.
type Table struct {
	Head []string
	Rows []Row
}

// PerLine is how many values stand side by side where the columns do not fit, 2 to 7: a
// share of the cylinders without a rest, so that each value stands under its own of before.
func (t Table) PerLine() int {
	places := (len(t.Head) - 1) / 2
	for n := min(places, 7); n > 2; n-- {
		if places%n == 0 {
			return n
		}
	}
	return 2
}

// Row is one quantity.
type Row struct {
	Name      string
	Cells     []Cell
	Unprinted bool
}

// Cell is one value; Odd marks the one that was off.
type Cell struct {
	Text string
	Odd  bool
}

// Entry is one item of evidence.
type Entry struct {
	Number    int
	Text      string
	Unprinted bool
}

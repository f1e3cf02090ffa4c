package shop

import (
	"os"
	"strings"
	"testing"

	"proveout/book"
	"proveout/strict"
)

// A book of another trade beside the built-in one: it alone speaks of the complaint, so
// its suspects alone are weighed, under its own names and pinned by its hash.
func TestABookOfOnesOwn(t *testing.T) {
	text, err := os.ReadFile("testdata/overheat/book.yaml")
	if err != nil {
		t.Fatal(err)
	}
	own, ps := book.Load("book.yaml", text)
	books, err := book.Builtin()
	if err != nil || len(strict.Errors(append(ps, book.CheckOverlay(own, books...)...))) > 0 {
		t.Fatal(err, ps)
	}
	a, err := Diagnose("testdata/overheat/job", Options{Books: append(books[:len(books):len(books)], own), Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if len(a.LeftOut) > 0 {
		t.Errorf("left out: %+v", a.LeftOut)
	}
	if len(a.Books) != 1 || a.Books[0].ID != "overheat" || a.Books[0].SHA256 != own.SHA256() || len(own.SHA256()) != 64 {
		t.Errorf("judged by %+v", a.Books)
	}
	// A large drop across the radiator: little flow through it, so its own blockage or
	// the pump (our own book: 0.7 and 0.6 against 0.03 healthy), never a thermostat that
	// stays shut (0.85 says the radiator stays cold).
	if got := a.Suspects[0].ID; got != "radiator_blocked@engine" {
		t.Errorf("%s leads", got)
	}
	for _, f := range a.Findings {
		if f.Feature != "cooling.hose_drop" {
			continue
		}
		if !strings.Contains(f.Sentence, "temperature drop across the radiator 32.0 K") || f.State != "high" {
			t.Errorf("%s: %s", f.State, f.Sentence)
		}
		// A hand thermometer is good to 2 K and scatters by 1 K, wherever zero is.
		if f.Uncertainty == nil || *f.Uncertainty < 2 || *f.Uncertainty > 3 {
			t.Errorf("uncertainty %v K", f.Uncertainty)
		}
	}
	if !strings.Contains(noteTexts(a), "petrol_misfire knows none of these symptoms") {
		t.Errorf("nothing says that the other book is not used: %s", noteTexts(a))
	}
}

func noteTexts(a *Answer) string {
	var all []string
	for _, n := range a.Notes {
		all = append(all, n.Text)
	}
	return strings.Join(all, "\n")
}

package book

import "proveout/evidence"

// DefaultSettings are used where no book gives its own. All are our choice:
// shares of the prior that keep "nothing wrong" and "not listed" alive without
// leading, and coverages by which a test outside the fault conditions tells a
// third of what it would tell inside them.
func DefaultSettings() Settings {
	our := func(v float64) Num { return Num{v, "our choice"} }
	return Settings{
		NothingWrong:    our(0.03),
		NotListed:       our(0.07),
		CoverageWarm:    our(0.3),
		CoverageWet:     our(0.3),
		CoverageState:   our(0.3),
		CoverageUnknown: our(0.7),
		Unreliable:      our(0.02),
	}
}

// Setting finds the first book that gives a setting, else the default.
func (in *Instance) Setting(get func(*Settings) Num) float64 {
	for _, b := range in.Books {
		if n := get(&b.Settings); n.Source != "" {
			return n.Value
		}
	}
	d := DefaultSettings()
	return get(&d).Value
}

// Fact finds what the books say of a fact asked at reception: the first that gives its
// share, else the first that asks it.
func (in *Instance) Fact(id string) Fact { return findFact(id, in.Books...) }

func findFact(id string, books ...*Book) Fact {
	var found Fact
	for _, b := range books {
		f, ok := b.Context[id]
		switch {
		case !ok:
		case f.Share.Source != "":
			return f
		case found.Ask == "":
			found = f
		}
	}
	return found
}

// Feature finds a feature in the catalogue or in the books.
func (in *Instance) Feature(id string) (evidence.Feature, bool) { return FindFeature(id, in.Books...) }

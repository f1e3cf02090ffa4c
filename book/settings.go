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

// Feature finds a feature in the catalogue or in the books.
func (in *Instance) Feature(id string) (evidence.Feature, bool) { return FindFeature(id, in.Books...) }

package book

import (
	"proveout/evidence"
	"proveout/unit"
)

// FindFeature finds a feature in the catalogue or declared by one of the books.
func FindFeature(id string, books ...*Book) (evidence.Feature, bool) {
	if f, ok := evidence.Lookup(id); ok {
		return f, true
	}
	for _, b := range books {
		f, ok := b.Features[id]
		if !ok {
			continue
		}
		u, err := unit.Parse(f.Unit)
		if err != nil {
			return evidence.Feature{}, false
		}
		return evidence.Feature{ID: id, Name: f.Name, Unit: f.Unit, Dim: u.Dim, Per: featureOfPer[f.Per], Source: "book " + b.ID}, true
	}
	return evidence.Feature{}, false
}

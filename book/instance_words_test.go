package book

import (
	"testing"

	"proveout/evidence"
)

func TestSuspectWordsNameThePart(t *testing.T) {
	for _, w := range []struct {
		component, fault string
		at               evidence.Subject
		want             string
	}{
		{"glow plug", "burnt out", evidence.Cyl(2), "glow plug: burnt out, cylinder 2"},
		{"spark plug", "gap too wide on this plug", evidence.Cyl(3), "gap too wide on this plug, cylinder 3"},
		{"glow control unit", "gives no current", evidence.WholeEngine, "glow control unit: gives no current"},
		{"", "worn", evidence.WholeEngine, "worn"},
	} {
		s := Suspect{Fault: &Fault{ID: "f", Name: w.fault}, Component: &Component{ID: "c", Name: w.component}, Subject: w.at}
		if got := s.Words(); got != w.want {
			t.Errorf("%q, want %q", got, w.want)
		}
	}
}

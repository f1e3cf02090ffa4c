package shop

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/job"
	"proveout/unit"
	"proveout/vehicle"
)

// Each side of a conflict says its own value. Their findings pool the two, and a
// screen that showed those would print the mean of both beside either item.
func TestSidesOfAConflictKeepTheirOwnValues(t *testing.T) {
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	in, err := book.Instantiate(vehicle.Engine{Cylinders: 4, FiringOrder: []int{1, 3, 4, 2}, Ignition: vehicle.CoilOnPlug, Injection: vehicle.Port}, books...)
	if err != nil {
		t.Fatal(err)
	}
	w := &work{instance: in, answer: &Answer{}}
	for item, text := range map[int]string{13: "250 kPa", 14: "380 kPa"} {
		q, err := unit.ParseQuantity(text)
		if err != nil {
			t.Fatal(err)
		}
		w.readings = append(w.readings, evidence.Reading{Item: item, Feature: "fuel.pressure_load", Subject: evidence.Subject{Kind: evidence.Engine}, Value: q, Uncertainty: 5e3, Typed: item == 14})
	}
	got := w.disagreements()
	if len(got) != 1 {
		t.Fatalf("%d conflicts, want one", len(got))
	}
	for _, side := range got[0].Sides {
		want := map[int]string{13: "250 kPa, measured", 14: "380 kPa, typed"}[side.Item]
		if want == "" || !strings.HasSuffix(side.Text, want) {
			t.Errorf("item %d says %q, want it to end with %q", side.Item, side.Text, want)
		}
	}
	if len(got[0].Sides) != 2 {
		t.Errorf("%d sides, want two", len(got[0].Sides))
	}
}

// Readings that disagree may be kept, with the reason: the conflict stays in the answer
// and no longer stands in the way, in the workbench, in the folder it exports to and in
// a job file.
func TestReadingsThatDisagreeMayBeKept(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	for i, value := range []string{"1.0 mm", "1.62 mm"} {
		mustWrite(t, b, id, cmd(fmt.Sprint("gap", i), job.ReadingTypedType, job.ReadingTyped{Form: job.Form(`{"feature":"plug.gap","cylinder":3,"value":"` + value + `"}`)}))
	}
	answer := func() *Answer {
		a, err := b.Answer(t.Context(), id)
		if err != nil || len(a.Conflicts) != 1 {
			t.Fatalf("%+v, %v", a.Conflicts, err)
		}
		return a
	}
	row := func() []string {
		v, err := b.Board(t.Context())
		if err != nil || len(v.Rows) != 1 {
			t.Fatalf("%+v, %v", v, err)
		}
		return v.Rows[0].Disagree
	}
	if a := answer(); a.Conflicts[0].Kept != "" {
		t.Fatalf("kept before anybody said so: %+v", a.Conflicts[0])
	}
	b.refreshRow(t.Context(), id)
	if len(row()) != 1 {
		t.Errorf("the board says %v", row())
	}
	for name, k := range map[string]job.ReadingsKept{"one item": {Items: []int{1}, Reason: "x"}, "no reason": {Items: []int{1, 2}}, "no such item": {Items: []int{1, 9}, Reason: "x"}} {
		if _, err := b.Write(t.Context(), id, cmd(name, job.ReadingsKeptType, k)); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	mustWrite(t, b, id, cmd("keep", job.ReadingsKeptType, job.ReadingsKept{Items: []int{1, 2}, Reason: "the electrode is worn to a slope"}))
	if a := answer(); !strings.Contains(a.Conflicts[0].Kept, "worn to a slope") || strings.Contains(a.Stop, "disagree") {
		t.Errorf("%+v, %s", a.Conflicts[0], a.Stop)
	}
	b.refreshRow(t.Context(), id)
	if len(row()) != 0 {
		t.Errorf("the board still says %v", row())
	}
	dir := filepath.Join(t.TempDir(), "out")
	if err := b.Export(t.Context(), id, dir, ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	a, err := Diagnose(dir, Options{Program: "test"})
	if err != nil || len(a.Conflicts) != 1 || !strings.Contains(a.Conflicts[0].Kept, "worn to a slope") {
		t.Errorf("from the folder: %+v, %v", a.Conflicts, err)
	}
}

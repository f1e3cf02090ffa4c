package shop

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"proveout/job"
)

// receivedFor opens a job of a customer's vehicle.
func receivedFor(t *testing.T, b *Bench, title, name, plate, vin, said string) string {
	t.Helper()
	p := job.Received{Title: title, Customer: "c-" + title, VehicleID: "v-" + title, Vehicle: job.Form(torvane), Complaint: job.Form(fmt.Sprintf(`{"said":%q}`, said))}
	for _, err := range []error{b.SetCustomer(t.Context(), p.Customer, CustomerData{Name: name}), b.SetVehicle(t.Context(), p.Customer, p.VehicleID, VehicleData{Plate: plate, VIN: vin})} {
		if err != nil {
			t.Fatal(err)
		}
	}
	id, _, err := b.Open(t.Context(), cmd("open-"+title, job.ReceivedType, p))
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// settledPast waits until every job was read once.
func settledPast(t *testing.T, b *Bench) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); ; {
		if working, err := b.past(t.Context()); err != nil || !working {
			if err != nil {
				t.Fatal(err)
			}
			return
		}
		if time.Now().After(end) {
			t.Fatal("the older jobs are never read to the end")
		}
	}
}

func titles(rows []PastJob) string {
	var out []string
	for _, r := range rows {
		out = append(out, r.Title)
	}
	return strings.Join(out, " ")
}

// Closed jobs are found by what a person remembers of them, page by page, and not once
// their customer was erased.
func TestClosedJobsAreFound(t *testing.T) {
	b := newTestBench(t)
	ids := map[string]string{}
	for _, c := range [][]string{
		{"2301", "Wenna Castell", "QL 417 C", "", "It stumbles uphill."},
		{"2302", "Tam Ostrey", "QL-431-T", "1M8GDM9AXKP042788", "Whistles on the motorway."},
		{"2303", "Mara Quill", "KD 88", "", "Will not start when wet."},
	} {
		ids[c[0]] = receivedFor(t, b, c[0], c[1], c[2], c[3], c[4])
		mustWrite(t, b, ids[c[0]], cmd("right-"+c[0], job.CorrectionType, job.Corrected{Done: "Hose renewed."}))
		mustWrite(t, b, ids[c[0]], cmd("close-"+c[0], job.ClosedType, job.Closed{Result: "improved", Because: "agreed"}))
	}
	receivedFor(t, b, "2304", "Wenna Castell", "QL 417 C", "", "Still open.")
	settledPast(t, b)
	for asked, want := range map[string]string{
		"": "2303 2302 2301", "ql417c": "2301", "ql 431": "2302", "QL": "2302 2301", "1m8gdm9axkp042788": "2302", "castell": "2301", "castell uphill": "2301", "castell motorway": "",
		"wet": "2303", "2302": "2302", "25.11.2026": "2303 2302 2301", "2026-11-25 quill": "2303", "24.11.2026": "", "zzz": "", "%": "", "it stumbles up the long hill behind here": "",
	} {
		v, err := b.Closed(t.Context(), asked, 0, 10)
		if err != nil {
			t.Fatal(err)
		}
		if got := titles(v.Rows); got != want || v.Of != len(v.Rows) {
			t.Errorf("%q finds %q of %d, want %q", asked, got, v.Of, want)
		}
	}
	first, err := b.Closed(t.Context(), "", 0, 2)
	if err != nil || titles(first.Rows) != "2303 2302" || first.Of != 3 || first.Next == 0 {
		t.Fatalf("first page: %+v, %v", first, err)
	}
	if rest, err := b.Closed(t.Context(), "", first.Next, 2); err != nil || titles(rest.Rows) != "2301" || rest.Next != 0 {
		t.Errorf("second page: %+v, %v", rest, err)
	}
	if first.Rows[1].Customer != "T. Ostrey" {
		t.Errorf("the customer stands as %q", first.Rows[1].Customer)
	}
	if err := b.Erase(t.Context(), "c-2302"); err != nil {
		t.Fatal(err)
	}
	for _, asked := range []string{"ostrey", "ql 431", "1M8GDM9AXKP042788"} {
		if v, err := b.Closed(t.Context(), asked, 0, 10); err != nil || len(v.Rows) > 0 {
			t.Errorf("%q still finds the job of an erased customer: %+v, %v", asked, v, err)
		}
	}
	// A row written again, as when its answer changes, keeps its place.
	b.pasts.mu.Lock()
	again := b.pasts.jobs[ids["2301"]]
	again.Rev += 100
	b.pasts.jobs[ids["2301"]] = again
	b.pasts.mu.Unlock()
	if v, err := b.Closed(t.Context(), "", 0, 10); err != nil || !strings.HasSuffix(titles(v.Rows), "2301") {
		t.Errorf("after the oldest was written again: %s, %v", titles(v.Rows), err)
	}
	mustWrite(t, b, ids["2303"], cmd("reopen", job.ReopenedType, job.Reopened{Because: "back"}))
	if v, err := b.Closed(t.Context(), "", 0, 10); err != nil || titles(v.Rows) != "2302 2301" {
		t.Errorf("after one was reopened: %s, %v", titles(v.Rows), err)
	}
}

// The same vehicle's earlier jobs, and its values then and now.
func TestEarlierJobsOfTheSameVehicle(t *testing.T) {
	b := newTestBench(t)
	old := receivedFor(t, b, "2301", "Tam Ostrey", "QL 431 T", "", "It stumbles.")
	vin := receivedFor(t, b, "2302", "New Keeper", "KD 1", "1M8GDM9AXKP042788", "It stumbles.")
	now := receivedFor(t, b, "2303", "Tam Ostrey", "ql-431-t", "1M8GDM9AXKP042788", "It stumbles again.")
	other := receivedFor(t, b, "2304", "Mara Quill", "QL 431 T", "2M8GDM9AXKP042788", "Another car on the same plate.")
	for id, v := range map[string]string{old: "1.05 mm", now: "1.4 mm"} {
		mustWrite(t, b, id, cmd("gap-"+id, job.ReadingTypedType, job.ReadingTyped{Form: job.Form(fmt.Sprintf(`{"feature":"plug.gap","cylinder":1,"value":%q}`, v))}))
	}
	settledPast(t, b)
	got, _, err := b.Earlier(t.Context(), now)
	if err != nil || titles(got) != "2301 2302" && titles(got) != "2302 2301" {
		t.Errorf("earlier jobs: %s, %v; want 2301 by its plate and 2302 by its VIN, and not 2304 with another VIN", titles(got), err)
	}
	if got, _, err := b.Earlier(t.Context(), other); err != nil || titles(got) != "2301" {
		t.Errorf("of the other car: %s, %v", titles(got), err)
	}
	values, err := b.EarlierValues(t.Context(), []string{now, old, vin})
	if err != nil || len(values) != 1 || values[0].By[now] != 1.4 || values[0].By[old] != 1.05 || len(values[0].By) != 2 {
		t.Errorf("values %+v, %v", values, err)
	}
	if !slices.Contains([]string{"mm"}, values[0].Unit) || !strings.Contains(values[0].Subject, "1") {
		t.Errorf("%+v", values[0])
	}
	if values[0].Changed != "yes" || !(values[0].Uncertainty[now] > 0) {
		t.Errorf("from 1.05 to 1.4 mm: changed %q, %v", values[0].Changed, values[0].Uncertainty)
	}
}

// A change is one only beyond what both values can be trusted to: 1.96 times the root
// of the sum of squares (JCGM 100:2008, 5.1.2; from memory).
func TestChangeOfAValue(t *testing.T) {
	for _, c := range []struct {
		now, then, a, b float64
		guessed         bool
		want            string
	}{
		{10, 9, 0.3, 0.4, false, "yes"}, // 1 against 0.98
		{10, 9.1, 0.3, 0.4, false, "no"},
		{10, 5, 0, 0.4, false, "unknown"},
		{10, 5, 0.3, 0.4, true, "unknown"},
	} {
		v := EarlierValue{By: map[string]float64{"now": c.now, "then": c.then}, Uncertainty: map[string]float64{"then": c.b}, guessed: map[string]bool{"then": c.guessed}}
		if c.a > 0 {
			v.Uncertainty["now"] = c.a
		}
		if got := v.change([]string{"now", "between", "then"}); got != c.want {
			t.Errorf("%+v: %q", c, got)
		}
	}
	if v := (EarlierValue{By: map[string]float64{"then": 1, "before": 1}}); v.change([]string{"now", "then", "before"}) != "" {
		t.Error("this job has no value")
	}
}

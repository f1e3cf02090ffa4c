package shop

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"proveout/job"
	"proveout/procedure/runner"
)

var update = flag.Bool("update-report", false, "write the golden report of the brake service anew")

// openService opens a brake service with minutes agreed at reception.
func openService(t *testing.T, b *Bench) string {
	t.Helper()
	for _, p := range []Person{{ID: "ruben", Name: "Ruben Tasker"}, {ID: "p-ida", Name: "Ida Holm"}} {
		if err := b.PutPerson(t.Context(), p, ""); err != nil {
			t.Fatal(err)
		}
	}
	id, _, err := b.Open(t.Context(), cmd("open", job.ReceivedType, job.Received{
		Title: "2409", Kind: "service", Procedure: "epb_caliper_pads", AgreedMinutes: 120, Opened: "2026-11-25T08:40:00Z",
		Vehicle: job.Form(`{"make":"Dovrik","model":"Halt 2.0","year":2019}`), Complaint: job.Form(`{"said":"Rear pads, please."}`),
	}))
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func serviceHand(t *testing.T) *hand {
	clock := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	h := &hand{t: t, b: runBench(t, t.TempDir(), &clock, "a"), clock: &clock}
	h.job = openService(t, h.b)
	return h
}

func (h *hand) start() {
	h.t.Helper()
	var err error
	if h.run, _, err = h.b.StartProcedure(h.t.Context(), h.job, "epb_caliper_pads", Command{Key: "start", Device: "tablet1", Author: "ruben", Wall: *h.clock}); err != nil {
		h.t.Fatal(err)
	}
}

func (h *hand) report() *ReportAnswer {
	h.t.Helper()
	r, err := h.b.Report(h.t.Context(), h.job)
	if err != nil {
		h.t.Fatal(err)
	}
	return r
}

// finish works to the end; where the supply fell it looks, makes safe and goes on.
func (h *hand) finish() {
	h.t.Helper()
	for range 3000 {
		if !h.step(h.screen()) {
			break
		}
	}
	h.do(RunEvent{Kind: runner.Finished})
}

// A service gives a report before it is begun, while it is under way and when it is
// finished: what is told is what happened.
func TestReportOfAService(t *testing.T) {
	h := serviceHand(t)
	r := h.report()
	if !r.Service || r.Judged || len(r.Runs) != 0 || r.Minutes.Agreed != 120 || r.Minutes.Left != 120 {
		t.Errorf("before it is begun: service %v, judged %v, %d runs, minutes %+v", r.Service, r.Judged, len(r.Runs), r.Minutes)
	}
	if _, err := h.b.Proof(t.Context(), h.job); err == nil {
		t.Error("a proof of a job of which nothing can be judged")
	}
	h.start()
	h.upTo("extend.left")
	h.pass(1, 13.4)
	h.do(RunEvent{Kind: runner.Begin, Step: "extend.left"})
	h.pass(1, 11.2)
	r = h.report()
	run := r.Runs[0]
	if run.State != "held" && run.State != "held_keep_power" {
		t.Errorf("with the supply below the stop line it is %s", run.State)
	}
	if len(r.Dangers) == 0 || len(run.NotDone) == 0 || run.Ended != "" || len(run.Stops) != 1 || run.Stops[0].WentOn != "" {
		t.Errorf("in the stop: dangers %q, %d steps not done, ended %q, stops %+v", r.Dangers, len(run.NotDone), run.Ended, run.Stops)
	}
	h.pass(2, 13.4)
	h.do(RunEvent{Kind: runner.AtRest})
	h.pass(31, 13.4)
	for range 50 {
		if s := h.screen(); len(s.WhyNot) == 0 || !h.step(s) {
			break
		}
	}
	h.do(RunEvent{Kind: runner.GoOn})
	h.finish()
	r = h.report()
	run = r.Runs[0]
	if run.State != "finished" || run.Done != run.Of || len(run.NotDone) != 0 || len(r.Dangers) != 0 || run.Ended == "" {
		t.Errorf("at the end: %s, %d of %d, not done %q, dangers %q", run.State, run.Done, run.Of, run.NotDone, r.Dangers)
	}
	if run.Title != "Rear pads, electric parking brake with a motor on each caliper" || run.Version != "2" || !slices.Equal(run.Who, []string{"Ruben Tasker"}) {
		t.Errorf("%q version %q by %q", run.Title, run.Version, run.Who)
	}
	if s := run.Supply; len(s) != 1 || s[0].Lowest != 11.2 || s[0].Point != "battery" || s[0].Unit != "V" || !strings.Contains(s[0].Step, "left actuator") {
		t.Errorf("supply %+v", s)
	}
	// 30 s are asked; the hand waits 0.3 s longer and lets the meter send for 1 s before
	// it begins.
	if low := slices.Min(run.Rests); run.RestAsked != 30 || low < 30 || low > 33 || len(run.Rests) < 10 {
		t.Errorf("rests %v, asked %v", run.Rests, run.RestAsked)
	}
	if len(run.Stops) != 1 || run.Stops[0].WentOn == "" || run.Stops[0].Why != "the supply falls below its stop line" {
		t.Errorf("stops %+v", run.Stops)
	}
	tested := 0
	for _, x := range run.Results {
		if x.Test && len(x.By) > 0 {
			tested++
		}
	}
	if tested == 0 || len(run.Figures) != 12 { // ten with a limit beside them, two voltages
		t.Errorf("%d function tests, %d figures", tested, len(run.Figures))
	}
	golden(t, r)
}

// golden holds the report to the one that package report lays out.
func golden(t *testing.T, r *ReportAnswer) {
	t.Helper()
	const name = "../report/testdata/brake_service.json"
	c := *r
	c.ShopKey, c.Fingerprint = "", "" // of a key and ids that are new each time
	got, err := json.MarshalIndent(c, "", "\t")
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(name, append(got, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(append(got, '\n'), want) {
		t.Errorf("the report is no longer the one in %s; look at what changed, then -update-report\n%s", name, got)
	}
}

// Put down and handed over, and a run whose procedure is another by now, are told as
// that.
func TestReportOfAServicePutDown(t *testing.T) {
	h := serviceHand(t)
	h.start()
	h.upTo("unbolt.left")
	h.do(RunEvent{Kind: runner.Begin, Step: "unbolt.left"})
	h.do(RunEvent{Kind: Interrupted})
	r := h.report()
	if len(r.Dangers) == 0 || !strings.Contains(r.PutDown, "Starts again at") || r.Runs[0].Stops[0].Why != "the technician leaves" {
		t.Errorf("dangers %q, put down %q, stops %+v", r.Dangers, r.PutDown, r.Runs[0].Stops)
	}
	k, err := h.b.cases.hold(t.Context(), h.job, false)
	if err != nil {
		t.Fatal(err)
	}
	rec := k.state.Runs[0]
	rec.SHA256 = strings.Repeat("0", 64)
	rec.ID = "other"
	k.state.Runs = append(slices.Clone(k.state.Runs), rec)
	w := k.workDone()
	k.mu.Unlock()
	if last := w.runs[1]; last.State != "unreadable" || last.Why == "" || last.Of != 0 {
		t.Errorf("a run of another text: %+v", last)
	}
}

// Minutes are those of the board: agreed at reception and approved since, summed.
func TestReportMinutesAreThoseOfTheBoard(t *testing.T) {
	h := serviceHand(t)
	mustWrite(t, h.b, h.job, cmd("a1", job.ApprovalGivenType, job.Agreed{Minutes: 30, By: "customer", How: "phone"}))
	mustWrite(t, h.b, h.job, cmd("a2", job.ApprovalAskedType, job.Agreed{Minutes: 500, By: "customer"}))
	in := cmd("p1", job.TimePunchType, job.TimePunch{What: "in"})
	in.Wall = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	out := cmd("p2", job.TimePunchType, job.TimePunch{What: "out"})
	out.Wall = in.Wall.Add(45 * time.Minute)
	mustWrite(t, h.b, h.job, in)
	mustWrite(t, h.b, h.job, out)
	v, err := h.b.Job(t.Context(), h.job)
	if err != nil {
		t.Fatal(err)
	}
	r := h.report()
	if m := r.Minutes; m.Agreed+m.Approved != v.Board.Approved || m.Left != v.Board.MinutesLeft || m.Left != 105 || m.Worked != 45 || len(r.Approvals) != 1 {
		t.Errorf("the report has %+v and %d approvals, the board %v approved, %v left", m, len(r.Approvals), v.Board.Approved, v.Board.MinutesLeft)
	}
}

// A part that was fitted is told, unless a correction names it.
func TestReportNamesPartsFitted(t *testing.T) {
	h := serviceHand(t)
	plug := job.PartUsed{Name: "spark plug", Number: "TB-7714", Count: 4}
	mustWrite(t, h.b, h.job, cmd("o", job.PartOrderedType, job.PartUsed{Name: "coil"}))
	mustWrite(t, h.b, h.job, cmd("f", job.PartFittedType, plug))
	r := h.report()
	if len(r.Fitted) != 1 || r.Fitted[0].Name != "spark plug" || r.Fitted[0].Count != 4 || len(r.Proof.Corrections) != 0 {
		t.Fatalf("fitted %+v", r.Fitted)
	}
	mustWrite(t, h.b, h.job, cmd("c", job.CorrectionType, job.Corrected{Done: "Plugs renewed", Parts: []job.PartUsed{plug}}))
	if r = h.report(); len(r.Fitted) != 0 || len(r.Proof.Corrections) != 1 {
		t.Errorf("with the correction that names it: fitted %+v", r.Fitted)
	}
}

// What was done to a job after it was closed is told, with who and why.
func TestReportTellsWhatChangedAfterClosing(t *testing.T) {
	h := serviceHand(t)
	if r := h.report(); r.ClosedAt != "" || len(r.Changed) != 0 {
		t.Fatalf("never closed: %q %+v", r.ClosedAt, r.Changed)
	}
	fix := mustWrite(t, h.b, h.job, cmd("c", job.CorrectionType, job.Corrected{Done: "Pads renewed"}))
	mustWrite(t, h.b, h.job, cmd("close", job.ClosedType, job.Closed{Result: "not_proven", Because: "the customer needs it"}))
	if r := h.report(); r.ClosedAt == "" || len(r.Changed) != 0 {
		t.Fatalf("just closed: %q %+v", r.ClosedAt, r.Changed)
	}
	mustWrite(t, h.b, h.job, cmd("re", job.ReopenedType, job.Reopened{Because: "it squeals"}))
	mustWrite(t, h.b, h.job, cmd("undo", job.UndoType, job.Undo{Entry: fix.Entry, Reason: "wrong car"}))
	mustWrite(t, h.b, h.job, cmd("n1", job.NoteType, job.Note{Text: "one"}))
	mustWrite(t, h.b, h.job, cmd("n2", job.NoteType, job.Note{Text: "two"}))
	var got []string
	for _, c := range h.report().Changed {
		got = append(got, c.What+" "+c.Entry+" "+c.Reason)
	}
	want := []string{"reopened  it squeals", "taken_back correction wrong car", "entered note "}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

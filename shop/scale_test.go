package shop

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"proveout/job"
	"proveout/store"
	"proveout/store/sqlite"
)

// A shop of many years: the board and the page of a job stay quick. Figures are
// kept in docs/store.md. PROVEOUT_JOBS=100000 asks for the full size; ordinary
// runs take a hundredth of it.
func TestBoardOfAnOldShop(t *testing.T) {
	jobs := 1000
	if n, err := strconv.Atoi(os.Getenv("PROVEOUT_JOBS")); err == nil && n > 0 {
		jobs = n
	}
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Create: true, Reserve: 4096})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	b := benchOver(t, s)
	defer b.Close()
	const open = 60 // a shop has some dozens open at a time (our choice)
	began := time.Now()
	for i := range jobs {
		oldJob(t, b, i, jobs-i <= open)
	}
	t.Logf("%d jobs written in %.1f s", jobs, time.Since(began).Seconds())
	board := measured95(t, 200, func() {
		b.rows.Add(1) // as if something had been written since: nothing is kept
		v, err := b.Board(t.Context())
		if err != nil || len(v.Rows) != min(open, jobs) {
			t.Fatalf("board of %d rows, %v", len(v.Rows), err)
		}
	})
	kept := measured95(t, 200, func() {
		if _, err := b.Board(t.Context()); err != nil {
			t.Fatal(err)
		}
	})
	n := 0
	page := measured95(t, 200, func() {
		n++
		if _, err := b.Job(t.Context(), fmt.Sprintf("old%d", jobs-1-n%open)); err != nil {
			t.Fatal(err)
		}
	})
	write := measured95(t, 100, func() {
		n++
		mustWrite(t, b, fmt.Sprintf("old%d", jobs-1-n%open), cmd(fmt.Sprint("w", n), job.NoteType, job.Note{Text: "x"}))
	})
	t.Logf("p95 of board %v (nothing written since: %v), of a job's page %v, of a write %v", board, kept, page, write)
	if limit := 50 * time.Millisecond; board > 10*limit {
		t.Errorf("p95 of the board is %v, asked is %v on a quiet machine; ten times that is no noise", board, limit)
	}
}

// oldJob writes a job of four entries in one batch, the way an import does.
func oldJob(t testing.TB, b *Bench, i int, open bool) {
	t.Helper()
	m := &maker{b: b, id: fmt.Sprintf("old%d", i), who: "ines", wall: b.o.Clock()}
	add := func(entryType string, payload any) {
		if err := m.add(entryType, payload); err != nil {
			t.Fatal(err)
		}
	}
	add(job.ReceivedType, job.Received{Title: fmt.Sprint(i), Vehicle: job.Form(torvane), Complaint: job.Form(stumbles), Promised: "2026-11-25T17:00:00+01:00", AgreedMinutes: 60})
	add(job.ReadingTypedType, job.ReadingTyped{Item: 1, Form: job.Form(`{"feature":"plug.gap","values":{"1":"1.0 mm","2":"1.0 mm","3":"1.6 mm","4":"1.0 mm"}}`)})
	add(job.NoteType, job.Note{Text: "cold start was fine"})
	if !open {
		add(job.ClosedType, job.Closed{Result: "proven"})
	}
	if err := m.write(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// measured95 is the 95th of a hundred times.
func measured95(t *testing.T, n int, f func()) time.Duration {
	t.Helper()
	times := make([]time.Duration, n)
	for i := range times {
		began := time.Now()
		f()
		times[i] = time.Since(began)
	}
	slices.Sort(times)
	return times[n*95/100]
}

// Reading a job's board row from the store needs no folding: what the store keeps
// of it is enough.
func TestBoardNeedsNoFolding(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	b.answers.stop() // it folds jobs too
	b.cases.drop(id)
	v, err := b.Board(t.Context())
	if err != nil || len(v.Rows) != 1 {
		t.Fatal(v, err)
	}
	b.cases.mu.Lock()
	_, folded := b.cases.cases[id]
	b.cases.mu.Unlock()
	if folded {
		t.Error("the board folded a job")
	}
	rows, err := b.store.Rows(t.Context(), store.RowQuery{Open: true})
	if err != nil || len(rows) != 1 || !json.Valid(rows[0].Body) {
		t.Errorf("rows %v, %v", rows, err)
	}
}

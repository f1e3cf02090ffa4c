package demo

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proveout/examples"
	"proveout/job"
	"proveout/shop"
	"proveout/store"
	"proveout/store/sqlite"
)

// visit is when the shop of these tests is looked at.
var visit = time.Date(2026, 11, 26, 9, 30, 0, 0, time.UTC)

// filled is the demo shop, with ids and clock given.
func filled(t *testing.T) (*shop.Bench, store.Store) {
	t.Helper()
	st, err := sqlite.Open(t.TempDir(), sqlite.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	var n atomic.Int64
	b, err := shop.NewBench(st, shop.BenchOptions{Clock: func() time.Time { return visit }, NewID: func() string { return fmt.Sprintf("job%06d", n.Add(1)) }, Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close(); st.Close() })
	if err := Fill(t.Context(), b, examples.Folders, visit); err != nil {
		t.Fatal(err)
	}
	return b, st
}

// TestDemoShop fills the shop twice at the same moment.
func TestDemoShop(t *testing.T) {
	b, st := filled(t)
	t.Run("jobs in every stage", func(t *testing.T) { inEveryStage(t, b, st) })
	t.Run("same visit, same shop", func(t *testing.T) {
		again, stAgain := filled(t)
		one, two := written(t, b, st), written(t, again, stAgain)
		if len(one) < 60 || len(one) != len(two) {
			t.Fatalf("%d and %d entries and answers", len(one), len(two))
		}
		for i, l := range one {
			if l != two[i] {
				t.Fatalf("%d differs:\n%.3000s\n%.3000s", i, l, two[i])
			}
		}
	})
}

// inEveryStage: whoever opens the demo finds a job at each square of the way,
// one that is dangerous, one put down, one closed; each has somebody, a plate and an
// action, and what its page says follows from captures that are really there.
func inEveryStage(t *testing.T, b *shop.Bench, st store.Store) {
	t.Helper()
	rows, err := st.Rows(t.Context(), store.RowQuery{})
	if err != nil {
		t.Fatal(err)
	}
	stage, next, plates := map[string]string{}, map[string]string{}, map[string]bool{}
	var dangerous, interrupted, closed, disagree, captures int
	for _, r := range rows {
		if r.Job == shop.ShopJob {
			continue
		}
		_, no := b.Answer(t.Context(), r.Job) // it waits for the answer
		v, err := b.Job(t.Context(), r.Job)
		if err != nil {
			t.Fatal(err)
		}
		if evidence := len(v.Items) > 0; evidence != (no == nil) && v.Title != "2418" { // 2418 has odds from its complaint alone
			t.Errorf("%s with %d items: %v", v.Title, len(v.Items), no)
		}
		for _, it := range v.Items {
			if it.SHA256 == "" {
				continue
			}
			captures++
			f, err := st.OpenCapture(it.SHA256)
			if err != nil {
				t.Errorf("%s item %d: %v", v.Title, it.Item, err)
				continue
			}
			f.Close()
		}
		row := v.Board
		if row.Plate == "" || row.Who == "" || row.Vehicle == "" || row.Open && row.Next.ID == "" {
			t.Errorf("%s lacks something: %+v", v.Title, row)
		}
		plates[row.Plate] = true
		stage[v.Title], next[v.Title] = row.Stage, row.Next.ID
		dangerous += count(row.Dangerous != "")
		interrupted += count(row.Interrupted != "")
		closed += count(!row.Open)
		disagree += len(row.Disagree)
	}
	want := map[string]string{
		"2419": "complaint", "2418": "evidence", "2412": "suspects", "2417": "suspects", "2414": "suspects", "2411": "correction", "2408": "proof", "2409": "procedure", "2407": "procedure", "2403": "",
	}
	for title, at := range want {
		if stage[title] != at {
			t.Errorf("%s stands at %q, want %q", title, stage[title], at)
		}
	}
	for title, act := range map[string]string{"2417": "test", "2411": "correct", "2408": "proof", "2409": "start_procedure", "2407": "make_safe", "2414": "resume", "2403": "report"} {
		if next[title] != act {
			t.Errorf("%s: next is %q, want %q", title, next[title], act)
		}
	}
	if len(stage) != len(want) || dangerous != 1 || interrupted != 1 || closed != 1 || disagree == 0 || captures < 10 {
		t.Errorf("%d jobs, %d dangerous, %d put down, %d closed, %d disagreements, %d captures", len(stage), dangerous, interrupted, closed, disagree, captures)
	}
	board, err := b.Board(t.Context())
	if err != nil || len(board.Rows) != len(want)-1 || board.Rows[0].Title != "2407" {
		t.Errorf("the dangerous one is not first of %d: %v", len(board.Rows), err)
	}
	if found, err := st.Verify(t.Context(), store.Verification{}); err != nil || len(found) > 0 {
		t.Errorf("the record is not whole: %v, %v", found, err)
	}
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

// written is all that people wrote, and when, and the answer that comes of it. The
// program's own conclusions are left out: it draws one whenever it finds time between
// two entries.
func written(t *testing.T, b *shop.Bench, st store.Store) (all []string) {
	t.Helper()
	rows, err := st.Rows(t.Context(), store.RowQuery{})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		lines, err := st.Entries(t.Context(), r.Job, 0)
		if err != nil {
			t.Fatal(err)
		}
		title := ""
		for _, l := range lines {
			e := l.Entry
			if e.Type == job.ReceivedType {
				var p job.Received
				if err := json.Unmarshal(e.Payload, &p); err != nil {
					t.Fatal(err)
				}
				title = p.Title
			}
			if e.Type != job.ConclusionType {
				all = append(all, fmt.Sprintf("%s %s %s %s %d %s", title, e.Author, e.Device, e.Wall, e.MonotonicNS, e.Payload))
			}
		}
		if a, err := b.Answer(t.Context(), r.Job); err == nil && a != nil {
			body, err := json.Marshal(a)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, title+" answer "+strings.ReplaceAll(string(body), r.Job, "JOB"))
		}
	}
	slices.Sort(all)
	return all
}

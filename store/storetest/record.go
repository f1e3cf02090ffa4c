package storetest

import (
	"bytes"
	"fmt"
	"sync"
	"testing"
	"time"

	"proveout/job"
	"proveout/store"
)

func entriesStay(t *testing.T, open Open) {
	dir := t.TempDir()
	s := open(t, dir)
	c := &Chain{Job: "j1", Device: "d1"}
	// Odd bytes inside the line: they are stored, not encoded anew.
	odd := bytes.Replace(c.Peek(t, "from_the_future@7", map[string]any{"text": "<&>\u2028 ä"}), []byte(`"payload":`), []byte(`"unknown_field" : [1.50, 1e3] , "payload":  `), 1)
	_, err := s.Append(t.Context(), store.Batch{Job: "j1", Lines: [][]byte{odd}})
	must(t, err)
	must(t, s.Close())
	s = reopen(t, open, dir)
	got, err := s.Entries(t.Context(), "j1", 0)
	must(t, err)
	if len(got) != 1 || !bytes.Equal(got[0].Bytes, odd) || got[0].Order == 0 || got[0].Entry.Type != "from_the_future@7" {
		t.Fatalf("came back as %+v", got)
	}
}

func chainsHold(t *testing.T, open Open) {
	s := with(t, open)
	c := &Chain{Job: "j1", Device: "d1"}
	append1(t, s, c.Note(t, "one"))
	append1(t, s, c.Note(t, "two"))
	for name, broken := range map[string]*Chain{
		"a second first entry": {Job: "j1", Device: "d1"},
		"a gap":                {Job: "j1", Device: "d1", head: job.Head{Sequence: 3, Digest: c.head.Digest}},
		"another past":         {Job: "j1", Device: "d1", head: job.Head{Sequence: 2, Digest: job.Digest([]byte("other"))}},
	} {
		_, err := s.Append(t.Context(), broken.Note(t, name))
		wants(t, err, store.ErrChain)
	}
	// The same id on another device.
	twin := bytes.Replace((&Chain{Job: "j1", Device: "d2"}).Peek(t, job.NoteType, job.Note{Text: "x"}), []byte("j1-d2-1"), []byte("j1-d1-1"), 1)
	_, err := s.Append(t.Context(), store.Batch{Job: "j1", Lines: [][]byte{twin}})
	wants(t, err, store.ErrChain)
	// An entry of another job.
	_, err = s.Append(t.Context(), store.Batch{Job: "j2", Lines: [][]byte{c.Peek(t, job.NoteType, job.Note{Text: "x"})}})
	wants(t, err, store.ErrChain)
	append1(t, s, c.Note(t, "three")) // and none of it stood in the way
	got, err := s.Entries(t.Context(), "j1", 0)
	must(t, err)
	if len(got) != 3 {
		t.Fatalf("%d entries, want 3", len(got))
	}
}

func allOrNothing(t *testing.T, open Open) {
	s := with(t, open)
	c := &Chain{Job: "j1", Device: "d1"}
	good := c.Next(t, job.NoteType, job.Note{Text: "good"})
	_, err := s.Append(t.Context(), store.Batch{
		Job: "j1", Lines: [][]byte{good, []byte("no entry")},
		Row: store.Row{Job: "j1", Open: true, Body: []byte("{}")}, Receipt: &store.Receipt{Key: "k", Device: "d1", N: 1, Body: "b", Answer: []byte("{}")},
	})
	if err == nil {
		t.Fatal("a line that is no entry was taken")
	}
	if got, err := s.Entries(t.Context(), "j1", 0); err != nil || len(got) != 0 {
		t.Fatalf("half a batch stayed: %d entries, %v", len(got), err)
	}
	_, err = s.Row(t.Context(), "j1")
	wants(t, err, store.ErrNotFound)
	_, err = s.Receipt(t.Context(), "k")
	wants(t, err, store.ErrNotFound)
	append1(t, s, store.Batch{Job: "j1", Lines: [][]byte{good}})
}

func jobsDoNotMix(t *testing.T, open Open) {
	s := with(t, open)
	a, b := &Chain{Job: "a", Device: "d"}, &Chain{Job: "b", Device: "d"} // one device, a chain in each job
	first := append1(t, s, a.Note(t, "a1"))
	append1(t, s, b.Note(t, "b1"))
	last := append1(t, s, a.Note(t, "a2"))
	if last <= first {
		t.Errorf("orders run backwards: %d after %d", last, first)
	}
	got, err := s.Entries(t.Context(), "a", first)
	must(t, err)
	if len(got) != 1 || got[0].Order != last {
		t.Errorf("entries of a after %d: %+v", first, got)
	}
	if none, err := s.Entries(t.Context(), "nobody", 0); err != nil || len(none) != 0 {
		t.Errorf("entries of a job that is not there: %v, %v", none, err)
	}
}

func manyWriters(t *testing.T, open Open) {
	s := with(t, open)
	const devices, each = 8, 12
	var wg sync.WaitGroup
	errs := make(chan error, devices*each)
	for d := range devices {
		c := &Chain{Job: fmt.Sprint("j", d%3), Device: fmt.Sprint("d", d)}
		batches := make([]store.Batch, each)
		for i := range batches {
			batches[i] = c.Note(t, fmt.Sprint(i))
		}
		wg.Go(func() {
			for _, b := range batches {
				if _, err := s.Append(t.Context(), b); err != nil {
					errs <- err
				}
				if _, err := s.Entries(t.Context(), b.Job, 0); err != nil {
					errs <- err
				}
			}
		})
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		t.Error(err)
	}
	total := 0
	for j := range 3 {
		lines, err := s.Entries(t.Context(), fmt.Sprint("j", j), 0)
		must(t, err)
		total += len(lines)
		var raw [][]byte
		for _, l := range lines {
			raw = append(raw, l.Bytes)
		}
		for _, p := range job.VerifyRecord(raw, nil) {
			t.Error(p)
		}
	}
	if total != devices*each {
		t.Errorf("%d entries, want %d", total, devices*each)
	}
}

func receipts(t *testing.T, open Open) {
	s := with(t, open)
	c := &Chain{Job: "j1", Device: "d1"}
	b := c.Note(t, "one")
	b.Receipt = &store.Receipt{Key: "k1", Device: "d1", N: 7, Body: "hash", Answer: []byte(`{"a":1}`)}
	order := append1(t, s, b)
	r, err := s.Receipt(t.Context(), "k1")
	must(t, err)
	if r.Order != order || r.N != 7 || r.Body != "hash" || string(r.Answer) != `{"a":1}` || r.Job != "j1" || r.Device != "d1" {
		t.Errorf("receipt %+v", r)
	}
	again := c.Note(t, "two")
	again.Receipt = &store.Receipt{Key: "k1", Device: "d1", N: 8, Body: "other", Answer: []byte("{}")}
	_, err = s.Append(t.Context(), again)
	wants(t, err, store.ErrKeyUsed)
	if n, err := s.LastN(t.Context(), "d1"); err != nil || n != 7 {
		t.Errorf("last n is %d, %v", n, err)
	}
	if n, err := s.LastN(t.Context(), "nobody"); err != nil || n != 0 {
		t.Errorf("last n of an unknown device is %d, %v", n, err)
	}
}

func boardOrder(t *testing.T, open Open) {
	s := with(t, open)
	at := func(h int) time.Time { return time.Date(2026, 11, 25, h, 0, 0, 0, time.UTC) }
	for i, r := range []store.Row{
		{Job: "late", Open: true, Promised: at(17)},
		{Job: "none", Open: true},
		{Job: "early", Open: true, Promised: at(9)},
		{Job: "unsafe", Open: true, Dangerous: true},
		{Job: "shut", Promised: at(8)},
		{Job: "none2", Open: true, Practice: true},
	} {
		r.Body = fmt.Appendf(nil, `{"i":%d}`, i)
		c := &Chain{Job: r.Job, Device: "d"}
		b := c.Note(t, "x")
		b.Row = r
		append1(t, s, b)
	}
	list := func(q store.RowQuery) string {
		rows, err := s.Rows(t.Context(), q)
		must(t, err)
		out := ""
		for _, r := range rows {
			out += r.Job + " "
		}
		return out
	}
	if got := list(store.RowQuery{Open: true}); got != "unsafe early late none2 none " {
		t.Errorf("board: %s", got)
	}
	if got := list(store.RowQuery{Limit: 2}); got != "none2 shut " {
		t.Errorf("all: %s", got)
	}
	r, err := s.Row(t.Context(), "early")
	must(t, err)
	if !r.Promised.Equal(at(9)) || string(r.Body) != `{"i":2}` || !r.Open || r.Order == 0 {
		t.Errorf("row %+v", r)
	}
	// A row can be put without an entry, and keeps its order.
	_, err = s.Append(t.Context(), store.Batch{Job: "early", Row: store.Row{Job: "early", Body: []byte(`{"i":9}`)}})
	must(t, err)
	again, err := s.Row(t.Context(), "early")
	must(t, err)
	if again.Open || again.Order != r.Order || string(again.Body) != `{"i":9}` {
		t.Errorf("row after a change: %+v", again)
	}
}

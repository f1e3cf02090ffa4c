package storetest

import (
	"errors"
	"testing"

	"proveout/store"
)

// Open opens the store in a folder, making it when it is not there.
type Open func(t *testing.T, dir string) store.Store

// Run runs the whole contract.
func Run(t *testing.T, open Open) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Open)
	}{
		{"entries stay byte for byte", entriesStay},
		{"a chain is never broken", chainsHold},
		{"a batch is all or nothing", allOrNothing},
		{"jobs do not mix", jobsDoNotMix},
		{"many writers at once", manyWriters},
		{"commands are answered once", receipts},
		{"the board's order", boardOrder},
		{"captures", captures},
		{"uploads go on where they stopped", uploads},
		{"an entry never cites what is not there", citesHold},
		{"personal data is erased with its key", personal},
		{"documents", documents},
		{"one writer", oneWriter},
		{"backup while in use", backup},
		{"verify finds and names", verify},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, open) })
	}
}

// with opens a store in a fresh folder for one test.
func with(t *testing.T, open Open) store.Store {
	t.Helper()
	return reopen(t, open, t.TempDir())
}

func reopen(t *testing.T, open Open, dir string) store.Store {
	t.Helper()
	s := open(t, dir)
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wants(t *testing.T, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Fatalf("error is %v, want %v", err, want)
	}
}

func append1(t *testing.T, s store.Store, b store.Batch) int64 {
	t.Helper()
	orders, err := s.Append(t.Context(), b)
	must(t, err)
	if len(orders) != len(b.Lines) {
		t.Fatalf("%d orders for %d lines", len(orders), len(b.Lines))
	}
	return orders[len(orders)-1]
}

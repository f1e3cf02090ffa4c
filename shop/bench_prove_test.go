package shop_test

import (
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"proveout/demo"
	"proveout/examples"
	"proveout/job"
	"proveout/shop"
	"proveout/store/sqlite"
)

// The workbench proves a job of its record as a job folder is proven: same drives,
// same figures, names beside the chain filled in, the record's own fingerprint; and
// an episode told of after the repair is the fault come back.
func TestBenchProvesAJob(t *testing.T) {
	s, err := sqlite.Open(t.TempDir(), sqlite.Options{Create: true, Reserve: 4096})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var n atomic.Int64
	now := time.Date(2026, 11, 25, 16, 0, 0, 0, time.UTC)
	b, err := shop.NewBench(s, shop.BenchOptions{Program: "test", Clock: func() time.Time { return now }, NewID: func() string { return fmt.Sprintf("id%d", n.Add(1)) }})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	ctx := t.Context()
	if err := demo.Fill(ctx, b, examples.Folders, now); err != nil {
		t.Fatal(err)
	}
	board, err := b.Board(ctx)
	if err != nil {
		t.Fatal(err)
	}
	id := ""
	for _, r := range board.Rows {
		if r.Title == "2408" {
			id = r.Job
		}
	}
	got, err := b.Report(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	want, err := shop.Prove("../examples/06-proven-on-the-hill", shop.Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	p := got.Proof
	if p.State != want.State || p.By != want.By || p.Before.Seconds != want.Before.Seconds || p.After.Seconds != want.After.Seconds || *p.CouldBeChance != *want.CouldBeChance {
		t.Errorf("%s by %s, %v and %v s; the folder %s by %s, %v and %v s", p.State, p.By, p.Before.Seconds, p.After.Seconds, want.State, want.By, want.Before.Seconds, want.After.Seconds)
	}
	if got.Customer.Name != "Tam Ostrey" || got.Technician == "" || got.Technician == "p-ines" || p.Corrections[0].Who == "p-ines" || len(got.Courses) != 2 {
		t.Errorf("customer %q, technician %q, corrected by %q", got.Customer.Name, got.Technician, p.Corrections[0].Who)
	}
	if len(got.Fingerprint) != 64 {
		t.Errorf("fingerprint %q", got.Fingerprint)
	}
	if again, err := b.Report(ctx, id); err != nil || again.Proof != got.Proof {
		t.Errorf("nothing changed, and it was worked out anew: %v", err)
	}
	if _, err := b.Write(ctx, id, shop.Command{Key: "told", Device: "tablet", Author: "p-ines", Type: job.DriveAddedType, Payload: []byte(`{"minutes":20,"episodes":1,"when":"after"}`), Boot: "b"}); err != nil {
		t.Fatal(err)
	}
	after, err := b.Report(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	if after.Proof.State != "came_back" || after.Fingerprint == got.Fingerprint {
		t.Errorf("%s: %s", after.Proof.State, after.Proof.Headline)
	}
}

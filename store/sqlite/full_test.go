package sqlite

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"proveout/job"
	"proveout/store"
	"proveout/store/files"
	"proveout/store/storetest"
)

// smallDisk mounts a disk of a few megabytes, where that is allowed.
func smallDisk(t *testing.T, mb int) string {
	t.Helper()
	dir := t.TempDir()
	unmount, err := mountSmall(dir, mb)
	if err != nil {
		t.Skipf("no small disk can be mounted here (%v); TestDatabaseFull injects the error instead", err)
	}
	t.Cleanup(func() {
		if err := unmount(); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return dir
}

// On a disk that is truly full ordinary entries are refused, what was acknowledged
// is there, and a stop can still be written. When there is room again, all goes on.
func TestDiskFull(t *testing.T) {
	for _, d := range engines {
		t.Run(d.name, func(t *testing.T) {
			dir := smallDisk(t, 24)
			s, err := Open(dir, Options{Create: true, Reserve: 4 << 20, Files: files.Options{KeepFree: 1}, driver: &d})
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			c := &storetest.Chain{Job: "j1", Device: "d1"}
			acked := 0
			for range 10 {
				mustAppend(t, s, c.Note(t, "before"))
				acked++
			}
			filler := fill(t, dir)
			for {
				b := c.Note(t, strings.Repeat("x", 50_000))
				if _, err = s.Append(t.Context(), b); err != nil {
					c.Back()
					break
				}
				acked++
			}
			if !errors.Is(err, store.ErrFull) {
				t.Fatalf("a full disk says %v", err)
			}
			if _, _, _, err := s.Put(t.Context(), io.LimitReader(rand.NewChaCha8([32]byte{1}), 8<<20)); !errors.Is(err, store.ErrFull) {
				t.Errorf("a capture on a full disk: %v", err)
			}
			stop := store.Batch{Job: "j1", Urgent: true, Lines: [][]byte{c.Next(t, job.InterruptedType, job.Interrupted{State: "piston out", Card: "do not drive"})}}
			mustAppend(t, s, stop)
			acked++
			if err := os.Remove(filler); err != nil {
				t.Fatal(err)
			}
			mustAppend(t, s, c.Note(t, "there is room again"))
			acked++
			lines, err := s.Entries(t.Context(), "j1", 0)
			if err != nil || len(lines) != acked {
				t.Errorf("%d entries acknowledged, %d are there (%v)", acked, len(lines), err)
			}
			if found, err := s.Verify(t.Context(), store.Verification{}); err != nil || len(found) > 0 {
				t.Errorf("%v, %v", found, err)
			}
			if _, err := os.Stat(dir + "/reserve"); err != nil {
				t.Errorf("the reserve was not made anew: %v", err)
			}
		})
	}
}

// fill leaves almost nothing of the disk.
func fill(t *testing.T, dir string) string {
	t.Helper()
	path := dir + "/filler"
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	block := bytes.Repeat([]byte{1}, 64<<10)
	for {
		if _, err := f.Write(block); err != nil {
			break
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func mustAppend(t *testing.T, s *Store, b store.Batch) {
	t.Helper()
	if _, err := s.Append(t.Context(), b); err != nil {
		t.Fatal(err)
	}
}

// The same with the error injected, for machines where no disk can be mounted: the
// database is not allowed to grow.
func TestDatabaseFull(t *testing.T) {
	s := openWith(t, modernc, t.TempDir())
	defer s.Close()
	c := &storetest.Chain{Job: "j1", Device: "d1"}
	mustAppend(t, s, c.Note(t, "before"))
	var pages int
	if err := s.write.QueryRow("PRAGMA page_count").Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if err := s.write.QueryRow("PRAGMA max_page_count = 1").Scan(&pages); err != nil { // not below what there is
		t.Fatal(err)
	}
	_, err := s.Append(t.Context(), c.Note(t, strings.Repeat("x", 100_000)))
	c.Back()
	if !errors.Is(err, store.ErrFull) {
		t.Fatalf("a full database says %v", err)
	}
	if err := s.write.QueryRow("PRAGMA max_page_count = 1000000").Scan(&pages); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, c.Note(t, "after"))
	if lines, err := s.Entries(t.Context(), "j1", 0); err != nil || len(lines) != 2 {
		t.Errorf("%d entries, %v", len(lines), err)
	}
}

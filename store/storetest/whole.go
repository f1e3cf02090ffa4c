package storetest

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/job"
	"proveout/store"
)

func oneWriter(t *testing.T, open Open) {
	dir := t.TempDir()
	s := open(t, dir)
	c := &Chain{Job: "j1", Device: "d1"}
	append1(t, s, c.Note(t, "one"))
	must(t, s.Close())
	s = reopen(t, open, dir) // the lock went with it
	append1(t, s, c.Note(t, "two"))
}

func backup(t *testing.T, open Open) {
	s := with(t, open)
	ctx := t.Context()
	c := &Chain{Job: "j1", Device: "d1"}
	body := []byte("1,2,3\n")
	_, _, _, err := s.Put(ctx, bytes.NewReader(body))
	must(t, err)
	line := c.Next(t, job.CaptureAddedType, job.CaptureAdded{Item: 1, SHA256: sha(body), Name: "a.csv"})
	append1(t, s, store.Batch{Job: "j1", Lines: [][]byte{line}, Cites: []string{sha(body)}})
	must(t, s.PutPersonal(ctx, "c1", "customer", []byte("secret")))

	stop, stopped := make(chan struct{}), make(chan int)
	other := &Chain{Job: "j2", Device: "d2"}
	batches := make([]store.Batch, 300)
	for i := range batches {
		batches[i] = other.Note(t, fmt.Sprint(i))
	}
	go func() { // somebody works on while the copy is made
		n := 0
		defer func() { stopped <- n }()
		for _, b := range batches {
			select {
			case <-stop:
				return
			default:
			}
			if _, err := s.Append(ctx, b); err != nil {
				t.Errorf("append during a backup: %v", err)
				return
			}
			n++
		}
	}()
	bare, keyed := filepath.Join(t.TempDir(), "b1"), filepath.Join(t.TempDir(), "b2")
	must(t, s.Backup(ctx, bare, false))
	must(t, s.Backup(ctx, keyed, true))
	close(stop)
	<-stopped
	if err := s.Backup(ctx, bare, false); err == nil {
		t.Error("a backup was written over another")
	}
	for _, b := range []struct {
		dir      string
		readable bool
	}{{bare, false}, {keyed, true}} {
		copied := reopen(t, open, b.dir)
		if found, err := copied.Verify(ctx, store.Verification{}); err != nil || len(found) > 0 {
			t.Errorf("the copy does not verify: %v, %v", found, err)
		}
		lines, err := copied.Entries(ctx, "j1", 0)
		must(t, err)
		if len(lines) != 1 || !bytes.Equal(lines[0].Bytes, line) {
			t.Errorf("entries of the copy: %v", lines)
		}
		plain, err := copied.Personal(ctx, "c1", "customer")
		if b.readable != (err == nil && string(plain) == "secret") {
			t.Errorf("personal data of a copy with keys %v: %q, %v", b.readable, plain, err)
		}
	}
}

func verify(t *testing.T, open Open) {
	dir := t.TempDir()
	s := reopen(t, open, dir)
	ctx := t.Context()
	c := &Chain{Job: "j1", Device: "d1"}
	body := []byte("1,2,3\n")
	_, _, _, err := s.Put(ctx, bytes.NewReader(body))
	must(t, err)
	line := c.Next(t, job.CaptureAddedType, job.CaptureAdded{Item: 1, SHA256: sha(body), Name: "a.csv"})
	append1(t, s, store.Batch{Job: "j1", Lines: [][]byte{line}, Cites: []string{sha(body)}})
	head := c.head
	append1(t, s, c.Note(t, "two"))
	found := func(heads map[string]job.Head) string {
		t.Helper()
		fs, err := s.Verify(ctx, store.Verification{Heads: heads})
		must(t, err)
		var out []string
		for _, f := range fs {
			out = append(out, f.Where+": "+f.Text)
		}
		return strings.Join(out, "\n")
	}
	if got := found(map[string]job.Head{"j1/d1": head}); got != "" {
		t.Errorf("a sound store, and a head from before its last entry: %s", got)
	}
	if got := found(map[string]job.Head{"j1/d1": {Sequence: 1, Digest: job.Digest([]byte("printed"))}}); !strings.Contains(got, "j1") {
		t.Errorf("a chain that does not pass through the printed head: %q", got)
	}
	if got := found(map[string]job.Head{"j9/d1": head}); !strings.Contains(got, "j9") {
		t.Errorf("a whole job that was taken away: %q", got)
	}
	// One byte of a capture changes on disk.
	path := filepath.Join(dir, "captures", sha(body)[:2], sha(body))
	must(t, os.Chmod(path, 0o644))
	must(t, os.WriteFile(path, []byte("1,2,4\n"), 0o644))
	if got := found(nil); !strings.Contains(got, sha(body)) || !strings.Contains(got, "damaged") {
		t.Errorf("a changed capture: %q", got)
	}
	must(t, os.Remove(path))
	if got := found(nil); !strings.Contains(got, sha(body)) {
		t.Errorf("a capture that is gone: %q", got)
	}
}

package files

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proveout/store"
)

// By the time a capture has its name, its bytes are synced; by the time Finish
// returns, so is the name. In any other order a power cut could leave a name with
// half its bytes, or an entry that cites a name that is gone.
func TestCaptureIsDurableBeforeItIsNamed(t *testing.T) {
	var steps []string
	dir := t.TempDir()
	f, err := Open(dir, Options{saw: func(op, path string) {
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			t.Error(err)
		}
		steps = append(steps, op+" "+rel)
	}})
	if err != nil {
		t.Fatal(err)
	}
	sha, _, _, err := f.Put(t.Context(), strings.NewReader("1,2,3\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("sync incoming/ID|rename captures/%[1]s/%[2]s|syncdir captures/%[1]s|syncdir captures|syncdir incoming", sha[:2], sha)
	got := strings.Join(steps, "|")
	if id, ok := strings.CutPrefix(steps[0], "sync incoming/"); ok {
		got = strings.Replace(got, id, "ID", 1)
	}
	if got != want {
		t.Errorf("steps\n%s\nwant\n%s", got, want)
	}
	info, err := os.Stat(filepath.Join(dir, "captures", sha[:2], sha))
	if err != nil || info.Mode().Perm()&0o222 != 0 {
		t.Errorf("a capture may be written to: %v, %v", info.Mode(), err)
	}
}

func TestSweepTakesOldUploadsOnly(t *testing.T) {
	dir := t.TempDir()
	f, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	old, err := f.Begin(t.Context(), store.Upload{Size: 10})
	if err != nil {
		t.Fatal(err)
	}
	young, err := f.Begin(t.Context(), store.Upload{Size: 10})
	if err != nil {
		t.Fatal(err)
	}
	past := time.Now().Add(-time.Hour)
	for _, n := range []string{old, old + ".upload"} {
		if err := os.Chtimes(filepath.Join(dir, "incoming", n), past, past); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Sweep(time.Now().Add(-time.Minute)); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Resume(t.Context(), old); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the old upload: %v", err)
	}
	if _, err := f.Resume(t.Context(), young); err != nil {
		t.Errorf("the young upload: %v", err)
	}
}

func TestSealedDataIsBoundToItsPlace(t *testing.T) {
	f, err := Open(t.TempDir(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	sealed, err := f.Seal("c1", "customer", []byte("Ines Varga"))
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(sealed, []byte("Ines")) {
		t.Error("sealed data shows the text")
	}
	if _, err := f.Seal("c2", "customer", []byte("x")); err != nil { // so that c2 has a key
		t.Fatal(err)
	}
	var damaged *store.Damaged
	for _, at := range [][2]string{{"c1", "vehicle/v1"}, {"c2", "customer"}} {
		if _, err := f.Unseal(at[0], at[1], sealed); !errors.As(err, &damaged) {
			t.Errorf("passed off as %v: %v", at, err)
		}
	}
	sealed[len(sealed)-1] ^= 1
	if _, err := f.Unseal("c1", "customer", sealed); !errors.As(err, &damaged) {
		t.Errorf("one bit turned: %v", err)
	}
	sealed[len(sealed)-1] ^= 1
	key := f.keyPath("c1")
	if err := f.DestroyKey("c1"); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(key); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the key is still there: %v", err)
	}
	if _, err := f.Unseal("c1", "customer", sealed); !errors.Is(err, store.ErrErased) {
		t.Errorf("after the key is gone: %v", err)
	}
}

// An id is opaque: whatever it holds, its key lies in the folder of keys.
func TestKeysStayInTheirFolder(t *testing.T) {
	dir := t.TempDir()
	f, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"../../x", "a/b", "", strings.Repeat("x", 200), "ä\x00b"} {
		_, err := f.Seal(id, "customer", []byte("x"))
		if refused := id == "" || len(id) > 100; refused != (err != nil) {
			t.Errorf("id %q: %v", id, err)
		}
	}
	names, err := os.ReadDir(filepath.Join(dir, "keys"))
	if err != nil || len(names) != 3 {
		t.Errorf("%d keys, %v", len(names), err)
	}
	if entries, err := os.ReadDir(filepath.Dir(dir)); err != nil || len(entries) != 1 {
		t.Errorf("something was written outside: %v, %v", entries, err)
	}
}

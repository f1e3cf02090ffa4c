package storetest

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/job"
	"proveout/store"
)

func sha(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func captures(t *testing.T, open Open) {
	s := with(t, open)
	body := []byte("time,volts\n0,1\n")
	got, size, known, err := s.Put(t.Context(), bytes.NewReader(body))
	must(t, err)
	if got != sha(body) || size != int64(len(body)) || known {
		t.Errorf("put: %s, %d, %v", got, size, known)
	}
	if _, _, known, err = s.Put(t.Context(), bytes.NewReader(body)); err != nil || !known {
		t.Errorf("the same bytes again: known %v, %v", known, err)
	}
	c, err := s.OpenCapture(got)
	must(t, err)
	defer c.Close()
	back, err := io.ReadAll(c)
	must(t, err)
	if !bytes.Equal(back, body) {
		t.Errorf("came back as %q", back)
	}
	for _, wrong := range []string{"", "x", "../../etc/passwd", sha([]byte("other")), strings.ToUpper(got), got + "/.."} {
		_, err := s.OpenCapture(wrong)
		wants(t, err, store.ErrNotFound)
	}
}

func uploads(t *testing.T, open Open) {
	dir := t.TempDir()
	s := open(t, dir)
	ctx := t.Context()
	body := bytes.Repeat([]byte("0123456789abcdef"), 1000)
	id, err := s.Begin(ctx, store.Upload{Name: "drive.csv", Size: int64(len(body))})
	must(t, err)
	n, err := s.AppendUpload(ctx, id, 0, bytes.NewReader(body[:5000]))
	must(t, err)
	if n != 5000 {
		t.Fatalf("stands at %d", n)
	}
	at, err := s.AppendUpload(ctx, id, 0, bytes.NewReader(body[:5000])) // sent twice
	wants(t, err, store.ErrOffset)
	if at != 5000 {
		t.Errorf("a wrong offset is answered with %d", at)
	}
	_, _, _, err = s.Finish(ctx, id)
	wants(t, err, store.ErrOffset)
	must(t, s.Close()) // the program ends in the middle
	s = reopen(t, open, dir)
	u, err := s.Resume(ctx, id)
	must(t, err)
	if u.Offset != 5000 || u.Size != int64(len(body)) || u.Name != "drive.csv" {
		t.Errorf("after a restart it stands at %+v", u)
	}
	// A connection that breaks leaves what came through.
	broken := io.MultiReader(bytes.NewReader(body[5000:7000]), failing{})
	if n, err = s.AppendUpload(ctx, id, 5000, broken); err == nil || n != 7000 {
		t.Errorf("broken connection: stands at %d, %v", n, err)
	}
	if _, err := s.AppendUpload(ctx, id, 7000, bytes.NewReader(append(body[7000:], 'x'))); err == nil {
		t.Error("more bytes than announced were taken")
	}
	_, err = s.AppendUpload(ctx, id, 7000, bytes.NewReader(body[7000:]))
	must(t, err)
	got, size, known, err := s.Finish(ctx, id)
	must(t, err)
	if got != sha(body) || size != int64(len(body)) || known {
		t.Errorf("finished as %s, %d, %v", got, size, known)
	}
	_, err = s.Resume(ctx, id)
	wants(t, err, store.ErrNotFound)
	for _, wrong := range []string{"", "../x", strings.Repeat("0", 32)} {
		_, err := s.Resume(ctx, wrong)
		wants(t, err, store.ErrNotFound)
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("the connection broke") }

func citesHold(t *testing.T, open Open) {
	s := with(t, open)
	c := &Chain{Job: "j1", Device: "d1"}
	body := []byte("1,2,3\n")
	line := c.Next(t, job.CaptureAddedType, job.CaptureAdded{Item: 1, SHA256: sha(body), Name: "a.csv"})
	b := store.Batch{Job: "j1", Lines: [][]byte{line}, Cites: []string{sha(body)}}
	_, err := s.Append(t.Context(), b)
	wants(t, err, store.ErrNoCapture)
	_, _, _, err = s.Put(t.Context(), bytes.NewReader(body))
	must(t, err)
	append1(t, s, b)
}

func personal(t *testing.T, open Open) {
	dir := t.TempDir()
	s := reopen(t, open, dir)
	ctx := t.Context()
	const secret = "Ines Varga, Quarry Lane 4, QL 204 T"
	must(t, s.PutPersonal(ctx, "c1", "customer", []byte(secret)))
	must(t, s.PutPersonal(ctx, "c1", "vehicle/v1", []byte("plate")))
	must(t, s.PutPersonal(ctx, "c2", "customer", []byte("somebody else")))
	got, err := s.Personal(ctx, "c1", "customer")
	must(t, err)
	if string(got) != secret {
		t.Errorf("came back as %q", got)
	}
	names, err := s.PersonalNames(ctx, "c1")
	must(t, err)
	if strings.Join(names, " ") != "customer vehicle/v1" {
		t.Errorf("names %v", names)
	}
	_, err = s.Personal(ctx, "c1", "nothing")
	wants(t, err, store.ErrNotFound)
	nowhere(t, dir, secret)
	must(t, s.Erase(ctx, "c1"))
	must(t, s.Erase(ctx, "c1")) // once more does no harm
	_, err = s.Personal(ctx, "c1", "customer")
	wants(t, err, store.ErrErased)
	wants(t, s.PutPersonal(ctx, "c1", "customer", []byte("again")), store.ErrErased)
	if got, err = s.Personal(ctx, "c2", "customer"); err != nil || string(got) != "somebody else" {
		t.Errorf("another customer's data: %q, %v", got, err)
	}
}

// nowhere holds that a text stands in no file of the store in clear.
func nowhere(t *testing.T, dir, text string) {
	t.Helper()
	must(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if bytes.Contains(data, []byte(text)) {
			t.Errorf("%s holds personal data in clear", path)
		}
		return err
	}))
}

func documents(t *testing.T, open Open) {
	s := with(t, open)
	ctx := t.Context()
	must(t, s.PutDoc(ctx, "person", "p1", []byte("one")))
	must(t, s.PutDoc(ctx, "person", "p1", []byte("two")))
	must(t, s.PutDoc(ctx, "device", "p1", []byte("other kind")))
	got, err := s.Doc(ctx, "person", "p1")
	must(t, err)
	all, err := s.Docs(ctx, "person")
	must(t, err)
	if string(got) != "two" || len(all) != 1 || string(all["p1"]) != "two" {
		t.Errorf("doc %q, all %q", got, all)
	}
	must(t, s.DropDoc(ctx, "person", "p1"))
	_, err = s.Doc(ctx, "person", "p1")
	wants(t, err, store.ErrNotFound)
}

package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"proveout/job"
	"proveout/shop"
	"proveout/store"
	"proveout/store/files"
	"proveout/store/sqlite"
)

// turnedAway checks a refusal: the page says what happened, what is safe and what to do; the
// document is RFC 9457 with the same; neither tells where anything lies or how the
// program is built.
func turnedAway(t *testing.T, what string, status, code int, body string, res *http.Response) {
	t.Helper()
	if code != status {
		t.Errorf("%s: %d, want %d\n%s", what, code, status, plainText(body))
		return
	}
	for _, inside := range []string{"goroutine ", ".go:", "runtime.", "panic", "/tmp/", "sqlite", "SQL", "ENOSPC", "%!"} {
		if strings.Contains(body, inside) {
			t.Errorf("%s: the answer holds %q\n%s", what, inside, plainText(body))
		}
	}
	if strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
		for _, want := range []string{"What is safe", "What to do"} {
			if !strings.Contains(body, want) {
				t.Errorf("%s: the page does not say %q\n%s", what, want, plainText(body))
			}
		}
		return
	}
	if got := res.Header.Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("%s: answered as %s", what, got)
	}
	var d Document
	if err := json.Unmarshal([]byte(body), &d); err != nil || d.Status != status || !strings.HasPrefix(d.Type, "/problems/") || d.Title == "" || d.Safe == "" || d.Do == "" {
		t.Errorf("%s: %v in %s", what, err, body)
	}
}

// raw sends bytes as a program does.
func (b *browser) raw(method, path string, data []byte, headers ...string) (int, string, *http.Response) {
	b.Helper()
	r, err := http.NewRequestWithContext(b.Context(), method, b.url+apiPrefix+path, bytes.NewReader(data))
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Accept", "application/json")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	return b.send(r)
}

func (b *browser) asked(path string, in any) (int, string, *http.Response) {
	b.Helper()
	data, err := json.Marshal(in)
	if err != nil {
		b.Fatal(err)
	}
	return b.raw("POST", path, data, "Content-Type", "application/json")
}

// upload begins an upload as the page's script does, and gives its id.
func (b *browser) upload(name string, size int) string {
	b.Helper()
	code, body, _ := b.asked("/uploads", map[string]any{"name": name, "size": size})
	var begun struct{ ID string }
	if err := json.Unmarshal([]byte(body), &begun); err != nil || code != 201 {
		b.Fatalf("begin: %d %v %s", code, err, body)
	}
	return begun.ID
}

// An enormous file: by the form, announced to the API, and sent beyond what was
// announced. Nothing of it stays, the job stands as it stood, and the next file goes in.
func TestEnormousFileAtTheDoor(t *testing.T) {
	w := openShopOn(t, openStore(t, sqlite.Options{Files: files.Options{MaxCapture: 1 << 20}}))
	b := w.unlocked()
	id := b.receive("QL-1")
	before := strings.Join(w.entries(id), " ")
	big := bytes.Repeat([]byte("0.001,12.5\n"), 200_000)
	code, page, res := b.postFileOf("/jobs/"+id+"/add", "file", "big.csv", big)
	turnedAway(t, "by the form", http.StatusRequestEntityTooLarge, code, page, res)
	code, page, res = b.asked("/uploads", map[string]any{"name": "big.csv", "size": len(big)})
	turnedAway(t, "announced", http.StatusRequestEntityTooLarge, code, page, res)
	up := b.upload("big.csv", 1000)
	code, page, res = b.raw("PATCH", "/uploads/"+up, big, "Upload-Offset", "0")
	turnedAway(t, "beyond what was announced", http.StatusRequestEntityTooLarge, code, page, res)
	up = b.upload("big.csv", -1)
	code, page, res = b.raw("PATCH", "/uploads/"+up, big, "Upload-Offset", "0")
	turnedAway(t, "without a size", http.StatusRequestEntityTooLarge, code, page, res)
	code, page, res = b.postFileOf("/jobs/"+id+"/photos", "photo", "big.jpg", make([]byte, shop.MostPhoto+2<<20), "place", "front")
	turnedAway(t, "a photograph", http.StatusRequestEntityTooLarge, code, page, res)
	code, page, res = b.postFileOf("/jobs/"+id+"/photos", "photo", "big.jpg", append(photograph(t), make([]byte, shop.MostPhoto)...), "place", "front")
	turnedAway(t, "a photograph a little too large", http.StatusRequestEntityTooLarge, code, page, res)
	code, page, res = b.asked("/uploads", map[string]any{"name": "big.csv"})
	turnedAway(t, "a request of another form", http.StatusUnprocessableEntity, code, page, res)
	if got := strings.Join(w.entries(id), " "); got != before {
		t.Errorf("the record holds %s", got)
	}
	if code, page, _ := b.postFileOf("/jobs/"+id+"/add", "file", "small.csv", big[:110_000]); code != 200 || !strings.Contains(page, `id="keep"`) {
		t.Errorf("the next file: %d\n%s", code, plainText(page))
	}
}

// A bomb: a few kilobytes that unpack to more than may be. It says so, is not kept by the
// page, and where a program keeps it all the same the job still answers.
func TestBombAtTheDoor(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("QL-1")
	var bomb bytes.Buffer
	z := gzip.NewWriter(&bomb)
	row := bytes.Repeat([]byte("0.001,12.5\n"), 100_000)
	for range 40 {
		z.Write(row)
	}
	z.Close()
	if bomb.Len() > 300_000 {
		t.Fatalf("the bomb has %d bytes", bomb.Len())
	}
	code, page, res := b.postFileOf("/jobs/"+id+"/add", "file", "bomb.csv.gz", bomb.Bytes())
	if code != 200 || !strings.Contains(page, "could not be read") || !strings.Contains(page, "unpack to more than") || strings.Contains(page, `id="keep"`) {
		t.Errorf("sent: %d\n%s", code, plainText(page))
	}
	sha := res.Request.URL.Query().Get("sha")
	code, page, res = b.post("/jobs/"+id+"/captures", "sha", sha, "name", "bomb.csv.gz", "key", "k")
	turnedAway(t, "kept by the form", http.StatusUnprocessableEntity, code, page, res)
	code, page, res = b.asked("/captures/"+sha+"/preview", map[string]any{"name": "bomb.csv.gz"})
	if code >= 500 || code == 200 {
		t.Errorf("looked at by a program: %d\n%s", code, page)
	} else {
		turnedAway(t, "looked at by a program", code, code, page, res)
	}
	c := map[string]any{"key": "bomb", "type": job.CaptureAddedType, "payload": map[string]any{"sha256": sha, "name": "bomb.csv.gz", "size": bomb.Len(), "form": map[string]any{}}}
	if code, page, _ := b.asked("/jobs/"+id+"/entries", c); code != 201 {
		t.Fatalf("kept by a program: %d\n%s", code, page)
	}
	a := w.answer(id)
	if len(a.LeftOut) == 0 || !strings.Contains(fmt.Sprint(a.LeftOut), "unpack") {
		t.Errorf("left out: %+v", a.LeftOut)
	}
	for _, path := range []string{"/jobs/" + id, "/jobs/" + id + "/items/1", "/jobs/" + id + "/report"} {
		if code, page, _ := b.get(path); code != 200 {
			t.Errorf("%s: %d\n%s", path, code, plainText(page))
		}
	}
}

// A name never leads anywhere: not when it is sent, nor when the job is written out as a
// folder, where it becomes the name of a file.
func TestNamesAtTheDoor(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("QL-1")
	names := []string{"../../../../etc/passwd", `..\..\boot.csv`, "/etc/cron.d/x.csv", "a\x00b.csv", "line\nbreak.csv", ".", "..", "con.csv", "\u202egnp.csv", strings.Repeat("n", 250) + ".csv", `"><script>alert(1)</script>.csv`, "=cmd|' /C calc'!A0.csv", ".hidden.csv", "job.yaml", "record/chain.jsonl"}
	for i, name := range names {
		data := fmt.Appendf(nil, "time (s),volts (V)\n0,%d\n0.001,2\n0.002,3\n", i)
		up := b.upload(cmpOr(name), len(data))
		if code, body, _ := b.raw("PATCH", "/uploads/"+up, data, "Upload-Offset", "0"); code != 204 && code != 200 {
			t.Fatalf("%q: %d %s", name, code, body)
		}
		code, body, _ := b.asked("/uploads/"+up+"/finish", map[string]any{})
		var done shop.Uploaded
		if err := json.Unmarshal([]byte(body), &done); err != nil || code != 200 {
			t.Fatalf("%q: %d %v %s", name, code, err, body)
		}
		code, page, _ := b.postValues("/jobs/"+id+"/captures", url.Values{"sha": {done.SHA256}, "name": {name}, "key": {fmt.Sprint("k", i)}})
		if code != 200 || strings.Contains(page, "<script>alert") {
			t.Errorf("%q: kept: %d\n%s", name, code, plainText(page))
		}
	}
	dir := t.TempDir()
	out := filepath.Join(dir, "deep", "down", "out")
	if err := w.bench.Export(t.Context(), id, out, shop.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	captures := 0
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		rel, _ := filepath.Rel(out, path)
		if err == nil && !d.IsDir() && strings.HasPrefix(rel, "..") {
			t.Errorf("a file left the folder: %s", rel)
		}
		if err == nil && filepath.Dir(rel) == "captures" {
			captures++
		}
		return err
	})
	if err != nil || captures != len(names) {
		t.Errorf("%d captures are in the folder, %d were kept; %v", captures, len(names), err)
	}
	if in, err := openShop(t).bench.Import(t.Context(), out, "p-ines"); err != nil {
		t.Errorf("taken in again: %v, %+v", err, in)
	}
}

// cmpOr is a name as a program may announce it: an empty one is refused by the API.
func cmpOr(name string) string {
	if name == "" {
		return "x"
	}
	return name
}

// fullDisk is a store whose disk takes nothing more while err is set, except what comes
// out of the reserve.
type fullDisk struct {
	store.Store
	err atomic.Pointer[error]
}

func (d *fullDisk) now() error {
	if e := d.err.Load(); e != nil {
		return *e
	}
	return nil
}

func (d *fullDisk) Append(ctx context.Context, b store.Batch) ([]int64, error) {
	if err := d.now(); err != nil && !b.Urgent {
		return nil, err
	}
	return d.Store.Append(ctx, b)
}

func (d *fullDisk) Begin(ctx context.Context, u store.Upload) (string, error) {
	if err := d.now(); err != nil {
		return "", err
	}
	return d.Store.Begin(ctx, u)
}

// AppendUpload runs out of room after a thousand bytes.
func (d *fullDisk) AppendUpload(ctx context.Context, id string, offset int64, r io.Reader) (int64, error) {
	err := d.now()
	if err == nil {
		return d.Store.AppendUpload(ctx, id, offset, r)
	}
	at, more := d.Store.AppendUpload(ctx, id, offset, io.LimitReader(r, 1000))
	return at, errors.Join(err, more)
}

func (d *fullDisk) PutPersonal(ctx context.Context, customer, name string, plain []byte) error {
	if err := d.now(); err != nil {
		return err
	}
	return d.Store.PutPersonal(ctx, customer, name, plain)
}

func (d *fullDisk) PutDoc(ctx context.Context, kind, id string, body []byte) error {
	if err := d.now(); err != nil {
		return err
	}
	return d.Store.PutDoc(ctx, kind, id, body)
}

// A full disk: every door says so, what was acknowledged is there, what was refused is
// not, stop and interrupted are written all the same, an upload goes on where it stood,
// and the same tap after room was made is written once. A disk that fails otherwise says
// nothing of what lies inside.
func TestFullDiskAtTheDoor(t *testing.T) {
	d := &fullDisk{Store: openStore(t, sqlite.Options{})}
	w := openShopOn(t, d)
	b := w.unlocked()
	id := b.receive("QL-1")
	note := func(text string) (int, string, *http.Response) {
		return b.post("/jobs/"+id+"/entries", "type", "note", "text", text, "rev", w.rev(id))
	}
	if code, _, _ := note("before it was full"); code != 200 {
		t.Fatalf("%d", code)
	}
	data := bytes.Repeat([]byte("0.001,12.5\n"), 1000)
	up := b.upload("log.csv", len(data))
	for name, c := range map[string]struct {
		err    error
		status int
	}{
		"full":   {store.ErrFull, http.StatusInsufficientStorage},
		"broken": {errors.New("disk I/O error: /tmp/proveout/record.sqlite, page 4711"), http.StatusInternalServerError},
	} {
		before := strings.Join(w.entries(id), " ")
		d.err.Store(&c.err)
		code, page, res := note("lost " + name)
		turnedAway(t, name+": a note", c.status, code, page, res)
		code, page, res = b.asked("/jobs/"+id+"/entries", map[string]any{"key": "again-" + name, "type": job.NoteType, "payload": map[string]any{"text": "once " + name}})
		turnedAway(t, name+": a command", c.status, code, page, res)
		code, page, res = b.postFileOf("/jobs/"+id+"/add", "file", "snap.csv", data)
		turnedAway(t, name+": a file by the form", c.status, code, page, res)
		code, page, res = b.asked("/uploads", map[string]any{"name": "snap.csv", "size": 100})
		turnedAway(t, name+": a file by the API", c.status, code, page, res)
		code, page, res = b.postFileOf("/jobs/"+id+"/photos", "photo", "a.jpg", photograph(t), "place", "front", "key", name)
		turnedAway(t, name+": a photograph", c.status, code, page, res)
		code, page, res = b.post("/jobs", "key", "n"+name, "title", "QL-9", "said", "It stumbles.", "make", "Torvane", "plate", "QL 1 T")
		turnedAway(t, name+": a new job", c.status, code, page, res)
		code, page, res = b.post("/settings/people", "name", "New Hand", "pin", "9999", "key", "p"+name)
		if code < 400 {
			t.Errorf("%s: a person is kept: %d", name, code)
		} else {
			turnedAway(t, name+": a person", c.status, code, page, res)
		}
		if got := strings.Join(w.entries(id), " "); got != before {
			t.Errorf("%s: the record holds %s", name, got)
		}
		if code, page, _ := b.get("/jobs/" + id); code != 200 || !strings.Contains(page, "before it was full") || strings.Contains(page, "lost "+name) {
			t.Errorf("%s: the job's page: %d\n%s", name, code, plainText(page))
		}
		if code, page, _ := b.post("/jobs/"+id+"/entries", "type", "interrupted", "rev", w.rev(id)); code != 200 {
			t.Errorf("%s: interrupted: %d\n%s", name, code, plainText(page))
		}
		d.err.Store(nil)
		for range 2 { // an outbox sends it again until it hears that it is there
			if code, page, _ := b.asked("/jobs/"+id+"/entries", map[string]any{"key": "again-" + name, "type": job.NoteType, "payload": map[string]any{"text": "once " + name}}); code > 201 {
				t.Errorf("%s: the same command after room was made: %d\n%s", name, code, page)
			}
		}
		if got := strings.Join(w.entries(id), " "); got != before+" interrupted note" {
			t.Errorf("%s: the record holds %s, before %s", name, got, before)
		}
	}
	// An upload that was under way: what arrived is kept, and it goes on from there.
	d.err.Store(&store.ErrFull)
	code, page, res := b.raw("PATCH", "/uploads/"+up, data, "Upload-Offset", "0")
	turnedAway(t, "a piece of a file", http.StatusInsufficientStorage, code, page, res)
	d.err.Store(nil)
	_, _, res = b.raw("HEAD", "/uploads/"+up, nil)
	if got := res.Header.Get("Upload-Offset"); got != "1000" {
		t.Fatalf("the upload stands at %q", got)
	}
	if code, page, _ := b.raw("PATCH", "/uploads/"+up, data[1000:], "Upload-Offset", "1000"); code >= 300 {
		t.Errorf("goes on: %d %s", code, page)
	}
	code, page, _ = b.asked("/uploads/"+up+"/finish", map[string]any{})
	var done shop.Uploaded
	if err := json.Unmarshal([]byte(page), &done); err != nil || code != 200 {
		t.Fatalf("sealed: %d %v %s", code, err, page)
	}
	if code, got, _ := b.raw("GET", "/captures/"+done.SHA256, nil); code != 200 || got != string(data) {
		t.Errorf("the file that went on is not the file: %d, %d bytes", code, len(got))
	}
}

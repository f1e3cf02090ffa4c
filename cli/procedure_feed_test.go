package cli

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// TestPostedSamples: the token of the run is needed, pages of other sites and large
// bodies are turned away, and what is posted arrives.
func TestPostedSamples(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	rows := make(chan row, 10)
	srv := httptest.NewServer(sampleHandler(ctx, "secret", rows))
	defer srv.Close()
	post := func(method, token, origin, body string) int {
		r, err := http.NewRequest(method, srv.URL, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+token)
		if origin != "" {
			r.Header.Set("Origin", origin)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	for _, tc := range []struct {
		name, method, token, origin, body string
		want                              int
	}{
		{"good", "POST", "secret", "", "13.4\n{\"v\":13.3}\n", 200},
		{"wrong token", "POST", "guess", "", "13.4\n", 401},
		{"no token", "POST", "", "", "13.4\n", 401},
		{"another site", "POST", "secret", "https://example.org", "13.4\n", 403},
		{"get", "GET", "secret", "", "", 405},
		{"too long", "POST", "secret", "", strings.Repeat("1\n", maxPost), 413},
	} {
		if got := post(tc.method, tc.token, tc.origin, tc.body); got != tc.want {
			t.Errorf("%s: %d, want %d", tc.name, got, tc.want)
		}
	}
	if len(rows) != 2 {
		t.Fatalf("%d samples arrived, want 2", len(rows))
	}
	if r := <-rows; r.v != 13.4 {
		t.Errorf("first sample %g", r.v)
	}
}

// TestGrowingFile: what was in the file before is old; what is appended arrives, also
// when a line comes in two pieces.
func TestGrowingFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "meter.csv")
	if err := os.WriteFile(path, []byte("11.0\n11.1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	rows := make(chan row, 10)
	if err := tailFile(ctx, path, rows); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, piece := range []string{"13.", "4\n13.3\n"} {
		if _, err := f.WriteString(piece); err != nil {
			t.Fatal(err)
		}
		time.Sleep(60 * time.Millisecond)
	}
	for _, want := range []float64{13.4, 13.3} {
		select {
		case r := <-rows:
			if r.v != want {
				t.Errorf("sample %g, want %g", r.v, want)
			}
		case <-time.After(5 * time.Second):
			t.Fatal("the sample never arrived")
		}
	}
}

// TestFeedIsSealed: what the feed sent is kept beside the record, and the fingerprint
// in the sentence is that of the file.
func TestFeedIsSealed(t *testing.T) {
	job := t.TempDir()
	if err := os.Mkdir(filepath.Join(job, "record"), 0o755); err != nil {
		t.Fatal(err)
	}
	var said []string
	for n := 0; n < 2; n++ {
		c, err := openCapture(job, "record/run.jsonl")
		if err != nil {
			t.Fatal(err)
		}
		for i := range 5 {
			if err := c.add(row{int64(i), 13.4}); err != nil {
				t.Fatal(err)
			}
		}
		text, err := c.seal()
		if err != nil {
			t.Fatal(err)
		}
		said = append(said, text)
	}
	if said[0] == said[1] {
		t.Error("the second session wrote over the first capture")
	}
	data, err := os.ReadFile(filepath.Join(job, "record", "run.jsonl.feed-001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if sum := sha256.Sum256(data); !strings.Contains(said[0], hex.EncodeToString(sum[:])) || !strings.Contains(said[0], "5 samples") {
		t.Errorf("%q does not carry the fingerprint %x", said[0], sum)
	}
}

// TestRecordOnDisk: a torn last line is set beside the record, not lost, and a record
// another program wrote to is not written on.
func TestRecordOnDisk(t *testing.T) {
	job := t.TempDir()
	m, _, err := procedure.LoadShipped("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	head := runner.Header{Format: runner.RecordFormat, Procedure: m.File.ID, Version: 1, SHA256: "x"}
	f, data, name, _, err := openRecord(job, m.File.ID, false)
	if err != nil {
		t.Fatal(err)
	}
	s, err := runner.Open(m, head, data, f)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Put(runner.Entry{Kind: runner.Begin, Step: "runs"}); err != nil {
		t.Fatal(err)
	}
	f.f.WriteString("cut off her")
	if err := s.Put(runner.Entry{Kind: runner.Note, Text: "x"}); err == nil || !strings.Contains(err.Error(), "another program") {
		t.Errorf("written on though another program wrote: %v", err)
	}
	f.f.Close()
	f, data, again, torn, err := openRecord(job, m.File.ID, false)
	if err != nil {
		t.Fatal(err)
	}
	defer f.f.Close()
	if again != name || torn != len("cut off her") {
		t.Errorf("opened %s with %d bytes torn, want %s and %d", again, torn, name, len("cut off her"))
	}
	s, err = runner.Open(m, head, data, f)
	if err != nil {
		t.Fatal(err)
	}
	if s.Run.Next() != 2 {
		t.Errorf("next entry is %d, want 2", s.Run.Next())
	}
	kept, err := filepath.Glob(filepath.Join(job, "record", "*.torn-at-*"))
	if err != nil || len(kept) != 1 {
		t.Errorf("torn line kept in %v (%v)", kept, err)
	}
	if err := s.Put(runner.Entry{Kind: runner.Note, Text: "on"}); err != nil {
		t.Errorf("cannot go on: %v", err)
	}
}

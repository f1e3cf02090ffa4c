package cli

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// TestPostedSamples: the token must be the one for this job, device and measuring
// point; pages of other sites, other hosts and large bodies are turned away; what is
// posted arrives.
func TestPostedSamples(t *testing.T) {
	m, _, err := procedure.LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	rows := make(chan row, 10)
	p, err := newPoster(t.Context(), m, "j1", rows)
	if err != nil {
		t.Fatal(err)
	}
	good := p.token("j1", "meter", "supply", "battery")
	path := p.address("meter", 0)
	swap := func(old, new string) string { return strings.Replace(path, old, new, 1) }
	for _, tc := range []struct {
		name, method, path, token, host, origin, body string
		want                                          int
	}{
		{"good", "POST", path, good, "", "", "13.4\n{\"v\":13.3}\n", 200},
		{"wrong token", "POST", path, "guess", "", "", "13.4\n", 401},
		{"no token", "POST", path, "", "", "", "13.4\n", 401},
		{"another job with this token", "POST", swap("j1", "j2"), good, "", "", "13.4\n", 401},
		{"another device with this token", "POST", swap("meter", "phone"), good, "", "", "13.4\n", 401},
		{"another point with this token", "POST", swap("battery", "motor"), good, "", "", "13.4\n", 401},
		{"another job with its own token", "POST", swap("j1", "j2"), p.token("j2", "meter", "supply", "battery"), "", "", "13.4\n", 404},
		{"another point with its own token", "POST", swap("battery", "motor"), p.token("j1", "meter", "supply", "motor"), "", "", "13.4\n", 404},
		{"no such watch", "POST", swap("supply", "heat"), p.token("j1", "meter", "heat", "battery"), "", "", "13.4\n", 404},
		{"another site", "POST", path, good, "", "https://example.org", "13.4\n", 403},
		{"another host name", "POST", path, good, "example.org", "", "13.4\n", 403},
		{"get", "GET", path, good, "", "", "", 405},
		{"too long", "POST", path, good, "", "", strings.Repeat("1\n", maxPost), 413},
	} {
		r := httptest.NewRequest(tc.method, "http://127.0.0.1:1"+tc.path, strings.NewReader(tc.body))
		r.Header.Set("Authorization", "Bearer "+tc.token)
		if tc.host != "" {
			r.Host = tc.host
		}
		if tc.origin != "" {
			r.Header.Set("Origin", tc.origin)
		}
		w := httptest.NewRecorder()
		p.ServeHTTP(w, r)
		if w.Code != tc.want {
			t.Errorf("%s: %d, want %d (%s)", tc.name, w.Code, tc.want, w.Body)
		}
	}
	if len(rows) != 2 {
		t.Fatalf("%d samples arrived, want 2", len(rows))
	}
	if r := <-rows; r.v != 13.4 {
		t.Errorf("first sample %g", r.v)
	}
	if _, err := listenSamples(t.Context(), "0.0.0.0:0", p); err == nil {
		t.Error("listens to other machines")
	}
}

// arrives waits for samples of these values, in order.
func arrives(t *testing.T, rows <-chan row, want ...float64) {
	t.Helper()
	for _, v := range want {
		select {
		case r := <-rows:
			if r.v != v {
				t.Errorf("sample %g, want %g", r.v, v)
			}
		case <-time.After(5 * time.Second):
			t.Fatalf("the sample %g never arrived", v)
		}
	}
}

func appendTo(t *testing.T, path string, pieces ...string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, s := range pieces {
		if _, err := f.WriteString(s); err != nil {
			t.Fatal(err)
		}
		time.Sleep(60 * time.Millisecond)
	}
}

// TestGrowingFileOpenedLate: the heading tells the columns though it is long past, a
// line half written when the run begins is read whole, and a file that its writer
// begins anew is read anew.
func TestGrowingFileOpenedLate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "meter.csv")
	if err := os.WriteFile(path, []byte("voltage;time\n11,0;1,0\n1"), 0o644); err != nil {
		t.Fatal(err)
	}
	rows := make(chan row, 10)
	if err := tailFile(t.Context(), path, 0, rows); err != nil {
		t.Fatal(err)
	}
	appendTo(t, path, "3,4;2,0\n", "13,3;2,2\n")
	arrives(t, rows, 13.4, 13.3)
	if err := os.WriteFile(path, []byte("time,voltage\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	time.Sleep(120 * time.Millisecond)
	appendTo(t, path, "0.0,12.9\n")
	arrives(t, rows, 12.9)
}

// TestFeedsOnTheCommandLine: which watch a feed is for, and what is refused.
func TestFeedsOnTheCommandLine(t *testing.T) {
	m, _, err := procedure.LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		feeds []string
		want  string
	}{
		{[]string{"meter.csv"}, ""}, {[]string{"supply=-"}, ""},
		{[]string{"heat=a.csv"}, "no such watch"}, {[]string{"supply="}, "names no file"}, {[]string{"a.csv", "supply=b.csv"}, "has a feed already"},
	} {
		got, err := feedSources(m, tc.feeds)
		if tc.want == "" && (err != nil || len(got) != 1 || got[0].watch != 0) || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)) {
			t.Errorf("%q: %v, %v; want %q", tc.feeds, got, err, tc.want)
		}
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
	if err := tailFile(ctx, path, 0, rows); err != nil {
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
		c, err := openCapture(job, "record/run.jsonl", "supply")
		if err != nil {
			t.Fatal(err)
		}
		for i := range 5 {
			if err := c.add(row{0, int64(i), 13.4}); err != nil {
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
	data, err := os.ReadFile(filepath.Join(job, "record", "run.jsonl.supply-001.csv"))
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

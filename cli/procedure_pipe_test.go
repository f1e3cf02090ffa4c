//go:build unix

package cli

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// TestNamedPipe: a pipe that nobody writes to yet does not hold up the run, and a
// second writer may come after the first has gone.
func TestNamedPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "meter")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Skip("no named pipes here: ", err)
	}
	rows := make(chan row, 10)
	if err := tailFile(t.Context(), path, 0, rows); err != nil {
		t.Fatal(err)
	}
	for _, v := range []float64{13.4, 13.2} {
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(f, "%g\n", v)
		f.Close()
		arrives(t, rows, v)
	}
}

// screen collects what a run prints while it prints it.
type screen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *screen) has(text string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Contains(s.b.String(), text)
}

// TestSamplesOnStdin: samples come on standard input and answers from a file; a
// stale feed says "not watched" and the program goes on.
func TestSamplesOnStdin(t *testing.T) {
	m, _, err := procedure.LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	job := t.TempDir()
	answers := filepath.Join(job, "answers")
	if err := syscall.Mkfifo(answers, 0o600); err != nil {
		t.Skip("no named pipes here: ", err)
	}
	in, samples := io.Pipe()
	var out screen
	done := make(chan error, 1)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	o := runOptions{who: "Ruben", device: "bench", feeds: []string{"-"}, answers: answers, clock: runClock()}
	go func() { done <- runProcedure(ctx, m, "x", job, o, in, &out) }()
	typing, err := os.OpenFile(answers, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	until := func(text string, feed bool) {
		t.Helper()
		for end := time.Now().Add(10 * time.Second); !out.has(text); time.Sleep(100 * time.Millisecond) {
			if feed {
				fmt.Fprintln(samples, "13.4")
			}
			if time.Now().After(end) {
				t.Fatalf("the screen never said %q:\n%s", text, out.b.String())
			}
		}
	}
	until("HOLDING 13.40 V", true)
	fmt.Fprintln(typing, "1") // the first question
	until("1 OF", true)
	out.mu.Lock()
	out.b.Reset()
	out.mu.Unlock()
	until("NOT WATCHED", false) // the feed has gone silent
	typing.Close()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	kept, err := filepath.Glob(filepath.Join(job, "record", "*.supply-001.csv"))
	if err != nil || len(kept) != 1 {
		t.Fatalf("the feed is kept in %v (%v)", kept, err)
	}
	data, err := os.ReadFile(filepath.Join(job, "record", "procedure-epb_caliper_pads-001.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	_, entries, _, _, err := runner.Read(data)
	if err != nil || !strings.Contains(entries[len(entries)-1].Text, "feed sealed") {
		t.Errorf("the record does not end with the sealed feed: %v %+v", err, entries[len(entries)-1])
	}
}

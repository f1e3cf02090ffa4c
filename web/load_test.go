package web

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

// TestFiftyDevices is the load the workbench is made for: fifty devices on one shop,
// each with an open stream, looking at the board and at jobs while some write. It
// prints the figures of docs/workbench.md and runs when PROVEOUT_LOAD is set; its
// limits hold on an idle machine of two cores.
func TestFiftyDevices(t *testing.T) {
	if os.Getenv("PROVEOUT_LOAD") == "" {
		t.Skip("NOT RUN: set PROVEOUT_LOAD=1; needs an idle machine")
	}
	const devices, rounds = 50, 20
	d := openDemo(t)
	w := &workshop{T: t, bench: d.bench, url: d.url}
	ids := sortedKeys(d.jobs)
	var mu sync.Mutex
	var pages, events []time.Duration
	sent := map[string]time.Time{}
	var wg, streams sync.WaitGroup
	target := d.jobs["2417"]
	ready := make(chan struct{}, devices)
	for range devices {
		streams.Go(func() {
			r, err := http.NewRequestWithContext(t.Context(), "GET", d.url+apiPrefix+"/jobs/"+target+"/events", nil)
			if err != nil {
				t.Error(err)
				return
			}
			res, err := http.DefaultClient.Do(r)
			if err != nil {
				t.Error(err)
				return
			}
			defer res.Body.Close()
			ready <- struct{}{}
			for in := bufio.NewScanner(res.Body); in.Scan(); {
				if !strings.HasPrefix(in.Text(), "data: ") || !strings.Contains(in.Text(), `"note@1"`) {
					continue
				}
				now := time.Now()
				mu.Lock()
				if at, ok := sent["note"]; ok {
					events = append(events, now.Sub(at))
				}
				mu.Unlock()
			}
		})
	}
	for range devices {
		<-ready
	}
	for n := range devices {
		wg.Go(func() {
			b := w.browser()
			for i := range rounds {
				path := "/"
				if i%2 == 1 {
					path = "/jobs/" + d.jobs[ids[(n+i)%len(ids)]]
				}
				began := time.Now()
				code, _, _ := b.get(path)
				took := time.Since(began)
				if code != 200 {
					t.Errorf("%s: %d", path, code)
				}
				mu.Lock()
				pages = append(pages, took)
				mu.Unlock()
				time.Sleep(time.Duration(200+10*n) * time.Millisecond) // a person looks at it
			}
		})
	}
	for i := range 15 {
		time.Sleep(400 * time.Millisecond)
		mu.Lock()
		sent["note"] = time.Now()
		mu.Unlock()
		if _, err := d.bench.Write(t.Context(), target, noteCommand(fmt.Sprint("load", i))); err != nil {
			t.Fatal(err)
		}
	}
	wg.Wait()
	p95 := func(ds []time.Duration) time.Duration {
		slices.Sort(ds)
		return ds[len(ds)*95/100]
	}
	mu.Lock()
	defer mu.Unlock()
	t.Logf("%d pages: p50 %v, p95 %v; %d events: p50 %v, p95 %v", len(pages), pages[len(pages)/2].Round(100*time.Microsecond), p95(pages).Round(100*time.Microsecond), len(events), events[len(events)/2].Round(100*time.Microsecond), p95(events).Round(100*time.Microsecond))
	if p95(pages) > 100*time.Millisecond || p95(events) > 300*time.Millisecond {
		t.Errorf("over the limits: pages 100 ms, events 300 ms")
	}
}

func noteCommand(key string) shop.Command {
	return shop.Command{Key: key, Device: "load-device", Author: "p-ines", Type: job.NoteType, Payload: []byte(`{"text":"under load"}`), Attested: "pin"}
}

// TestJobPageOnTheWire: the page with its styles and scripts is under 150 kB packed.
func TestJobPageOnTheWire(t *testing.T) {
	s := server(t)
	var b bytes.Buffer
	f := frame{sheet: sheet{Name: "job", Styles: []string{"job.css"}, Scripts: []string{"live.js"}, View: filledJob(t)}, Lang: "en", Here: "/"}
	gz := gzip.NewWriter(&b)
	if err := s.pages[choice{"en", text.SI}]["job"].ExecuteTemplate(gz, "layout", f); err != nil {
		t.Fatal(err)
	}
	if err := gz.Close(); err != nil {
		t.Fatal(err)
	}
	size := b.Len()
	for _, name := range []string{"tokens.css", "sheet.css", "job.css", "ui.js", "offline.js", "outbox.js", "live.js"} {
		size += len(s.assets[name].packed)
	}
	t.Logf("job page %d bytes, with styles and scripts %d bytes", b.Len(), size)
	if size > 150_000 {
		t.Errorf("%d bytes on the wire, the limit is 150 kB", size)
	}
}

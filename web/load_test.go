package web

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proveout/demo"
	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

// TestFiftyDevices is the load the workbench is made for: fifty devices on one shop,
// each with an open stream, looking at the board and at jobs while some write. It
// prints the figures of docs/workbench.md and runs when PROVEOUT_LOAD is set; an event
// counts from the tap to each screen. Its limits hold on an idle machine of two cores.
func TestFiftyDevices(t *testing.T) {
	if os.Getenv("PROVEOUT_LOAD") == "" {
		t.Skip("NOT RUN: set PROVEOUT_LOAD=1; needs an idle machine")
	}
	const devices, rounds, notes = 50, 20, 15
	d := openDemo(t)
	w := &workshop{T: t, bench: d.bench, url: d.url}
	ids := sortedKeys(d.jobs)
	var mu sync.Mutex
	var pages []time.Duration
	arrived := map[string][]time.Time{} // by job and revision
	sent := map[string]time.Time{}
	var wg, streams sync.WaitGroup
	ready := make(chan struct{}, devices)
	for range devices {
		streams.Go(func() {
			r, err := http.NewRequestWithContext(t.Context(), "GET", d.url+apiPrefix+"/events", nil)
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
				data, ok := strings.CutPrefix(in.Text(), "data: ")
				var c shop.Change
				if !ok || json.Unmarshal([]byte(data), &c) != nil || c.Type != job.NoteType {
					continue
				}
				now := time.Now()
				mu.Lock()
				arrived[fmt.Sprint(c.Job, c.Rev)] = append(arrived[fmt.Sprint(c.Job, c.Rev)], now)
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
	// Every 400 ms somebody writes to one of five jobs, by HTTP like everybody else.
	writer := w.browser()
	for i := range notes {
		time.Sleep(400 * time.Millisecond)
		to := d.jobs[[]string{"2417", "2411", "2414", "2408", "2419"}[i%5]]
		began := time.Now()
		var got shop.Receipt
		if code, _ := writer.call("POST", "/jobs/"+to+"/entries", note(fmt.Sprint("load", i), "under load"), &got, "X-Person", "p-ines", "X-Pin", demo.PIN, "X-Device", "load-0001"); code != 201 {
			t.Fatalf("note %d: %d", i, code)
		}
		mu.Lock()
		sent[fmt.Sprint(to, got.Sequence)] = began
		mu.Unlock()
	}
	wg.Wait()
	var events []time.Duration
	mu.Lock()
	for key, began := range sent {
		for _, at := range arrived[key] {
			events = append(events, at.Sub(began))
		}
	}
	mu.Unlock()
	if len(events) != notes*devices {
		t.Errorf("%d of %d events reached the screens", len(events), notes*devices)
	}
	p95 := func(ds []time.Duration) time.Duration {
		slices.Sort(ds)
		return ds[len(ds)*95/100]
	}
	t.Logf("%d pages: p50 %v, p95 %v; %d events: p50 %v, p95 %v", len(pages), pages[len(pages)/2].Round(100*time.Microsecond), p95(pages).Round(100*time.Microsecond), len(events), events[len(events)/2].Round(100*time.Microsecond), p95(events).Round(100*time.Microsecond))
	if p95(pages) > 100*time.Millisecond || p95(events) > 300*time.Millisecond {
		t.Errorf("over the limits: pages 100 ms, events 300 ms")
	}
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

package browser

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"proveout/job"
	"proveout/shop"
)

// capture puts an example's capture into a job and gives the address of its page.
func (w *workshop) capture() string {
	w.t.Helper()
	id := w.received()
	data, err := os.Open("../../examples/01-stumble-on-the-hill/captures/secondary-cyl3-place1-snap.csv.gz")
	if err != nil {
		w.t.Fatal(err)
	}
	defer data.Close()
	up, err := w.bench.Upload(w.t.Context(), "snap.csv.gz", -1)
	if err != nil {
		w.t.Fatal(err)
	}
	if _, err := w.bench.Append(w.t.Context(), up, 0, data); err != nil {
		w.t.Fatal(err)
	}
	u, err := w.bench.Finish(w.t.Context(), up)
	if err != nil {
		w.t.Fatal(err)
	}
	body := `{"sha256":"` + u.SHA256 + `","name":"snap.csv.gz","size":1,"form":{"kind":"ignition_secondary","cylinder":3,"condition":{"state":"snap"},"probe":{"calibrated":false,"placement":"1"},"columns":[{"column":"Time (us)","as":"time","unit":"us"},{"column":"Channel A (mV)","as":"ignition_secondary","unit":"mV"}]}}`
	if _, err := w.bench.Write(w.t.Context(), id, shop.Command{Key: "c", Device: "counter", Author: "p-ines", Type: job.CaptureAddedType, Payload: []byte(body)}); err != nil {
		w.t.Fatal(err)
	}
	return "/jobs/" + id + "/items/1"
}

const view = `document.querySelector('trace-view').view[1] - document.querySelector('trace-view').view[0]`

// TestTraceByKeyboard: everything of the trace without a pointer: zoom, pan, cursors
// with their difference, marks, and the table.
func TestTraceByKeyboard(t *testing.T) {
	w := openShop(t)
	b := w.tablet()
	b.open(w.capture())
	b.until("the trace", `document.querySelector('trace-view.live') && document.querySelector('trace-view').box`)
	js[bool](b, `(document.querySelector('trace-view .stage').focus(), document.activeElement.className === 'stage')`)
	first := js[float64](b, view)
	act(b, chromedp.KeyEvent("+"))
	if got := js[float64](b, view); got > first*0.51 || got < first*0.49 {
		t.Errorf("+ made the view %g of %g s", got, first)
	}
	from := js[float64](b, `document.querySelector('trace-view').view[0]`)
	act(b, chromedp.KeyEvent("\ue014")) // arrow right
	if got := js[float64](b, `document.querySelector('trace-view').view[0]`); got <= from {
		// Some drivers name the arrow keys otherwise: the page's own event must do it.
		js[bool](b, `document.querySelector('.stage').dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowRight', bubbles: true, cancelable: true}))`)
		if got := js[float64](b, `document.querySelector('trace-view').view[0]`); got <= from {
			t.Errorf("arrow right left the view at %g", got)
		}
	}
	act(b, chromedp.KeyEvent("a"))
	act(b, chromedp.KeyEvent("b"))
	b.until("the difference of the cursors", `/B − A .* Hz/.test(document.querySelector('.readout').textContent)`)
	act(b, chromedp.KeyEvent("m"))
	b.until("the first mark to be read out", `/^a1/.test(document.querySelector('.readout').textContent)`)
	b.shot("mark")
	act(b, chromedp.KeyEvent("0"))
	if got := js[float64](b, view); got < first*2 {
		t.Errorf("0 shows %g s of the whole", got)
	}
	js[bool](b, `(document.querySelector('details.astable').open = true)`)
	b.until("the table of the view", `document.querySelectorAll('.astable tbody tr').length === 20 && /mV/.test(document.querySelector('.astable td').textContent)`)
	// What is read at a cursor is the sample itself: the same as the server's.
	if said := b.text(".readout"); strings.Contains(said, "NaN") || strings.Contains(said, "undefined") {
		t.Errorf("the readout says %q", said)
	}
	b.noErrors()
}

// TestTraceStaysSmooth: zooming in by a hundred steps, no frame takes longer than a
// person notices as a stall. Loose, since the machine of the test is shared.
func TestTraceStaysSmooth(t *testing.T) {
	w := openShop(t)
	b := w.tablet()
	b.open(w.capture())
	b.until("the trace", `document.querySelector('trace-view.live') && document.querySelector('trace-view').box`)
	worst := js[float64](b, `new Promise((ok) => { const el = document.querySelector('trace-view'); let last = performance.now(), worst = 0, n = 0; const f = () => { const now = performance.now(); worst = Math.max(worst, now - last); last = now; if (n++ > 100) return ok(worst); el.zoom(n < 50 ? 0.9 : 1.1, el.view[0] + 0.4 * (el.view[1] - el.view[0])); requestAnimationFrame(f); }; requestAnimationFrame(f); })`)
	t.Logf("worst frame %.0f ms", worst)
	if worst > 1500 {
		t.Errorf("a frame took %.0f ms", worst)
	}
}

// TestAPageReloadsWithoutTheServer: the higher tier. A page that was open once comes
// back whole while the server is away, and says so.
func TestAPageReloadsWithoutTheServer(t *testing.T) {
	w := openShop(t)
	b := w.tablet()
	job := w.received()
	b.open("/jobs/" + job)
	b.until("the service worker", `navigator.serviceWorker.controller`)
	b.open("/jobs/" + job)
	b.until("the tier to be said", `document.getElementById('tier').textContent.includes('reloads')`)
	time.Sleep(500 * time.Millisecond) // the page is being kept
	b.pull()
	b.open("/jobs/" + job)
	b.until("the page from the device", `document.querySelector('h1') && document.querySelector('#complaint') && location.pathname.endsWith('`+job+`')`)
	b.until("the strip to say it", `document.getElementById('tier').classList.contains('away')`)
	b.shot("reloaded")
	b.plug()
}

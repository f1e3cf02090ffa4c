package browser

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestUploadResumedMappedAndPhotographed: a file of nine megabytes breaks off in its
// second piece, and goes on at the byte that is safe; its columns are mapped by hand,
// looked at and kept as an item; a photograph with its place on the car goes beside it.
func TestUploadResumedMappedAndPhotographed(t *testing.T) {
	b := openShop(t).device(390)
	id := b.received()
	file := filepath.Join(t.TempDir(), "two columns.csv")
	var text bytes.Buffer
	text.WriteString("Time (s);Channel A (V)\n")
	for i := range 500_000 { // 5 s of a square wave of 5 V at 100 kHz
		fmt.Fprintf(&text, "%.6f;%.6f\n", float64(i)*1e-5, float64(i/500%2)*5)
	}
	if err := os.WriteFile(file, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	b.open("/jobs/" + id + "/add")
	act(b, chromedp.SetUploadFiles(`#upload input[type=file]`, []string{file}))
	js[bool](b, `(window.__bar = [], new MutationObserver(() => window.__bar.push(document.querySelector('#progress p').textContent)).observe(document.querySelector('#progress p'), {childList: true, characterData: true, subtree: true}), true)`)
	b.breaks.Store(1 << 20) // of one piece
	b.tap("#upload button")
	b.until("the break to be told", `document.getElementById('tier').classList.contains('away') && window.__bar.some((s) => /stop|away|waits|broke/i.test(s))`)
	b.shot("broken")
	if strings.Contains(b.text("h1"), "500") {
		t.Error("a break is told as a failure")
	}
	b.plug()
	b.until("the file to be there whole", `new URLSearchParams(location.search).get('sha') && document.getElementById('keep')`)
	if got := b.text("#file .note"); !strings.Contains(got, "500,000") {
		t.Errorf("the page tells of %q", got)
	}
	columns := js[[]string](b, `[...document.querySelectorAll('[name=column]')].map((i) => i.value)`)
	if len(columns) == 0 {
		t.Fatal("no column is shown")
	}
	last := columns[len(columns)-1]
	js[bool](b, `(document.querySelector('select[name=kind]').value = 'injector', document.querySelector('select[name="as `+last+`"]').value = 'injector', document.querySelector('select[name="unit `+last+`"]').value = 'mV', true)`)
	b.tap("#cols button.act")
	b.until("the mapping to be looked at", `location.search.includes('measure=1') && document.querySelector('select[name="unit `+last+`"]').value === 'mV' && document.querySelector('select[name="as `+last+`"]').value === 'injector'`)
	js[bool](b, `([...document.querySelectorAll('#sense button.act')].pop().click(), true)`)
	b.until("the item", `location.pathname.endsWith('/items/1')`)

	photo := filepath.Join(t.TempDir(), "IMG.jpg")
	picture := image.NewRGBA(image.Rect(0, 0, 64, 48))
	picture.Set(3, 3, color.White)
	var shot bytes.Buffer
	if err := jpeg.Encode(&shot, picture, nil); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(photo, shot.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	b.open("/jobs/" + id + "/add")
	act(b, chromedp.SetUploadFiles(`#photo input[type=file]`, []string{photo}))
	b.choose("place", "rear_left")
	b.tap("#photo button.act")
	b.until("the photograph with its place", `(() => { const i = document.querySelector('.shots img'); return i && i.naturalWidth === 64 && i.alt === 'rear left'; })()`)
	v, err := b.bench.Job(t.Context(), id)
	if err != nil || len(v.Items) != 1 || v.Items[0].Size != int64(text.Len()) || len(v.Photos) != 1 || v.Photos[0].What.Place != "rear_left" {
		t.Errorf("the record has %+v, %+v, %v", v.Items, v.Photos, err)
	}
	b.noErrors()
}

// TestTwoDevicesConfirmTheSameStepApart: one is without the server when it taps; the
// other has confirmed the same step. Back again its tap is refused, the page says why
// until somebody has read it, and the record counts the step once.
func TestTwoDevicesConfirmTheSameStepApart(t *testing.T) {
	w := openShop(t)
	one, two := w.device(834), w.device(390)
	job, run := one.startBrakes()
	two.open("/jobs/" + job + "/procedures/" + run)
	two.until("the first question", `document.querySelector('#run .card form')`)
	two.pull()
	said := js[string](two, tapNext)
	two.until("the page to go on alone", `document.querySelector('#tier').classList.contains('away')`)
	if other := js[string](one, tapNext); other != said {
		t.Fatalf("they tapped %q and %q", said, other)
	}
	one.until("the first answer", `+document.getElementById('run').dataset.seq >= 3`)
	before := one.screen(job, run).Seq
	two.plug()
	js[bool](two, `(dispatchEvent(new Event('online')), true)`)
	two.until("the refusal to be told", `!document.getElementById('waiting').hidden && document.querySelector('#waiting li')`)
	t.Logf("the page says %q", two.text("#waiting li"))
	if two.text("#waiting li p") == "" {
		t.Error("it does not say why")
	}
	two.shot("refused")
	two.until("what the other did", fmt.Sprintf(`+document.getElementById('run').dataset.seq >= %d`, before))
	if got := one.screen(job, run).Seq; got != before {
		t.Errorf("the record went from %d to %d entries", before, got)
	}
	two.tap("#waiting li button")
	two.until("it to be put aside", `document.getElementById('waiting').hidden`)
	one.noErrors()
	two.noErrors()
}

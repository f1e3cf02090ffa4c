package browser

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// widths are a phone, a tablet and a desk.
var widths = []int64{390, 834, 1280}

// atEachWidth tells a story on each, in a shop of its own.
func atEachWidth(t *testing.T, story func(*tablet)) {
	for _, width := range widths {
		t.Run(fmt.Sprint(width), func(t *testing.T) {
			t.Parallel()
			b := openShop(t).device(width)
			story(b)
			if over := js[float64](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 1 {
				t.Errorf("the last page is %g px wider than the screen", over)
			}
			b.noErrors()
		})
	}
}

// cell types a value into the field of a cylinder: by the number keys where there are
// some, else as a keyboard does.
func (b *tablet) cells(values ...string) {
	b.t.Helper()
	for i, v := range values {
		b.fill(fmt.Sprintf(`input[name="value.cyl%d"]`, i+1), "")
		if js[bool](b, `!document.getElementById('pad').hidden`) {
			for _, c := range v {
				js[bool](b, fmt.Sprintf(`([...document.querySelectorAll('#pad button')].find((k) => k.textContent === '%c').click(), true)`, c))
			}
		} else {
			act(b, chromedp.KeyEvent(v))
		}
		if got := js[string](b, fmt.Sprintf(`document.querySelector('input[name="value.cyl%d"]').value`, i+1)); got != v {
			b.t.Fatalf("typed %s, the field has %q", v, got)
		}
	}
}

// TestComplaintToACause: from the counter to a cause shown by direct test. The reading
// that leads there is typed while the server is away for two minutes (of moved clocks).
func TestComplaintToACause(t *testing.T) {
	atEachWidth(t, func(b *tablet) {
		b.open("/jobs/new")
		b.fill("textarea[name=said]", "It stumbles when it pulls. Idle is fine.")
		b.choose("symptoms", "misfire_load", "lamp", "off", "state", "load", "warm", "warm", "fuel", "petrol", "cylinders", "4", "arrangement", "inline",
			"ignition", "coil_on_plug", "injection", "port", "boosted", "no", "access", "easy")
		b.fill("input[name=make]", "Torvane")
		b.fill("input[name=plate]", "QL 500 T")
		b.tap("#ok button.act")
		b.until("the job and its odds", `/^.jobs.[^/]+$/.test(location.pathname) && location.pathname !== '/jobs/new' && document.querySelector('.ledger tbody tr')`)
		path := js[string](b, "location.pathname")
		id := strings.TrimPrefix(path, "/jobs/")

		b.open(path + "/reading?test=plug_gap_others")
		b.pull()
		b.cells("1.05", "1.05", "1.59", "1.08")
		began := b.now()
		b.tap(`.units button[value=mm]`)
		b.until("the reading to be kept here", `document.getElementById('tier').classList.contains('away') && !document.getElementById('waiting').hidden`)
		b.skip(2 * time.Minute)
		if n := js[int](b, waits); n != 1 {
			b.t.Errorf("%d readings wait on the device, want 1", n)
		}
		if v, err := b.bench.Job(b.t.Context(), id); err != nil || len(v.Items) != 0 {
			b.t.Fatalf("the server has heard of it: %v", err)
		}
		b.back()
		v, err := b.bench.Job(b.t.Context(), id)
		if err != nil || len(v.Items) != 1 {
			b.t.Fatalf("after the merge %+v, %v", v.Items, err)
		}
		if at, err := time.Parse(time.RFC3339Nano, v.Items[0].Wall); err != nil || at.Sub(began).Abs() > 20*time.Second {
			b.t.Errorf("it was typed at %v and stands at %s", began, v.Items[0].Wall)
		}
		b.open(path)
		b.until("the gap to move the odds", `/gap too wide on this plug, cylinder 3/.test(document.body.innerText)`)

		b.open(path + "/reading?test=plug_swap&subject=cyl3")
		b.choose("result.cyl3", "moves_and_returns")
		b.tap("button.save-key")
		b.until("shown by direct test", `location.pathname === '`+path+`' && document.querySelector('h1').innerText.startsWith('Shown by direct test')`)
		b.shot("shown")
	})
}

// beforeTheRepair imports the job of an example as it stood when its cause was shown
// and the fault had been driven for: nothing was repaired yet.
func (b *tablet) beforeTheRepair() string {
	b.t.Helper()
	const from = "../../examples/06-proven-on-the-hill"
	dir := b.t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		b.t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "job.yaml"))
	if err != nil {
		b.t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(text), "  - file: captures/drive-after.csv\n")
	_, rest, ok2 := strings.Cut(rest, "readings:\n")
	rest, _, ok3 := strings.Cut(rest, "  # After the repair")
	if !ok || !ok2 || !ok3 {
		b.t.Fatal("the example is not as it was")
	}
	if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(head+"readings:\n"+rest), 0o600); err != nil {
		b.t.Fatal(err)
	}
	for _, name := range []string{"drive-after.csv", "modules-after.log"} {
		if err := os.Remove(filepath.Join(dir, "captures", name)); err != nil {
			b.t.Fatal(err)
		}
	}
	in, err := b.bench.Import(b.t.Context(), dir, "p-ines")
	if err != nil {
		b.t.Fatal(err)
	}
	return in.Job
}

// send picks a file on the page for adding one, and waits for the page of its columns.
func (b *tablet) send(file string) {
	b.t.Helper()
	path, err := filepath.Abs(file)
	if err != nil {
		b.t.Fatal(err)
	}
	act(b, chromedp.SetUploadFiles(`#upload input[type=file]`, []string{path}))
	b.tap("#upload button")
	b.until("the file to be there", `new URLSearchParams(location.search).get('sha') && document.getElementById('keep')`)
}

// TestProofDriveToProven: the repair written down, the way of proof named before
// driving, the reading after it typed during two minutes without the server, the drive
// and the codes copied from their files, proven, reported, closed.
func TestProofDriveToProven(t *testing.T) {
	const captures = "../../examples/06-proven-on-the-hill/captures/"
	atEachWidth(t, func(b *tablet) {
		id := b.beforeTheRepair()
		at := "/jobs/" + id
		if _, err := b.bench.Answer(b.t.Context(), id); err != nil {
			b.t.Fatal(err)
		}
		b.open(at)
		b.until("shown by direct test", `document.querySelector('h1').innerText.startsWith('Shown by direct test')`)
		b.fill("#correction form textarea[name=text]", "Four spark plugs renewed as a set, head cold, 23 N·m")
		b.tap("#correction form button.act")
		b.until("the correction", `document.querySelector('#correction').innerText.includes('Four spark plugs renewed')`)
		b.open(at + "/proof")
		b.choose("by", "measured")
		b.tap("#plan button.act")
		// The way chosen stands above the form only once the server has it: the words of the form itself name every way.
		b.until("the plan", `document.querySelector('#plan .b > p > b')`)

		b.open(at + "/reading?test=plug_gap_others")
		b.pull()
		b.cells("1.02", "1.02", "1.02", "1.08")
		b.tap(`.units button[value=mm]`)
		b.until("the reading to be kept here", `document.getElementById('tier').classList.contains('away') && !document.getElementById('waiting').hidden`)
		b.skip(2 * time.Minute)
		b.back()

		for _, f := range []struct{ file, kind string }{{"drive-after.csv", "parameter_log"}, {"modules-after.log", "diagnostic"}} {
			b.open(at + "/add?when=after")
			b.send(captures + f.file)
			if !js[bool](b, `document.querySelector('[name=when][value=after]').checked`) {
				b.t.Fatal("the page forgot that it is after the repair")
			}
			js[bool](b, `(document.querySelector('select[name=kind]').value = '`+f.kind+`', true)`)
			if f.kind == "parameter_log" {
				b.choose("watched", "none")
				b.fill("input[name=road]", "62 min")
			}
			js[bool](b, `([...document.querySelectorAll('#sense button.act')].pop().click(), true)`)
			b.until(f.file+" to be an item", `/\/items\/\d+$/.test(location.pathname)`)
		}
		b.open(at + "/proof")
		b.shot("proof")
		if h := b.text("h1"); !strings.HasPrefix(h, "Proven") {
			b.t.Fatalf("the proof says %q: %s", h, b.text(".verdict"))
		}
		b.open(at + "/report")
		b.until("the report", `/Proven/i.test(document.querySelector('main').innerText)`)
		b.open(at)
	})
}

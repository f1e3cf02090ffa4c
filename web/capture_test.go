package web

import (
	"bytes"
	"encoding/json"
	"image"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"proveout/shop"
)

func init() {
	o := []option{{Value: "a", Label: "A", On: true}, {Value: "b", Label: "B"}}
	samples["add"] = sample{empty: &addView{}, filled: &addView{Job: "j", Key: "k", Again: 2, Next: 5, Kinds: o, States: o, Cylinders: o, Note: "n", Problems: []string{"p"}, Places: o, After: true, When: &question{Name: "when", Options: o}, Drive: driveView{Open: true, As: question{Name: "as", Options: o}, Watched: question{Name: "watched", Options: o}, Episodes: "41 s", Road: "<b>"},
		File:     &fileView{SHA: "s", Name: "<b>", Finger: "f", Size: "1 MB", Rows: "5", Seconds: "4", Rate: "1", Known: true, HasItem: 3, Notes: []shop.NoteAnswer{{Line: 4, Text: "t"}}, Messages: []string{"m"}, RateAsked: true},
		Columns:  []columnRow{{N: "1", Name: "CHA", First: "1, 2", Path: "M0 0L1 1", As: o, Units: o, Sure: true, Why: "w", Sense: []string{"s"}}, {N: "2", Why: "w"}},
		Sense:    &senseView{"CHA", "1 to 2 V", "1 to 2 mV", "mV"},
		Measured: &shop.CaptureReading{Kind: "k", Recognised: true, Error: "e", Trouble: []string{"t"}, NotMeasured: []shop.NotMeasuredLine{{Name: "n", Why: "w", Fix: "f"}}},
		Readings: []readView{{"n", "s", "1 ms", "clipped"}}, Photos: []photoView{{Sum: "s", Place: "p", Note: "n"}}}}
	samples["capture"] = sample{empty: &captureView{}, filled: &captureView{Job: "j", Item: 3, Head: "h <b>", Engine: true, What: "w", Aside: "a", MarksOf: 2, Quality: []string{"q"}, Trouble: []string{"t"},
		Missing: []shop.NotMeasuredLine{{Name: "n", Why: "w", Fix: "f"}}, LeftOut: []shop.LeftOut{{Line: 3, Why: "w"}}, Notes: []shop.NoteAnswer{{Line: 2, Text: "t"}}, Messages: []string{"m"}, Facts: []captureFact{{"n", "v"}},
		Features: []featureRow{{Name: "n", Unit: "ms", Odd: true, Sentence: "s", Label: "l <", Dots: []dotView{{N: "1", Of: "cylinder 1", Value: "0.8", X: "20%"}, {N: "4", Value: "0.5", X: "80%", Odd: true}}}},
		Picture:  &pictureView{Label: "l", Paths: []pathView{{"M0 0", "odd", 0}}, From: "0 ms", To: "1 ms", Trace: `{"a":"<b>"}`, Head: []string{"h"}, Rows: []pictureRow{{"0 – 1 ms", []string{"1 … 2 V"}}}}}}
}

const snapFile = "../examples/01-stumble-on-the-hill/captures/secondary-cyl3-place1-snap.csv.gz"

// postFileOf posts a file the way a form without scripts does.
func (b *browser) postFileOf(path, field, name string, data []byte, fields ...string) (int, string, *http.Response) {
	b.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for i := 0; i < len(fields); i += 2 {
		m.WriteField(fields[i], fields[i+1])
	}
	w, err := m.CreateFormFile(field, name)
	if err != nil {
		b.Fatal(err)
	}
	w.Write(data)
	m.Close()
	r, err := http.NewRequestWithContext(b.Context(), "POST", b.url+path, &body)
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Content-Type", m.FormDataContentType())
	return b.send(r)
}

// TestACaptureFromFileToPage: a file without scripts, its columns looked at, kept as an
// item, drawn, and recognised when it comes again.
func TestACaptureFromFileToPage(t *testing.T) {
	b := openShop(t).unlocked()
	id := b.receive("QL-1")
	data, err := os.ReadFile(snapFile)
	if err != nil {
		t.Fatal(err)
	}
	code, page, res := b.postFileOf("/jobs/"+id+"/add", "file", `C:\scope\snap "1".csv.gz`, data)
	if code != 200 || !strings.Contains(page, "Copied whole") || !strings.Contains(page, "Channel A") {
		t.Fatalf("%d at %s\n%s", code, res.Request.URL, plainText(page))
	}
	q := res.Request.URL.Query()
	col := regexp.MustCompile(`name="column" value="(\d+)"`).FindStringSubmatch(page)
	if col == nil {
		t.Fatal("no column is shown")
	}
	f := url.Values{"sha": {q.Get("sha")}, "name": {q.Get("name")}, "kind": {"ignition_secondary"}, "cylinder": {"3"}, "state": {"snap"}, "placement": {"1"}, "calibrated": {"no"}, "column": {col[1]}, "as " + col[1]: {"ignition_secondary"}, "unit " + col[1]: {"mV"}, "key": {"k"}}
	code, page, _ = b.get("/jobs/" + id + "/add?" + f.Encode())
	if code != 200 || !strings.Contains(page, "burn time") || !strings.Contains(page, "Keep as item 1") {
		t.Fatalf("looked at with its mapping: %d\n%s", code, plainText(page))
	}
	code, page, res = b.postValues("/jobs/"+id+"/captures", f)
	if code != 200 || res.Request.URL.Path != "/jobs/"+id+"/items/1" {
		t.Fatalf("kept: %d at %s\n%s", code, res.Request.URL, plainText(page))
	}
	m := regexp.MustCompile(`data-trace="([^"]*)"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("nothing is drawn\n%s", plainText(page))
	}
	var trace struct {
		From, To float64
		Channels []channelJSON
		Marks    []markJSON
	}
	if err := json.Unmarshal([]byte(strings.NewReplacer("&#34;", `"`, "&amp;", "&", "&#43;", "+", "&lt;", "<", "&gt;", ">", "&#39;", "'").Replace(m[1])), &trace); err != nil {
		t.Fatal(err)
	}
	if len(trace.Channels) != 1 || trace.Channels[0].Samples == 0 || len(trace.Marks) == 0 || trace.To <= trace.From {
		t.Errorf("the element is told %+v", trace)
	}
	if !regexp.MustCompile(`data-channel="0" d="M\d`).MatchString(page) || strings.Count(page, "<tr>") < 20 {
		t.Error("the page has no picture or no table without scripts")
	}
	// The same file once more is recognised.
	_, page, _ = b.postFileOf("/jobs/"+id+"/add", "file", "again.csv.gz", data)
	if !strings.Contains(page, "was here before") || !strings.Contains(page, "item 1 of this job already") {
		t.Errorf("the same file again\n%s", plainText(page))
	}
}

func TestFilesThatAreNoCaptures(t *testing.T) {
	b := openShop(t).unlocked()
	id := b.receive("QL-2")
	for name, data := range map[string]string{"page.html": "<script>alert(1)</script>", "zeros.bin": strings.Repeat("\x00", 5000), "empty.csv": ""} {
		code, page, _ := b.postFileOf("/jobs/"+id+"/add", "file", name, []byte(data))
		if code != 200 || !strings.Contains(page, `class="refusal"`) || strings.Contains(page, "<script>alert") {
			t.Errorf("%s: %d\n%s", name, code, plainText(page))
		}
	}
	if code, _, _ := b.get("/jobs/" + id + "/add?sha=nonsense&name=x"); code != 404 {
		t.Errorf("a hash that is none: %d", code)
	}
	if code, _, _ := b.get("/jobs/" + id + "/items/77"); code != 404 {
		t.Errorf("an item that is not there: %d", code)
	}
}

// TestPhotoFromTheCamera: kept, shown with its place, never cached.
func TestPhotoFromTheCamera(t *testing.T) {
	b := openShop(t).unlocked()
	id := b.receive("QL-3")
	picture := photograph(t)
	code, page, _ := b.postFileOf("/jobs/"+id+"/photos", "photo", "IMG_1.jpg", picture, "place", "rear_left", "note", "pads <b>", "key", "p1")
	src := regexp.MustCompile(`src="(/jobs/[^"]*/photos/[0-9a-f]{64})"`).FindStringSubmatch(page)
	if code != 200 || src == nil || !strings.Contains(page, "rear left") || strings.Contains(page, "pads <b>") {
		t.Fatalf("%d\n%s", code, plainText(page))
	}
	code, body, res := b.get(src[1])
	if code != 200 || body != string(picture) || !strings.Contains(res.Header.Get("Cache-Control"), "no-store") {
		t.Errorf("given back: %d, %d bytes, %s", code, len(body), res.Header.Get("Cache-Control"))
	}
	if code, _, _ := b.postFileOf("/jobs/"+id+"/photos", "photo", "x.svg", []byte(`<svg onload="alert(1)"/>`), "place", "rear"); code != http.StatusUnprocessableEntity {
		t.Errorf("a drawing with script: %d", code)
	}
}

// photograph is a small JPEG.
func photograph(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

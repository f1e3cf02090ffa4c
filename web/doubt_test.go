package web

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"proveout/job"
	"proveout/shop"
)

// A figure far from what it can be is asked about in the words of the screen, and taken
// from somebody who is sure; what is no figure is refused.
func TestFarFiguresAreAskedAbout(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	before := len(w.entries(id))
	post := func(value string, more ...string) (int, string) {
		code, page, _ := b.post("/jobs/"+id+"/readings", append([]string{"test", "plug_gap_others", "value.cyl1", value, "unit", "mm"}, more...)...)
		return code, page
	}
	for _, none := range []string{"NaN", "Inf", "-inf", "1e999", "mm"} {
		if code, page := post(none, "sure", "yes"); code != 422 || !strings.Contains(page, "is no number") {
			t.Errorf("%s mm: %d", none, code)
		}
	}
	for _, far := range []string{"-5", "99999"} {
		code, page := post(far)
		if code != 422 || !strings.Contains(page, "is far from what") || !strings.Contains(page, "0 to 5 mm") || !strings.Contains(page, `name="sure" value="yes"`) || !strings.Contains(page, `name="value.cyl1" value="`+far+`"`) {
			t.Errorf("%s mm: %d %s", far, code, plainText(page))
		}
	}
	write := func(key string, sure bool, value string) int {
		code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": key, "sure": sure, "type": job.ReadingTypedType, "payload": map[string]any{"form": map[string]any{"test": "plug_gap_others", "values": map[string]string{"1": value}}}}, nil)
		return code
	}
	if code := write("a", false, "99999 mm"); code != 422 {
		t.Errorf("99999 mm through the API: %d", code)
	}
	if n := len(w.entries(id)); n != before {
		t.Errorf("%d entries were written", n-before)
	}
	if code := write("b", true, "9 mm"); code != 201 {
		t.Errorf("9 mm, sure, through the API: %d", code)
	}
	for _, good := range []string{"1.05", "0,6"} {
		if code, page := post(good); code != 200 {
			t.Errorf("%s mm: %d %s", good, code, plainText(page))
		}
	}
	if code, _ := post("99999", "sure", "yes"); code != 200 {
		t.Errorf("99999 mm by somebody who is sure: %d", code)
	}
}

// What looks mistyped at reception is asked about; nothing is opened meanwhile.
func TestOddVehiclesAreAskedAbout(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	open := func(key string, fields ...string) (int, string, string) {
		code, page, res := b.post("/jobs", append([]string{"key", key, "minutes", "90", "name", "Tam Ostrey"}, fields...)...)
		return code, plainText(page), strings.TrimPrefix(res.Request.URL.Path, "/jobs/")
	}
	for name, c := range map[string]struct {
		fields []string
		says   string
	}{
		"no distance": {[]string{"title", "1", "odometer", "lots"}, "is no distance"}, "a far one": {[]string{"title", "2", "odometer", "99999999 km"}, "odometer shows"},
		"a short VIN": {[]string{"title", "3", "vin", "123"}, "17 letters"}, "a number twice": {[]string{"title", "2417"}, "There is a job 2417 already"},
	} {
		if code, page, _ := open(name, c.fields...); code != 422 || !strings.Contains(page, c.says) {
			t.Errorf("%s: %d %s", name, code, page)
		}
	}
	if v, err := w.bench.All(t.Context(), 0, 10); err != nil || len(v.Rows) != 1 {
		t.Errorf("%d jobs, %v", len(v.Rows), err)
	}
	if code, page, _ := open("sure", "title", "2417", "odometer", "lots", "sure", "yes"); code != 200 {
		t.Errorf("sure of it: %d %s", code, page)
	}
	// A double tap is one job, and asks nothing.
	_, _, one := open("twice", "title", "5000", "odometer", "118402 km")
	if code, page, two := open("twice", "title", "5000", "odometer", "118402 km"); code != 200 || one != two {
		t.Errorf("a double tap: %d, job %s and %s %s", code, one, two, page)
	}
	if code, _, _ := b.post("/jobs", "key", "abc", "title", "9", "minutes", "abc"); code != 422 {
		t.Errorf("abc minutes: %d", code)
	}
	own := []string{"job", id, "part", "horn", "fault", "dead", "per", "engine", "rate", "often", "scope", "job", "look", "Press it", "good", "sounds", "bad", "silent", "rev", w.rev(id), "minutes"}
	before := len(w.entries(id))
	if code, _, _ := b.post("/library/own", append(own, "abc")...); code != 422 || len(w.entries(id)) != before {
		t.Errorf("a look of abc minutes: %d", code)
	}
	if code, _, _ := b.post("/library/own", append(own, "5")...); code != 200 || len(w.entries(id)) != before+2 {
		t.Errorf("a look of 5 minutes: %d", code)
	}
	if code, _, _ := b.post("/jobs/"+id+"/complaint", "cylinders", "4", "rev", w.rev(id), "odometer", "lots"); code != 422 {
		t.Errorf("a later odometer: %d", code)
	}
}

// A field that stands twice, and an engine that cannot be, are refused by the API.
func TestAPIRefusesWhatCannotBeMeant(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	for name, body := range map[string]string{
		"key twice":            `{"key":"a","key":"b","type":"note@1","payload":{"text":"x"}}`,
		"a payload field":      `{"key":"c","type":"note@1","payload":{"text":"x","text":"y"}}`,
		"a billion cylinders":  `{"key":"d","type":"vehicle_changed@1","payload":{"vehicle":{"engine":{"cylinders":1000000000}}}}`,
		"cylinders below zero": `{"key":"e","type":"vehicle_changed@1","payload":{"vehicle":{"engine":{"cylinders":-4}}}}`,
	} {
		if code, _ := b.call("POST", "/jobs/"+id+"/entries", json.RawMessage(body), nil); code != 400 && code != 422 {
			t.Errorf("%s: %d", name, code)
		}
	}
}

// Who may look at the job without a PIN sees no telephone, and a retried upload goes on
// with the first.
func TestTheAPIKeepsPersonalDataToTheShop(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	_, _, res := b.post("/jobs", "key", "k", "title", "2417", "plate", "QL 1", "vin", "1M8GDM9AXKP042788", "name", "Tam Ostrey", "phone", "0555 0177", "cylinders", "4")
	id := strings.TrimPrefix(res.Request.URL.Path, "/jobs/")
	var in, out shop.JobView
	if code, _ := b.call("GET", "/jobs/"+id, nil, &in); code != 200 || in.Customer.Phone != "0555 0177" || in.Vehicle.VIN == "" {
		t.Errorf("with a PIN: %d %+v", code, in.Customer)
	}
	if code, _ := w.browser().call("GET", "/jobs/"+id, nil, &out); code != 200 || out.Customer.Phone+out.Customer.Name+out.Vehicle.VIN != "" || out.Vehicle.Plate == "" {
		t.Errorf("without: %d %+v %+v", code, out.Customer, out.Vehicle)
	}
	begin := func(b *browser, headers ...string) (string, int) {
		var up struct{ ID string }
		code, _ := b.call("POST", "/uploads", map[string]any{"name": "a.csv", "size": 4}, &up, headers...)
		return up.ID, code
	}
	if _, code := begin(w.browser()); code != http.StatusForbidden {
		t.Errorf("an upload without a PIN: %d", code)
	}
	first, _ := begin(b, "Idempotency-Key", "one")
	again, _ := begin(b, "Idempotency-Key", "one")
	other, _ := begin(b, "Idempotency-Key", "two")
	elsewhere, _ := begin(w.unlocked(), "Idempotency-Key", "one")
	if first == "" || first != again || first == other || first == elsewhere {
		t.Errorf("uploads %q %q %q %q", first, again, other, elsewhere)
	}
}

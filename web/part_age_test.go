package web

import (
	"net/url"
	"reflect"
	"strings"
	"testing"

	"proveout/text"
)

// A row of the reception: a bare number is in the shop's own unit, a row without a
// figure says nothing, and what is no distance is named.
func TestPartAges(t *testing.T) {
	row := func(part, fitted, interval string) url.Values {
		return url.Values{"part": {part}, "fitted": {fitted}, "interval": {interval}}
	}
	for _, c := range []struct {
		form   url.Values
		system text.System
		want   []partAge
		bad    bool
	}{
		{form: row("Spark plugs", "90000", "60000 km"), system: text.SI, want: []partAge{{"Spark plugs", "90000 km", "60000 km"}}},
		{form: row("Spark plugs", "56000", ""), system: text.US, want: []partAge{{"Spark plugs", "56000 mi", ""}}},
		{form: row("Spark plugs", "", ""), system: text.SI},
		{form: row("Spark plugs", "Unknown", ""), system: text.SI, want: []partAge{{"Spark plugs", "unknown", ""}}},
		{form: row("", "90000", ""), system: text.SI, bad: true},
		{form: row("Coil", "12 kPa", ""), system: text.SI, bad: true},
		{form: row("Coil", "-3", ""), system: text.SI, bad: true},
		{form: row("Coil", "127.900", "60,000 km"), system: text.SI, want: []partAge{{"Coil", "127.900 km", "60,000 km"}}},
		{form: url.Values{"part": {"Coil", "Belt"}, "fitted": {"", "1000"}}, system: text.SI, want: []partAge{{"Belt", "1000 km", ""}}},
		{form: url.Values{}, system: text.SI},
	} {
		got, err := partAges(c.form, c.system)
		if (err != nil) != c.bad || !c.bad && !reflect.DeepEqual(got, c.want) {
			t.Errorf("%v: %v, %v, want %v", c.form, got, err, c.want)
		}
	}
}

// What reception writes of a part comes back in its own form and moves the odds: plugs
// 70,000 km old at an interval of 60,000 km are beyond it.
func TestReceptionKnowsTheAgeOfPlugs(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	code, page, res := b.post("/jobs", "key", "age", "title", "2501", "said", "Stumbles uphill.", "symptoms", "misfire_load", "odometer", "120000 km", "part", "Spark plugs", "fitted", "50000", "interval", "60000",
		"cylinders", "4", "fuel", "petrol", "ignition", "coil_on_plug", "injection", "port", "arrangement", "inline", "access", "easy", "boosted", "no")
	if code != 200 {
		t.Fatalf("reception: %d %s", code, plainText(page))
	}
	id := strings.TrimPrefix(res.Request.URL.Path, "/jobs/")
	b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", "1.05", "value.cyl2", "1.05", "value.cyl3", "1.06", "value.cyl4", "1.08", "unit", "mm")
	a, err := w.bench.Answer(t.Context(), id)
	if err != nil || a.Complaint.Facts["plugs_beyond_interval"] != "yes" {
		t.Fatalf("facts %v, %v", a, err)
	}
	if _, form, _ := b.get("/jobs/" + id + "/complaint"); !strings.Contains(form, `value="50000 km"`) || !strings.Contains(form, `value="60000 km"`) {
		t.Error("the form has lost the age of the plugs")
	}
	if code, page, _ := b.post("/jobs", "key", "age2", "said", "x", "part", "Spark plugs", "fitted", "twelve"); code != 422 || !strings.Contains(plainText(page), "fitted") {
		t.Errorf("a distance that is none: %d", code)
	}
}

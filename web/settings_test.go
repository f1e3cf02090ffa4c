package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

// A refused limit says from where to where it may be set, and limits in the wrong order
// are refused as a set: the form and the API alike.
func TestRefusedLimitsSayWhatToDo(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	code, page, _ := b.post("/settings", "units", "si", "limit.supply_stop_v", "9")
	if page = plainText(page); code != 422 || !strings.Contains(page, "Set it from 11.5 to 12.2.") {
		t.Errorf("a loose limit: %d %s", code, page)
	}
	if code, page, _ := b.post("/settings", "units", "si", "limit.supply_stop_v", "12.2", "limit.supply_hold_v", "12.0"); code != 422 || !strings.Contains(page, "Set stop no higher than hold") {
		t.Errorf("stop above hold: %d", code)
	}
	if code, _ := b.call("POST", "/jobs/"+shop.ShopJob+"/entries", map[string]any{"key": "k", "type": job.SettingsChangedType, "payload": job.Settings{Thresholds: map[string]float64{"supply_stop_v": 12.2}}}, nil); code != 422 {
		t.Errorf("stop above the usual hold through the API: %d", code)
	}
	if code, _, _ := b.post("/settings", "units", "si", "limit.supply_stop_v", "12.2", "limit.supply_hold_v", "12.4", "limit.supply_warn_v", "12.6"); code != 200 {
		t.Errorf("all three higher, in order: %d", code)
	}
}

// TestAJobIsHandedToAColleague: to people of the shop, whoever wrote in the job, and to
// nobody else.
func TestAJobIsHandedToAColleague(t *testing.T) {
	w := openShop(t)
	for _, p := range []shop.Person{{ID: "p-tom", Name: "Tom Reyne"}, {ID: "p-left", Name: "Ada Munt", Gone: true}} {
		if err := w.bench.PutPerson(t.Context(), p, ""); err != nil {
			t.Fatal(err)
		}
	}
	b := w.unlocked()
	id := b.receive("2417")
	_, page, _ := b.get("/jobs/" + id)
	form := page[strings.Index(page, `<select name="to">`):]
	form = form[:strings.Index(form, "</select>")]
	if !strings.Contains(form, `<option value="p-tom">Tom Reyne</option>`) || strings.Count(form, "<option") != 2 {
		t.Errorf("the list is %s", form)
	}
	write := func(key, kind string, payload any) int {
		code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": key, "type": kind, "payload": payload}, nil)
		return code
	}
	for _, who := range []string{"program", "p-left", "nobody"} {
		if code := write(who, job.HandOverType, job.HandOver{To: who, Card: "x"}); code != http.StatusUnprocessableEntity {
			t.Errorf("handed to %s: %d", who, code)
		}
		if code := write(who+"2", job.VehicleChangedType, job.VehicleChanged{Technician: who}); code != http.StatusUnprocessableEntity {
			t.Errorf("technician %s: %d", who, code)
		}
	}
	if code := write("ok", job.HandOverType, job.HandOver{To: "p-tom", Card: "cylinder 3 next"}); code != http.StatusCreated {
		t.Errorf("handed to Tom: %d", code)
	}
	if st, err := w.bench.State(t.Context(), id); err != nil || st.Person != "p-tom" {
		t.Errorf("the job is with %q, %v", st.Person, err)
	}
}

// A page made before the odds are there says that they are being worked out.
func TestAnEarlyPageSaysItIsBeingWorkedOut(t *testing.T) {
	v := filledView(t)
	v.Answer, v.Working, v.Items = nil, true, nil
	s := server(t)
	for _, c := range []struct {
		working bool
		want    []bool
	}{{true, []bool{true, false, false}}, {false, []bool{false, true, true}}} {
		v.Working = c.working
		var page strings.Builder
		p := text.For("en", text.SI)
		if err := s.pages[choice{"en", text.SI}]["job"].ExecuteTemplate(&page, "main", jobPageOf(v, p, sampleNow, "p-ines")); err != nil {
			t.Fatal(err)
		}
		for i, text := range []string{"being worked out", "No suspects yet", "No test is on offer"} {
			if strings.Contains(page.String(), text) != c.want[i] {
				t.Errorf("working %v: %q stands there: %v", c.working, text, !c.want[i])
			}
		}
	}
}

// siUnit is a figure with a unit that a workshop in the United States does not read.
var siUnit = regexp.MustCompile(`\d[\x{a0} ]?(?:kPa|bar|mm|km|km/h|Nm|N·m|°C|degC)(?:$|[^\p{L}/])`)

// A shop that reads US units meets no other on its pages, examples of what is typed and
// the texts of the library among them; and a plate stands whole.
func TestUSUnitsEverywhere(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	pages := []string{"/jobs/new", "/library", "/jobs/" + id, "/jobs/" + id + "/complaint", "/jobs/" + id + "/reading", "/jobs/" + id + "/reading?test=leak_down"}
	found := func() (n int, where string) {
		for _, at := range pages {
			_, page, _ := b.get(at)
			for _, x := range shownBy(t, page) {
				if siUnit.MatchString(x.text) {
					n, where = n+1, where+"\n"+at+": "+x.text
				}
			}
		}
		return n, where
	}
	if n, _ := found(); n < 5 {
		t.Errorf("only %d SI figures in a shop that reads SI", n)
	}
	if code, _, _ := b.post("/settings", "units", "us"); code != 200 {
		t.Fatalf("settings: %d", code)
	}
	if n, where := found(); n > 0 {
		t.Errorf("%d SI figures are left:%s", n, where)
	}
	if _, page, _ := b.get("/jobs/new"); !regexp.MustCompile(`placeholder="73\d\d\d(\.\d+)? mi"`).MatchString(page) {
		t.Error("the example of an odometer is not in miles")
	}
	if _, page, _ := b.get("/jobs/" + id); strings.Contains(page, "QL 204 T") || !strings.Contains(page, "QL\u00a0204\u00a0T") {
		t.Error("the plate of the strip may break over lines")
	}
}

package web

import (
	"html"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"proveout/shop"
)

// TestNothingIsWrittenWithoutAPerson, and nothing typed is lost: the form waits for
// the PIN and is then carried out.
func TestNothingIsWrittenWithoutAPerson(t *testing.T) {
	w := openShop(t)
	id := w.unlocked().receive("2417")
	b := w.browser()
	code, page, _ := b.post("/jobs/"+id+"/entries", "type", "note", "text", "the loom rubs & chafes", "rev", w.rev(id))
	if code != http.StatusForbidden || !strings.Contains(page, "Ines Varga") {
		t.Fatalf("without a PIN: %d\n%s", code, plainText(page))
	}
	if got := w.entries(id); slices.Contains(got, "note") {
		t.Fatalf("written without a person: %v", got)
	}
	held, then := inputValue(t, page, "held"), inputValue(t, page, "then")
	if code, page, _ = b.post("/who", "person", "p-ines", "pin", "0000", "held", held, "then", then); code != http.StatusForbidden || !strings.Contains(page, "not right") {
		t.Fatalf("with a wrong PIN: %d", code)
	}
	if inputValue(t, page, "held") != held {
		t.Error("a wrong PIN loses the form")
	}
	code, page, _ = b.post("/who", "person", "p-ines", "pin", testPIN, "held", held, "then", then)
	if code != 200 || !strings.Contains(page, "the loom rubs &amp; chafes") {
		t.Fatalf("after the PIN: %d\n%s", code, plainText(page))
	}
	if got := w.entries(id); !slices.Equal(got, []string{"received", "note"}) {
		t.Errorf("entries %v", got)
	}
}

// TestBadgeIsBoundToItsDevice: taken to another device, or changed, it opens nothing.
func TestBadgeIsBoundToItsDevice(t *testing.T) {
	w := openShop(t)
	s := w.server
	badge := func(a author) string {
		r := httptest.NewRecorder()
		s.giveBadge(r, a)
		return r.Result().Cookies()[0].Value
	}
	mine := badge(author{Person: "p-ines", Device: "dev-aaaaaaaa", Attested: "pin"})
	for _, c := range []struct{ name, cookie string }{
		{"another device", "device=dev-bbbbbbbb; badge=" + mine},
		{"changed", "device=dev-aaaaaaaa; badge=x" + mine},
		{"cut", "device=dev-aaaaaaaa; badge=" + mine[:10]},
		{"no device", "badge=" + mine},
	} {
		if code := do(t, s, "POST", "/jobs/x/entries", "type=note", "Cookie", c.cookie).Code; code != http.StatusForbidden {
			t.Errorf("%s: %d", c.name, code)
		}
	}
	if code := do(t, s, "POST", "/jobs/x/entries", "type=note", "Cookie", "device=dev-aaaaaaaa; badge="+mine).Code; code != http.StatusNotFound {
		t.Errorf("the right badge, a job that is not there: %d", code)
	}
}

// TestDoubleTap: the same button of the same page twice is one entry; the same words
// on a page that has moved on are a second one.
func TestDoubleTap(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	rev := w.rev(id)
	for range 3 {
		if code, page, _ := b.post("/jobs/"+id+"/entries", "type", "note", "text", "same", "rev", rev); code != 200 {
			t.Fatalf("%d\n%s", code, plainText(page))
		}
	}
	if got := w.entries(id); !slices.Equal(got, []string{"received", "note"}) {
		t.Errorf("three taps gave %v", got)
	}
	b.post("/jobs/"+id+"/entries", "type", "note", "text", "same", "rev", w.rev(id))
	if got := w.entries(id); !slices.Equal(got, []string{"received", "note", "note"}) {
		t.Errorf("the same words later gave %v", got)
	}
	first, second := b.receive("2500"), b.receive("2500")
	if first != second {
		t.Errorf("a double tap at reception opened %s and %s", first, second)
	}
}

// TestEveryButtonWrites goes through the buttons of the job page once.
func TestEveryButtonWrites(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	if code, page, _ := b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", "1,05", "value.cyl2", "1.05", "value.cyl3", "1.59", "value.cyl4", "1.08", "unit", "mm"); code != 200 {
		t.Fatalf("typing a reading: %d\n%s", code, plainText(page))
	}
	for _, c := range [][]string{
		{"set_aside", "item", "1", "reason", "wrong plug"},
		{"counted_again", "item", "1", "reason", "right plug"},
		{"test_chosen", "test", "plug_swap", "subject", "cyl3", "minutes", "20"},
		{"test_started", "test", "plug_swap", "subject", "cyl3"},
		{"found", "test", "plug_swap", "subject", "cyl3", "result", "moves_and_returns"},
		{"test_declined", "test", "injector_ohms", "subject", "cyl3", "reason", "Tool not to hand", "reason_words", "lent out"},
		{"overruled", "suspect", "coil_weak@cyl3", "state", "ruled_out", "reason_words", "new last week"},
		{"part_ordered", "name", "spark plug"},
		{"part_fitted", "name", "spark plug", "number", "TB-7714"},
		{"correction", "text", "four plugs renewed", "suspect", "plug_gap_wide@cyl3"},
		{"interrupted"}, {"resumed"},
		{"approval_asked", "minutes", "30", "how", "phone"}, {"approval_given", "minutes", "30", "how", "phone"},
		{"time_punch", "what", "in"}, {"time_punch", "what", "out"},
		{"hand_over", "card", "plugs are in"},
		{"closed", "result", "not_proven", "because", "customer needs the car"},
		{"reopened", "because", "came back"},
	} {
		fields := append([]string{"type", c[0], "rev", w.rev(id)}, c[1:]...)
		if code, page, _ := b.post("/jobs/"+id+"/entries", fields...); code != 200 {
			t.Errorf("%s: %d\n%s", c[0], code, plainText(page))
		}
	}
	want := []string{"received", "reading_typed", "set_aside", "counted_again", "test_chosen", "test_started", "reading_typed", "test_ended", "test_declined", "overruled",
		"part_ordered", "part_fitted", "correction", "interrupted", "resumed", "approval_asked", "approval_given", "time_punch", "time_punch", "hand_over", "closed", "reopened"}
	if got := w.entries(id); !slices.Equal(got, want) {
		t.Errorf("entries\n%v, want\n%v", got, want)
	}
	v, err := w.bench.Answer(t.Context(), id)
	if err != nil || v == nil {
		t.Fatalf("no answer: %v", err)
	}
	if s := v.Suspects[0]; s.ID != "plug_gap_wide@cyl3" || s.State != "shown" {
		t.Errorf("the gap of 1.59 mm beside 1.05 that moved with the plug leaves %s %s on top", s.ID, s.State)
	}
}

// TestPersonalDataStaysOutOfTheRecord: what was asked stands in the record, and who it was beside
// it.
func TestPersonalDataStaysOutOfTheRecord(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	list, err := w.bench.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		for _, secret := range []string{"Ostrey", "QL 204 T", "ql 204 t"} {
			if strings.Contains(string(e.Payload), secret) {
				t.Errorf("%s holds %s", e.Type, secret)
			}
		}
	}
	if _, page, _ := b.get("/jobs/" + id); !strings.Contains(page, "QL\u00a0204\u00a0T") {
		t.Error("the plate is not on the job's page")
	}
	v, err := w.bench.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.bench.Erase(t.Context(), v.Customer.ID); err != nil {
		t.Fatal(err)
	}
	_, page, _ := b.get("/jobs/" + id)
	if strings.Contains(strings.ReplaceAll(page, "\u00a0", " "), "QL 204 T") || !strings.Contains(page, "erased on request") {
		t.Error("the page after the customer was erased")
	}
}

// TestSettingsOnlyTighten: a limit of safety cannot be loosened, whatever is typed.
func TestSettingsOnlyTighten(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	for value, want := range map[string]int{"12.4": 200, "11.9": 422, "0": 422, "-1": 422, "NaN": 422, "1e9": 422, "zwölf": 422, "": 200} {
		if code, _, _ := b.post("/settings", "units", "si", "limit.supply_warn_v", value); code != want {
			t.Errorf("supply_warn_v = %q: %d, want %d", value, code, want)
		}
	}
	b.post("/settings", "units", "us")
	if _, page, _ := b.get("/settings"); !strings.Contains(page, `value="us" checked`) {
		t.Error("the units were not kept")
	}
	st, err := w.bench.State(t.Context(), shop.ShopJob)
	if err != nil || st.Settings.Units != "us" {
		t.Errorf("settings of the record: %+v, %v", st, err)
	}
}

// TestOwnSuspectAndTestStayInTheShopsBook: added at the fender of one job, offered in
// the next.
func TestOwnSuspectAndTestStayInTheShopsBook(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	first := b.receive("2417")
	code, page, _ := b.post("/library/own", "job", first, "part", "heat shield", "fault", "heat shield touches the coil", "per", "engine", "rate", "often", "scope", "shop",
		"look", "look behind the shield", "good", "clear of it", "bad", "scorch mark", "minutes", "4", "rev", w.rev(first))
	if code != 200 {
		t.Fatalf("%d\n%s", code, plainText(page))
	}
	second := b.receive("2418")
	a, err := w.bench.Answer(t.Context(), second)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(a.Suspects, func(s shop.SuspectAnswer) bool { return s.Fault == "own_heat_shield_touches_the_coil" }) {
		t.Error("the next job does not have the shop's own suspect")
	}
	if _, page, _ := b.get("/library"); !strings.Contains(page, "heat shield touches the coil") {
		t.Error("the library does not list it")
	}
}

func inputValue(t *testing.T, page, name string) string {
	t.Helper()
	i := strings.Index(page, `name="`+name+`" value="`)
	if i < 0 {
		t.Fatalf("no field %s", name)
	}
	rest := page[i+len(`name="`+name+`" value="`):]
	return html.UnescapeString(rest[:strings.IndexByte(rest, '"')])
}

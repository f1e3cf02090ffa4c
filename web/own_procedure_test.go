package web

import (
	"net/url"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/shop"
)

// A procedure of the shop's own, from the form to the run: refused with the way to what
// must never happen, then taken in, offered on the job and in the library, and begun.
func TestOwnProcedureOnThePages(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	text, err := procedure.ShippedText("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	good := strings.ReplaceAll(strings.Replace(string(text), "id: window_initialisation\n", "id: our_window\n", 1), "title: Power window or roof, initialisation", "title: Windows our way")
	bad := strings.Replace(strings.Replace(good, "needs: [save_codes]", "needs: [key_on]", 1), `interlock: {facts: {saved: "yes", ignition: "on"}}`, `interlock: {facts: {ignition: "on"}}`, 1)
	send := func(text string) (int, string) {
		code, body, _ := b.postValues("/library/procedure", url.Values{"key": {"k"}, "text": {strings.ReplaceAll(text, "\n", "\r\n")}})
		return code, body
	}
	code, body := send(bad)
	if code != 422 || !strings.Contains(body, "erased before they are saved") || !strings.Contains(body, `<ol class="story"`) || !strings.Contains(body, "id: our_window") {
		t.Errorf("an unsafe procedure: %d\n%s", code, body)
	}
	if code, body = send("id: x"); code != 422 || !strings.Contains(body, "does not read") {
		t.Errorf("no procedure: %d", code)
	}
	if code, body = send(good); code != 200 || !strings.Contains(body, "Windows our way") {
		t.Fatalf("a sound procedure: %d", code)
	}
	for _, page := range []string{"/library", "/jobs/" + id + "/procedures", "/jobs/new"} {
		if _, body, _ := b.get(page); !strings.Contains(body, "Windows our way") {
			t.Errorf("%s does not offer it", page)
		}
	}
	if code, body, _ = b.postValues("/jobs/"+id+"/procedures", url.Values{"key": {"s"}, "procedure": {"our_window"}}); code != 200 || !strings.Contains(body, "Windows our way") {
		t.Errorf("it does not begin: %d", code)
	}
	var p refusal
	if code, _ := b.call("POST", "/procedures", map[string]any{"key": "a", "text": bad}, &p); code != 422 || p.Type != "/problems/procedure_refused" || !strings.Contains(p.Detail, "erased before they are saved") {
		t.Errorf("by the API: %d %+v", code, p)
	}
	var offers []shop.ProcedureOffer
	if code, _ := b.call("GET", "/procedures", nil, &offers); code != 200 || len(offers) == 0 || !offers[0].Own {
		t.Errorf("the list: %d %+v", code, offers)
	}
}

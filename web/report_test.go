package web

import (
	"encoding/json"
	"strings"
	"testing"

	"proveout/job"
	"proveout/shop"
)

// TestReportOfAServiceOnTheScreen: a service has a report from the start, on the screen,
// on paper and as text, with the minutes of the board and in the language asked for.
func TestReportOfAServiceOnTheScreen(t *testing.T) {
	b := openShop(t).unlocked()
	body, err := json.Marshal(job.Received{Title: "2409", Kind: "service", Procedure: "epb_caliper_pads", AgreedMinutes: 120, Vehicle: job.Form(`{"make":"Dovrik","year":2019}`), Complaint: job.Form(`{"said":"Rear pads, please."}`)})
	if err != nil {
		t.Fatal(err)
	}
	id, _, err := b.bench.Open(t.Context(), shop.Command{Key: "service", Device: "d", Author: "a", Type: job.ReceivedType, Payload: body, Boot: "b"})
	if err != nil {
		t.Fatal(err)
	}
	code, page, _ := b.get("/jobs/" + id + "/report?lang=en")
	said := plainText(page)
	for _, want := range []string{"Service not begun", "120 min at reception; 0 min worked, 120 min left", "No procedure was begun."} {
		if code != 200 || !strings.Contains(said, want) {
			t.Errorf("%d: the report does not say %q: %s", code, want, said)
		}
	}
	if strings.Contains(said, "nothing to report") || strings.Contains(said, "not noted 120") {
		t.Error(said)
	}
	if _, page, _ = b.get("/jobs/" + id + "/report?lang=de"); !strings.Contains(plainText(page), "Service nicht begonnen") {
		t.Error("the German report is not German")
	}
	if code, text, res := b.get("/jobs/" + id + "/report.txt?lang=en"); code != 200 || !strings.Contains(text, "WORK DONE") || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/plain") {
		t.Errorf("as text: %d %s", code, text)
	}
	if code, pdf, _ := b.get("/jobs/" + id + "/report.pdf"); code != 200 || !strings.HasPrefix(pdf, "%PDF-") {
		t.Errorf("on paper: %d", code)
	}
	if _, page, _ = b.get("/jobs/" + id + "/proof"); !strings.Contains(plainText(page), "yet") {
		t.Error("the proof page of a service says nothing")
	}
}

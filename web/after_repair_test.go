package web

import (
	"encoding/json"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
)

// TestWhatIsRecordedAfterTheRepair: once there is a repair, a reading and a capture say
// which side of it they are on, and of a drive somebody says whether the fault was
// there; told that it was noticed, the page wants the times.
func TestWhatIsRecordedAfterTheRepair(t *testing.T) {
	b := openShop(t).unlocked()
	id := b.receive("QL-9")
	typed := regexp.MustCompile(`name="when" value="after" checked`)
	if _, page, _ := b.get("/jobs/" + id + "/reading?test=plug_gap_others"); strings.Contains(page, `name="when"`) {
		t.Error("asked for the side of a repair that was not made")
	}
	if code, page, _ := b.post("/jobs/"+id+"/entries", "type", "correction", "text", "plugs renewed", "why", "asked for", "rev", b.workshop.rev(id)); code != 200 {
		t.Fatalf("correction: %d %s", code, plainText(page))
	}
	_, page, _ := b.get("/jobs/" + id + "/reading?test=plug_gap_others")
	if !typed.MatchString(page) {
		t.Error("a reading after a repair does not say that it is one")
	}
	if code, _, _ := b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", "1.05", "unit", "mm", "when", "after"); code != 200 {
		t.Errorf("reading: %d", code)
	}
	data, err := os.ReadFile("../examples/06-proven-on-the-hill/captures/drive-after.csv")
	if err != nil {
		t.Fatal(err)
	}
	_, page, res := b.postFileOf("/jobs/"+id+"/add?when=after", "file", "drive.csv", data)
	q := res.Request.URL.Query()
	if q.Get("when") != "after" || !typed.MatchString(page) {
		t.Fatalf("the side of the repair was lost on the way: %s", res.Request.URL)
	}
	keep := func(key string, more ...string) int {
		f := url.Values{"sha": {q.Get("sha")}, "name": {q.Get("name")}, "kind": {"parameter_log"}, "when": {"after"}, "key": {key}, "road": {"62 min"}}
		for i := 0; i < len(more); i += 2 {
			f.Set(more[i], more[i+1])
		}
		code, _, _ := b.postValues("/jobs/"+id+"/captures", f)
		return code
	}
	if code := keep("a", "watched", "noticed"); code != 422 {
		t.Errorf("noticed, at no time: %d", code)
	}
	if code := keep("b", "watched", "none"); code != 200 {
		t.Errorf("watched for and not noticed: %d", code)
	}
	if code := keep("c", "watched", "none", "episodes", "41 s, 1.5 min"); code != 200 {
		t.Errorf("noticed twice: %d", code)
	}
	v, err := b.bench.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var drives []string
	for _, it := range v.Items {
		var form struct {
			When  string
			Drive json.RawMessage
		}
		if err := json.Unmarshal(it.Form, &form); err != nil || form.When != "after" {
			t.Errorf("item %d is not of after the repair: %s %v", it.Item, it.Form, err)
		}
		drives = append(drives, string(form.Drive))
	}
	if got := strings.Join(drives, " "); got != ` {"episodes":[],"road":"62 min"} {"episodes":["41 s","1.5 min"],"road":"62 min"}` {
		t.Errorf("drives: %s", got)
	}
}

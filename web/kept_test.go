package web

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"proveout/job"
	"proveout/shop"
)

// away is a tap that waited on a device: what was tapped, how long ago by the device's
// steady clock, how wrong its wall clock is, and with which slip.
type away struct {
	ago   time.Duration
	wrong time.Duration
	slip  string
}

func (a away) headers() map[string]string {
	const now = int64(9e15)
	wall := time.Now().Add(a.wrong)
	made, err := json.Marshal(Clocks{wall.Add(-a.ago), now - int64(a.ago), "page-1", wall, now, "page-1"})
	if err != nil {
		panic(err) // times and numbers always encode
	}
	out := map[string]string{madeHeader: string(made), "Accept": "application/json", "Idempotency-Key": fmt.Sprint("k", a)}
	if a.slip != "" {
		out[slipHeader] = a.slip
	}
	return out
}

// late sends a note that waited.
func (b *browser) late(id, text string, a away) (int, string) {
	b.Helper()
	form := url.Values{"type": {"note"}, "text": {text}}
	r, err := http.NewRequest("POST", b.url+"/jobs/"+id+"/entries", strings.NewReader(form.Encode()))
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for k, v := range a.headers() {
		r.Header.Set(k, v)
	}
	code, body, _ := b.send(r)
	return code, body
}

// cookie is what the browser has under a name.
func (b *browser) cookie(name string) string {
	b.Helper()
	for _, c := range b.client.Jar.Cookies(b.base()) {
		if c.Name == name {
			return c.Value
		}
	}
	b.Fatalf("the browser has no %s", name)
	return ""
}

func (b *browser) base() *url.URL {
	at, err := url.Parse(b.url)
	if err != nil {
		b.Fatal(err)
	}
	return at
}

// badgeOf puts a person's badge on the browser's device, as their PIN would; nobody's
// takes it away.
func (b *browser) badgeOf(person string) {
	b.Helper()
	if person == "" {
		b.client.Jar.SetCookies(b.base(), []*http.Cookie{{Name: badgeCookie, Path: "/", MaxAge: -1}, {Name: slipCookie, Path: "/", MaxAge: -1}})
		return
	}
	rec := httptest.NewRecorder()
	b.server.giveBadge(rec, author{Person: person, Device: b.cookie(deviceCookie), Attested: attestedPIN})
	b.client.Jar.SetCookies(b.base(), rec.Result().Cookies())
}

// slipOf is the slip the browser got when a person showed the PIN a while ago.
func (b *browser) slipOf(person string, ago time.Duration) string {
	b.Helper()
	body, err := json.Marshal(slip{person, b.cookie(deviceCookie), time.Now().Add(-ago).Unix()})
	if err != nil {
		b.Fatal(err)
	}
	mac, err := b.server.sealSlip(body)
	if err != nil {
		b.Fatal(err)
	}
	return base64.RawURLEncoding.EncodeToString(body) + "." + base64.RawURLEncoding.EncodeToString(mac)
}

// TestKeptTapIsWhoseAndWhenItWas: a tap made without the server carries the person who
// had the device unlocked then and the moment it was made, whoever holds the device
// when it is sent and whatever its wall clock says.
func TestKeptTapIsWhoseAndWhenItWas(t *testing.T) {
	w := openShop(t)
	if err := w.bench.PutPerson(t.Context(), shop.Person{ID: "p-jo", Name: "Jo Amberg"}, testPIN); err != nil {
		t.Fatal(err)
	}
	b := w.unlocked()
	id := b.receive("2417")
	mine := b.slipOf("p-ines", 30*time.Minute)
	b.badgeOf("") // it ran out a quarter of an hour ago
	if code, body := b.late(id, "nobody holds it now", away{ago: 20 * time.Minute, slip: mine}); code != 200 {
		t.Fatalf("%d %s", code, body)
	}
	b.badgeOf("p-jo")
	if code, body := b.late(id, "Jo holds it now", away{ago: 10 * time.Minute, wrong: time.Hour, slip: mine}); code != 200 {
		t.Fatalf("%d %s", code, body)
	}
	if code, body := b.late(id, "tapped with nobody there", away{ago: 10 * time.Minute, wrong: -time.Hour}); code != 200 {
		t.Fatalf("%d %s", code, body)
	}
	if code, body := b.late(id, "before the PIN, by its clocks", away{ago: 4 * time.Hour, slip: mine}); code != 200 {
		t.Fatalf("%d %s", code, body)
	}
	list, err := w.bench.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		who, shown string
		ago        time.Duration
	}{
		{"p-ines", attestedKept, 20 * time.Minute},
		{"p-ines", attestedKept, 10 * time.Minute},
		{"p-jo", attestedLater, 10 * time.Minute},
		{"p-ines", attestedKept, 30 * time.Minute}, // not before she showed it
	}
	var notes []shop.EntryView
	for _, e := range list {
		if e.Type == job.NoteType {
			notes = append(notes, e)
		}
	}
	if len(notes) != len(want) {
		t.Fatalf("%d notes, want %d", len(notes), len(want))
	}
	for i, e := range notes {
		at, err := time.Parse(time.RFC3339Nano, e.Wall)
		if err != nil {
			t.Fatal(err)
		}
		if off := time.Since(at) - want[i].ago; e.Author != want[i].who || e.Attested != want[i].shown || off < -2*time.Second || off > time.Minute {
			t.Errorf("%s: %s, %s, %s off the moment it was made; want %+v", e.Payload, e.Author, e.Attested, off, want[i])
		}
	}
}

// TestSlipOpensOnlyWhatItIsFor: a slip is of one device, one shop and one shift, and no
// badge: what was not made without the server needs the PIN.
func TestSlipOpensOnlyWhatItIsFor(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	old, good := b.slipOf("p-ines", 13*time.Hour), b.slipOf("p-ines", 20*time.Minute)
	if given := b.cookie(slipCookie); given == "" {
		t.Error("the badge came without a slip")
	}
	other := w.unlocked()
	b.badgeOf("")
	other.badgeOf("")
	for _, c := range []struct {
		name string
		b    *browser
		a    away
		want int
	}{
		{"as it was given", b, away{ago: 10 * time.Minute, slip: good}, 200},
		{"made just now", b, away{ago: time.Second, slip: good}, 403},
		{"of another device", other, away{ago: 10 * time.Minute, slip: good}, 403},
		{"a shift later", b, away{ago: 10 * time.Minute, slip: old}, 403},
		{"changed", b, away{ago: 10 * time.Minute, slip: "x" + good}, 403},
		{"cut", b, away{ago: 10 * time.Minute, slip: good[:9]}, 403},
		{"none", b, away{ago: 10 * time.Minute}, 403},
	} {
		if code, body := c.b.late(id, c.name, c.a); code != c.want || code == 403 && !strings.Contains(body, "Entries that wait on the device are kept") {
			t.Errorf("%s: %d, want %d\n%s", c.name, code, c.want, body)
		}
	}
	b.badgeOf("p-ines")
	if code, body := b.late(id, "a shift later, and she shows it anew", away{ago: 10 * time.Minute, slip: old}); code != 200 {
		t.Errorf("with the same person's PIN: %d %s", code, body)
	}
}

// TestSlipOutlivesARestart: the machine that was away was perhaps started anew.
func TestSlipOutlivesARestart(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	again, err := New(w.bench, w.server.o)
	if err != nil {
		t.Fatal(err)
	}
	a := away{ago: 10 * time.Minute, slip: b.slipOf("p-ines", 20*time.Minute)}
	headers := []string{"Content-Type", "application/x-www-form-urlencoded", "Cookie", "device=" + b.cookie(deviceCookie)}
	for k, v := range a.headers() {
		headers = append(headers, k, v)
	}
	if r := do(t, again, "POST", "/jobs/"+id+"/entries", "type=note&text=kept", headers...); r.Code != 200 {
		t.Errorf("%d %s", r.Code, r.Body)
	}
}

package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"proveout/shop"
)

// Every entry says who wrote it. A person shows a PIN once and may then write from
// that device for a short while; each entry renews it, and putting the device down
// ends it.
const (
	badgeCookie  = "badge"
	deviceCookie = "device"
	badgeTime    = 15 * time.Minute // our choice: a test at the car, not a coffee break
)

// author is who writes, from which device, and what was shown for it.
type author struct {
	Person   string `json:"p"`
	Device   string `json:"d"`
	Attested string `json:"a"`
	Until    int64  `json:"u"` // Unix seconds
}

// errNobody is when a write comes from a device nobody has unlocked.
var errNobody = errors.New("nobody has unlocked this device")

// device is the opaque id of the browser, made at its first visit.
func (s *Server) device(w http.ResponseWriter, r *http.Request) string {
	if id := s.deviceOf(r); id != "" {
		return id
	}
	id := "dev-" + rand.Text()[:16]
	http.SetCookie(w, &http.Cookie{Name: deviceCookie, Value: id, Path: "/", MaxAge: 5 * 365 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	r.AddCookie(&http.Cookie{Name: deviceCookie, Value: id})
	return id
}

// deviceOf is the device that a request names; empty: none.
func (s *Server) deviceOf(r *http.Request) string {
	if id := r.Header.Get("X-Device"); validDevice(id) {
		return id // a program: it keeps its own
	}
	if c, err := r.Cookie(deviceCookie); err == nil && validDevice(c.Value) {
		return c.Value
	}
	return ""
}

func validDevice(id string) bool {
	if len(id) < 8 || len(id) > 64 {
		return false
	}
	return strings.IndexFunc(id, func(c rune) bool {
		return !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-')
	}) < 0
}

// author reads the badge of a request; errNobody when there is none or it ran out.
func (s *Server) author(w http.ResponseWriter, r *http.Request) (author, error) {
	device := s.device(w, r)
	if a, ok := r.Context().Value(unlockedKey{}).(author); ok {
		return a, nil
	}
	if person, pin := r.Header.Get("X-Person"), r.Header.Get("X-Pin"); person != "" && pin != "" {
		if err := s.bench.CheckPIN(r.Context(), person, pin); err != nil {
			return author{}, err
		}
		return author{Person: person, Device: device, Attested: attestedPIN}, nil
	}
	a, ok := s.badge(r, device)
	if m := s.when(r); m.Kept {
		return s.keptAuthor(r, device, m, a, ok)
	}
	if !ok {
		return author{}, errNobody
	}
	if a.Until-s.now().Unix() < int64((badgeTime - time.Minute).Seconds()) {
		s.giveBadge(w, a)
	}
	return a, nil
}

// badge reads the badge of a request; false when there is none or it ran out.
func (s *Server) badge(r *http.Request, device string) (author, bool) {
	c, err := r.Cookie(badgeCookie)
	if err != nil {
		return author{}, false
	}
	a, ok := s.openBadge(c.Value)
	return a, ok && a.Device == device && s.now().Unix() <= a.Until
}

// giveBadge writes a badge that is good for badgeTime from now.
func (s *Server) giveBadge(w http.ResponseWriter, a author) {
	a.Until = s.now().Add(badgeTime).Unix()
	body, err := json.Marshal(a)
	if err != nil {
		return // strings and a number always encode
	}
	value := base64.RawURLEncoding.EncodeToString(body) + "." + base64.RawURLEncoding.EncodeToString(s.seal(body))
	http.SetCookie(w, &http.Cookie{Name: badgeCookie, Value: value, Path: "/", MaxAge: int(badgeTime.Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode})
	s.giveSlip(w, a)
}

func (s *Server) openBadge(value string) (author, bool) {
	var a author
	b64, mac64, ok := strings.Cut(value, ".")
	if !ok {
		return a, false
	}
	body, err1 := base64.RawURLEncoding.DecodeString(b64)
	mac, err2 := base64.RawURLEncoding.DecodeString(mac64)
	if err1 != nil || err2 != nil || !hmac.Equal(mac, s.seal(body)) {
		return a, false
	}
	return a, json.Unmarshal(body, &a) == nil
}

// seal signs with a key of this process: a restart asks everyone for the PIN again.
func (s *Server) seal(body []byte) []byte {
	m := hmac.New(sha256.New, s.key)
	m.Write(body)
	return m.Sum(nil)
}

// unlockedKey carries an author through the request that follows a PIN.
type unlockedKey struct{}

// whoPage asks who writes. Held is the form that waits meanwhile.
type whoPage struct {
	People []shop.Person
	Then   string // where the held form goes
	Held   string
	Back   string
	Wrong  bool
	Detail string
	First  bool // nobody is entered yet
	Demo   string
}

func init() {
	routes = append(routes,
		route{pattern: "GET /who", serve: showWho},
		route{pattern: "POST /who", serve: unlock, body: 4 << 20},
		route{pattern: "POST /who/lock", serve: lock},
	)
}

func showWho(s *Server, w http.ResponseWriter, r *http.Request) error {
	return s.who(w, r, whoPage{Back: ours(r.URL.Query().Get("back"))})
}

func (s *Server) who(w http.ResponseWriter, r *http.Request, v whoPage) error {
	people, err := s.bench.People(r.Context())
	if err != nil {
		return err
	}
	for _, p := range people {
		if !p.Gone {
			v.People = append(v.People, p)
		}
	}
	v.First, v.Demo = len(v.People) == 0, s.o.DemoPIN
	status := http.StatusOK
	if v.Held != "" || v.Wrong {
		status = http.StatusForbidden
	}
	return s.page(w, r, sheet{Name: "who", Title: s.printer(r).T("who.title"), Status: status, View: v, Styles: []string{"job.css"}})
}

// authored wraps a posted form: without a badge it asks who, keeps the form, and
// carries it out after the PIN. Nothing typed is lost.
func authored(h func(*Server, http.ResponseWriter, *http.Request, author) error) handler {
	return func(s *Server, w http.ResponseWriter, r *http.Request) error {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return err
		}
		r.Body = io.NopCloser(strings.NewReader(string(body)))
		a, err := s.author(w, r)
		if errors.Is(err, errNobody) && wantsPage(r) && strings.HasPrefix(r.Header.Get("Content-Type"), "application/x-www-form-urlencoded") {
			return s.who(w, r, whoPage{Then: r.URL.RequestURI(), Held: string(body), Back: backTo(r)})
		}
		if err != nil {
			return err
		}
		return h(s, w, r, a)
	}
}

// unlock checks a PIN, gives the badge and carries out the form that waited.
func unlock(s *Server, w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	back := ours(f.Get("back"))
	person, pin := f.Get("person"), f.Get("pin")
	if name := strings.TrimSpace(f.Get("name")); name != "" {
		people, err := s.bench.People(r.Context())
		if err != nil {
			return err
		}
		if len(people) > 0 {
			return &Problem{Status: http.StatusForbidden, Kind: "people_known"}
		}
		person = "p-" + rand.Text()[:10]
		if err := s.bench.PutPerson(r.Context(), shop.Person{ID: person, Name: clip(name, 100), Role: "technician"}, pin); err != nil {
			return err
		}
	}
	if err := s.bench.CheckPIN(r.Context(), person, pin); err != nil {
		if !errors.Is(err, shop.ErrPIN) {
			return err
		}
		return s.who(w, r, whoPage{Then: f.Get("then"), Held: f.Get("held"), Back: back, Wrong: true, Detail: err.Error()})
	}
	a := author{Person: person, Device: s.device(w, r), Attested: attestedPIN}
	s.giveBadge(w, a)
	then := f.Get("then")
	if then == "" || ours(then) != then {
		http.Redirect(w, r, back, http.StatusSeeOther)
		return nil
	}
	u, err := url.Parse(then)
	if err != nil {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Cause: err}
	}
	held := r.Clone(context.WithValue(r.Context(), unlockedKey{}, a))
	held.URL, held.RequestURI = u, then
	held.Form, held.PostForm = nil, nil
	held.Body = io.NopCloser(strings.NewReader(f.Get("held")))
	held.ContentLength = int64(len(f.Get("held")))
	held.Header.Set("Referer", "http://"+r.Host+back)
	s.mux.ServeHTTP(w, held)
	return nil
}

// lock ends the unlock of this device.
func lock(_ *Server, w http.ResponseWriter, r *http.Request) error {
	http.SetCookie(w, &http.Cookie{Name: badgeCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	http.SetCookie(w, &http.Cookie{Name: slipCookie, Path: "/", MaxAge: -1, SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, backTo(r), http.StatusSeeOther)
	return nil
}

// clip cuts a text to at most n runes.
func clip(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n])
	}
	return s
}

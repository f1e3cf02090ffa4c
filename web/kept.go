package web

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"strings"
	"time"
)

// What is tapped without the server waits on the device and is sent later. It counts
// as what it was: done when it was done, by whom had the device unlocked then, and not
// by whoever holds it when the server is back.
//
// The moment: the page says what its clocks read when it was tapped and what they read
// when it is sent. The difference is taken off this machine's clock, so that a device
// with a wrong clock does no harm.
//
// The person: with the badge the browser gets a slip, which its script can read, and
// puts the slip beside every tap. It is sealed with a secret of the shop that outlives
// a restart, and says from when on it may be used.

const (
	slipCookie = "slip"
	slipHeader = "X-Slip"
	madeHeader = "X-Made"
	// slipTime bounds how long after the PIN a tap may still be made without the server
	// (our choice: a shift). The page itself asks anew after 15 idle minutes.
	slipTime = 12 * time.Hour
	// keptTime bounds how far back the clocks of a device may put a tap that has no slip.
	keptTime = 31 * 24 * time.Hour
	// justNow is what sending takes: a tap that is not older was not kept (our choice).
	justNow = 5 * time.Second
)

// What was shown for an entry, as the record has it.
const (
	attestedPIN   = "pin"
	attestedKept  = "pin, before the server was away"
	attestedLater = "pin, shown when it was sent"
)

// slip says who had a device unlocked from a moment on.
type slip struct {
	Person string `json:"p"`
	Device string `json:"d"`
	From   int64  `json:"f"` // Unix seconds
}

// giveSlip goes with every badge.
func (s *Server) giveSlip(w http.ResponseWriter, a author) {
	body, err := json.Marshal(slip{a.Person, a.Device, s.now().Unix()})
	if err != nil {
		return // strings and a number always encode
	}
	mac, err := s.sealSlip(body)
	if err != nil {
		s.log.Error("no slip for a device", "err", err)
		return // what is tapped without the server will ask for a PIN
	}
	value := base64.RawURLEncoding.EncodeToString(body) + "." + base64.RawURLEncoding.EncodeToString(mac)
	http.SetCookie(w, &http.Cookie{Name: slipCookie, Value: value, Path: "/", MaxAge: int(badgeTime.Seconds()), SameSite: http.SameSiteLaxMode})
}

func (s *Server) sealSlip(body []byte) ([]byte, error) {
	secret, err := s.bench.Secret("slip")
	if err != nil {
		return nil, err
	}
	m := hmac.New(sha256.New, secret)
	m.Write(body)
	return m.Sum(nil), nil
}

// slipOf reads the slip a tap was made with; false where there is none that holds.
func (s *Server) slipOf(r *http.Request, device string) (slip, bool) {
	var l slip
	b64, mac64, ok := strings.Cut(r.Header.Get(slipHeader), ".")
	if !ok {
		return l, false
	}
	body, err1 := base64.RawURLEncoding.DecodeString(b64)
	mac, err2 := base64.RawURLEncoding.DecodeString(mac64)
	if err1 != nil || err2 != nil {
		return l, false
	}
	want, err := s.sealSlip(body)
	if err != nil || !hmac.Equal(mac, want) || json.Unmarshal(body, &l) != nil || l.Device != device {
		return l, false
	}
	return l, true
}

// Clocks (exported, since the library that writes the API document skips embedded
// fields that are not) are what a device's clocks said when something was tapped, and when it was sent.
type Clocks struct {
	Wall    time.Time `json:"wall,omitempty"`
	Mono    int64     `json:"monotonic_ns,omitempty"`
	Boot    string    `json:"boot,omitempty"`
	NowWall time.Time `json:"now_wall,omitempty"`
	NowMono int64     `json:"now_monotonic_ns,omitempty"`
	NowBoot string    `json:"now_boot,omitempty"`
}

// age is how long something waited on the device: by the clock that never jumps where
// the page was not opened anew, else by its wall clock. Never below zero.
func (c Clocks) age() time.Duration {
	switch {
	case c.Boot != "" && c.Boot == c.NowBoot:
		return max(0, time.Duration(c.NowMono-c.Mono))
	case !c.Wall.IsZero() && !c.NowWall.IsZero():
		return max(0, c.NowWall.Sub(c.Wall))
	}
	return 0
}

// doneAt is when something was done, on this machine's clock.
type doneAt struct {
	Wall time.Time
	Mono int64
	Boot string
	Kept bool // it waited on the device
}

// when is when the request's command was given: now, unless the page says that it
// waited.
func (s *Server) when(r *http.Request) doneAt {
	now := s.now()
	here := doneAt{Wall: now, Mono: now.Sub(s.started).Nanoseconds(), Boot: s.boot}
	var c Clocks
	if h := r.Header.Get(madeHeader); h == "" || json.Unmarshal([]byte(h), &c) != nil {
		return here
	}
	age := c.age()
	if age <= justNow {
		return here
	}
	at := now.Add(-min(age, keptTime))
	if l, ok := s.slipOf(r, s.deviceOf(r)); ok && at.Unix() < l.From {
		at = time.Unix(l.From, 0) // the slip is of this machine's clock
	}
	return doneAt{Wall: at, Mono: c.Mono, Boot: c.Boot, Kept: true}
}

// keptAuthor is who made an entry that waited on the device. Someone else's badge does
// not make it theirs: without a slip that holds, whoever had the device unlocked is
// asked to show the PIN now.
func (s *Server) keptAuthor(r *http.Request, device string, m doneAt, badge author, unlocked bool) (author, error) {
	l, ok := s.slipOf(r, device)
	switch {
	case ok && m.Wall.Unix() <= l.From+int64(slipTime.Seconds()):
		return author{Person: l.Person, Device: device, Attested: attestedKept}, nil
	case !unlocked:
		return author{}, errNobody
	case ok && badge.Person != l.Person:
		return author{}, errNobody // too long after that person's PIN: they show it anew
	}
	badge.Attested = attestedLater
	return badge, nil
}

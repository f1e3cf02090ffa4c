package shop

import (
	"cmp"
	"context"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"proveout/job"
	"proveout/store"
)

// Person is somebody who works in the shop. The record knows the id only; name and
// PIN lie beside it.
type Person struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	Role   string `json:"role,omitempty"` // technician, foreman, office
	HasPIN bool   `json:"has_pin"`
	Gone   bool   `json:"gone,omitempty"` // no longer works here: signs nothing more
}

// storedPerson is a person with the hash of the PIN.
type storedPerson struct {
	Person
	Salt []byte `json:"salt,omitempty"`
	Hash []byte `json:"hash,omitempty"`
}

const (
	personDoc = "person"
	// pinRounds makes trying all four-digit PINs of a stolen store cost about an hour
	// on one core; the figure is OWASP's for PBKDF2 with SHA-256 (Password Storage
	// Cheat Sheet, 600,000; from memory).
	pinRounds = 600_000
	// pinTries wrong PINs in a row lock a person's PIN for pinPause (our choice).
	pinTries = 5
	pinPause = time.Minute
)

// ErrPIN is a wrong PIN.
var ErrPIN = errors.New("the PIN is not right")

// PutPerson adds or changes a person; an empty pin leaves the PIN as it is.
func (b *Bench) PutPerson(ctx context.Context, p Person, pin string) error {
	if p.ID == "" || strings.TrimSpace(p.Name) == "" {
		return fmt.Errorf("%w: a person has an id and a name", ErrBadCommand)
	}
	s, err := b.person(ctx, p.ID)
	if err != nil && !isNotFound(err) {
		return err
	}
	s.Person = p
	if pin != "" {
		if len(pin) < 4 || len(pin) > 32 {
			return fmt.Errorf("%w: a PIN has 4 to 32 characters", ErrBadCommand)
		}
		s.Salt = make([]byte, 16)
		_, _ = rand.Read(s.Salt) // never fails: it ends the program instead
		if s.Hash, err = pbkdf2.Key(sha256.New, pin, s.Salt, pinRounds, 32); err != nil {
			return err
		}
	}
	s.HasPIN = len(s.Hash) > 0
	body, err := json.Marshal(s)
	if err != nil {
		return err
	}
	if err := b.store.PutDoc(ctx, personDoc, p.ID, body); err != nil {
		return err
	}
	b.people.staff.Delete(p.ID)
	b.beside.Add(1)
	b.feed.tell(Change{What: "people"})
	return nil
}

func (b *Bench) person(ctx context.Context, id string) (storedPerson, error) {
	if s, ok := b.people.staff.Load(id); ok {
		have := s.(storedPerson)
		if have.ID == "" {
			return have, fmt.Errorf("person %s: %w", id, store.ErrNotFound)
		}
		return have, nil
	}
	var s storedPerson
	body, err := b.store.Doc(ctx, personDoc, id)
	if isNotFound(err) {
		b.people.staff.Store(id, storedPerson{}) // known not to be there: until PutPerson
	}
	if err != nil {
		return s, err
	}
	if err := json.Unmarshal(body, &s); err != nil {
		return s, err
	}
	b.people.staff.Store(id, s)
	return s, nil
}

// personName is a person's name; the id where it is not known.
func (b *Bench) personName(ctx context.Context, id string) (string, error) {
	if id == "" {
		return "", nil
	}
	s, err := b.person(ctx, id)
	if isNotFound(err) {
		return id, nil
	}
	return s.Name, err
}

// worksHere holds a command that gives a job to somebody to the people of the shop.
func (b *Bench) worksHere(ctx context.Context, c Command) error {
	if c.Type != job.HandOverType && c.Type != job.VehicleChangedType {
		return nil
	}
	var p struct {
		To         string `json:"to"`
		Technician string `json:"technician"`
	}
	_ = json.Unmarshal(c.Payload, &p) // what cannot be read is refused when it is checked
	id := cmp.Or(strings.TrimSpace(p.To), strings.TrimSpace(p.Technician))
	if id == "" {
		return nil
	}
	s, err := b.person(ctx, id)
	if err != nil && !isNotFound(err) {
		return err
	}
	if err != nil || s.Gone {
		return fmt.Errorf("%w: nobody called %q works here; give the id of a person of the shop, or nobody", ErrBadCommand, id)
	}
	return nil
}

// People lists who works in the shop.
func (b *Bench) People(ctx context.Context) ([]Person, error) {
	docs, err := b.store.Docs(ctx, personDoc)
	if err != nil {
		return nil, err
	}
	out := make([]Person, 0, len(docs))
	for _, body := range docs {
		var s storedPerson
		if err := json.Unmarshal(body, &s); err != nil {
			return nil, err
		}
		out = append(out, s.Person)
	}
	slices.SortFunc(out, func(x, y Person) int { return cmp.Or(strings.Compare(x.Name, y.Name), strings.Compare(x.ID, y.ID)) })
	return out, nil
}

// CheckPIN says whether the PIN is the person's. After five wrong ones in a row it
// refuses for a minute, right or wrong.
func (b *Bench) CheckPIN(ctx context.Context, id, pin string) error {
	s, err := b.person(ctx, id)
	if err != nil || s.Gone || !s.HasPIN {
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
		return ErrPIN
	}
	now := b.o.Clock()
	if wait := b.people.wrong.pause(id, now); wait > 0 {
		return fmt.Errorf("%w: too many wrong ones, wait %d s", ErrPIN, int(wait.Seconds())+1)
	}
	hash, err := pbkdf2.Key(sha256.New, pin, s.Salt, pinRounds, 32)
	if err != nil {
		return err
	}
	if subtle.ConstantTimeCompare(hash, s.Hash) != 1 {
		b.people.wrong.add(id, now)
		return ErrPIN
	}
	b.people.wrong.clear(id)
	return nil
}

// wrongPINs counts wrong PINs in a row.
type wrongPINs struct {
	mu    sync.Mutex
	tries map[string]int
	since map[string]time.Time
}

func (w *wrongPINs) pause(id string, now time.Time) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.tries[id] < pinTries {
		return 0
	}
	return w.since[id].Add(pinPause).Sub(now)
}

func (w *wrongPINs) add(id string, now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.tries == nil {
		w.tries, w.since = map[string]int{}, map[string]time.Time{}
	}
	w.tries[id]++
	w.since[id] = now
}

func (w *wrongPINs) clear(id string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.tries, id)
}

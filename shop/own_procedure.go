package shop

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"proveout/job"
	"proveout/procedure"
	"proveout/procedure/checker"
	"proveout/store"
	"proveout/strict"
)

// A shop may keep procedures of its own beside those that come with the program. One is
// taken in only after the checker went through every state it can reach; every run pins
// the text it began with by its hash, and carries it. What was checked is remembered
// beside the record by the hash of the text and the program that checked: an entry that
// came another way (an import, a program of somebody) does not vouch for a text, it is
// checked here before the first run.

// Bounds of a procedure of the shop's own (our choices): the text fits an entry, and a
// person waits for the check. The largest shipped one has 470,000 states.
const (
	maxProcedureText   = 128 << 10
	maxProcedureStates = 1_000_000
)

// ProcedureOffer is a procedure that can be started here.
type ProcedureOffer struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Summary string `json:"summary"`
	Version int    `json:"version"`
	SHA256  string `json:"sha256"`
	Steps   int    `json:"steps"` // without the ways back
	Own     bool   `json:"own,omitempty"`
	Added   string `json:"added,omitempty"` // when the shop took it in
	Entry   string `json:"entry,omitempty"` // by which it did
}

// RefusedProcedure is a text that is not taken in: it does not read, or the checker
// found a way to what must never happen.
type RefusedProcedure struct {
	Problems []string        `json:"problems"` // of the text, each with its place
	Report   *checker.Report `json:"report,omitempty"`
}

func (e *RefusedProcedure) Error() string {
	lines := slices.Clone(e.Problems)
	if e.Report != nil {
		for _, x := range e.Report.Problems {
			lines = append(lines, strings.Join(append([]string{x.Text}, x.Story...), " > "))
		}
	}
	return "the procedure is not taken: " + strings.Join(lines, "; ")
}

// procedureShelf keeps what was compiled and checked, by the hash of the text.
type procedureShelf struct {
	mu       sync.Mutex
	machines map[string]*procedure.Machine
	checking sync.Mutex // one check at a time: it takes memory
}

// loadOwn compiles a text of the shop's own.
func (b *Bench) loadOwn(text []byte) (*procedure.Machine, error) {
	sum := job.Digest(text)
	p := &b.procedures
	p.mu.Lock()
	m := p.machines[sum]
	p.mu.Unlock()
	if m != nil {
		return m, nil
	}
	if len(text) > maxProcedureText {
		return nil, &RefusedProcedure{Problems: []string{fmt.Sprintf("the text has %d bytes, a procedure at most %d", len(text), maxProcedureText)}}
	}
	m, ps := procedure.Load("procedure.yaml", text)
	if m == nil {
		e := &RefusedProcedure{}
		for _, x := range strict.Errors(ps) {
			e.Problems = append(e.Problems, x.String())
		}
		return nil, e
	}
	if slices.Contains(procedure.Shipped(), m.File.ID) {
		return nil, &RefusedProcedure{Problems: []string{fmt.Sprintf("id: %q is that of a procedure that comes with the program; give your own another id", m.File.ID)}}
	}
	return m, nil
}

// checkedProcedure is what is remembered of a check.
type checkedProcedure struct {
	Program     string `json:"program"`
	States      int    `json:"states"`
	Transitions int    `json:"transitions"`
	Rules       int    `json:"rules"`
}

// checkedKind is the kind of the documents that remember checks.
const checkedKind = "checked_procedure"

// checkOwn compiles a text and sees that this program's checker has passed it.
func (b *Bench) checkOwn(ctx context.Context, text []byte) (*procedure.Machine, checkedProcedure, error) {
	m, err := b.loadOwn(text)
	if err != nil {
		return nil, checkedProcedure{}, err
	}
	p, sum := &b.procedures, job.Digest(text)
	p.checking.Lock()
	defer p.checking.Unlock()
	var was checkedProcedure
	doc, err := b.store.Doc(ctx, checkedKind, sum)
	switch {
	case err == nil:
		if err := json.Unmarshal(doc, &was); err != nil {
			return nil, was, err
		}
	case !errors.Is(err, store.ErrNotFound):
		return nil, was, err
	}
	if was.Program != b.o.Program || was.States == 0 {
		r := checker.Check(m, checker.Options{MaxStates: maxProcedureStates})
		if !r.Passed {
			return nil, was, &RefusedProcedure{Report: &r}
		}
		was = checkedProcedure{b.o.Program, r.States, r.Transitions, r.Rules}
		if doc, err = json.Marshal(was); err != nil {
			return nil, was, err
		}
		if err := b.store.PutDoc(ctx, checkedKind, sum, doc); err != nil {
			return nil, was, err
		}
	}
	p.mu.Lock()
	if p.machines == nil {
		p.machines = map[string]*procedure.Machine{}
	}
	p.machines[sum] = m
	p.mu.Unlock()
	return m, was, nil
}

// AddProcedure takes a procedure of the shop's own in. A text that does not read or that
// the checker does not pass is a *RefusedProcedure, and nothing is written.
func (b *Bench) AddProcedure(ctx context.Context, text []byte, c Command) (*ProcedureOffer, Receipt, error) {
	m, was, err := b.checkOwn(ctx, text)
	if err != nil {
		return nil, Receipt{}, err
	}
	c.Type = job.ProcedureAddedType
	if c.Payload, err = json.Marshal(job.ProcedureAdded{Procedure: m.File.ID, Title: m.File.Title, Version: m.File.Version, SHA256: job.Digest(text), Text: string(text),
		States: was.States, Transitions: was.Transitions, Rules: was.Rules, Program: was.Program}); err != nil {
		return nil, Receipt{}, err
	}
	r, err := b.write(ctx, ShopJob, c)
	if err != nil {
		return nil, r, err
	}
	o := offerOf(m, text)
	o.Own, o.Entry = true, r.Entry
	return &o, r, nil
}

func offerOf(m *procedure.Machine, text []byte) ProcedureOffer {
	o := ProcedureOffer{ID: m.File.ID, Title: m.File.Title, Summary: m.File.Summary, Version: m.File.Version, SHA256: job.Digest(text)}
	for i := range m.Steps {
		if m.Steps[i].Origin() != "recovery" {
			o.Steps++
		}
	}
	return o
}

// shippedOffers are the procedures that come with the program; each passed its check
// when the program was built: the test of package checker goes through them all.
var shippedOffers = sync.OnceValues(func() ([]ProcedureOffer, error) {
	var out []ProcedureOffer
	for _, id := range procedure.Shipped() {
		text, err := procedure.ShippedText(id)
		if err != nil {
			return nil, err
		}
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			return nil, err
		}
		out = append(out, offerOf(m, text))
	}
	return out, nil
})

// Procedures lists what can be started: the shop's own first, the newest of each id,
// then those that come with the program.
func (b *Bench) Procedures(ctx context.Context) ([]ProcedureOffer, error) {
	own, err := b.ownProcedures(ctx)
	if err != nil {
		return nil, err
	}
	var out []ProcedureOffer
	for i := range own {
		p := &own[i]
		m, err := b.loadOwn([]byte(p.What.Text))
		if err != nil {
			continue // it came another way and does not read here: it is not offered
		}
		o := offerOf(m, []byte(p.What.Text))
		o.Own, o.Added, o.Entry = true, p.Wall, p.Entry
		out = append(out, o)
	}
	slices.SortStableFunc(out, func(x, y ProcedureOffer) int { return cmp.Compare(x.Title, y.Title) })
	shipped, err := shippedOffers()
	return append(out, shipped...), err
}

// ownProcedures are the newest texts, one for each id.
func (b *Bench) ownProcedures(ctx context.Context) ([]job.Said[job.ProcedureAdded], error) {
	s, err := b.shopState(ctx)
	if err != nil {
		return nil, err
	}
	var out []job.Said[job.ProcedureAdded]
	for _, p := range s.Procedures {
		out = slices.DeleteFunc(out, func(o job.Said[job.ProcedureAdded]) bool { return o.What.Procedure == p.What.Procedure })
		out = append(out, p)
	}
	return out, nil
}

// offered loads a procedure that is about to be started, with its text.
func (b *Bench) offered(ctx context.Context, id string) (*procedure.Machine, []byte, error) {
	if text, err := procedure.ShippedText(id); err == nil {
		m, _, err := procedure.LoadShipped(id)
		return m, text, err
	}
	own, err := b.ownProcedures(ctx)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(own, func(p job.Said[job.ProcedureAdded]) bool { return p.What.Procedure == id })
	if i < 0 {
		return nil, nil, fmt.Errorf("there is no procedure %q: %w", id, store.ErrNotFound)
	}
	text := []byte(own[i].What.Text)
	m, _, err := b.checkOwn(ctx, text)
	return m, text, err
}

// machineOf loads the procedure of a run with the SHA-256 of its text: the text that the
// run carries, else that of the program.
func (b *Bench) machineOf(rec *job.Run) (*procedure.Machine, string, error) {
	if rec.Text != "" {
		text := []byte(rec.Text)
		m, _, err := b.checkOwn(context.Background(), text)
		return m, job.Digest(text), err
	}
	text, err := procedure.ShippedText(rec.Procedure)
	if err != nil {
		return nil, "", fmt.Errorf("%w: %w", store.ErrNotFound, err)
	}
	m, _, err := procedure.LoadShipped(rec.Procedure)
	return m, job.Digest(text), err
}

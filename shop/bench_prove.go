package shop

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"proveout/job"
	"proveout/store"
)

// proofShelf keeps the newest proof of the jobs looked at last: working one out
// reads every drive again.
type proofShelf struct {
	mu    sync.Mutex
	kept  map[string]*keptProof
	order []string
}

type keptProof struct {
	mu     sync.Mutex // of one proof under way
	basis  string
	report *ReportAnswer
	err    error
}

// keptProofs is how many jobs keep their newest proof in memory (our choice).
const keptProofs = 50

// ErasedCustomer stands for the name of a customer whose data was erased.
const ErasedCustomer = "erased on request"

// ErrNoProof is when there is nothing yet that a proof could be worked out from.
var ErrNoProof = errors.New("no proof can be worked out yet")

// Proof says whether the repair of a job is proven, and what is left to drive; the
// same engine answers job folders. It is worked out once for the same entries and
// settings.
func (b *Bench) Proof(ctx context.Context, jobID string) (*ProofAnswer, error) {
	r, err := b.Report(ctx, jobID)
	if err != nil {
		return nil, err
	}
	if !r.Judged {
		return nil, ErrNoProof
	}
	return r.Proof, nil
}

// Report gathers the report of a job. Its fingerprint is that of the record: of the
// list "device sequence digest" of the heads of its chains, in order of the device.
// What the answer points to is shared and must not be changed.
func (b *Bench) Report(ctx context.Context, jobID string) (*ReportAnswer, error) {
	c, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return nil, err
	}
	state, done := c.state, c.workDone()
	c.mu.Unlock()
	in, err := b.basis(ctx, state)
	if err != nil {
		return nil, err
	}
	told := drivesTold(state)
	basis := fmt.Sprint(in.hash, b.beside.Load(), told)
	k := b.proofs.get(jobID)
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.basis != basis {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		r, err := b.report(ctx, in, told)
		if err != nil && !errors.Is(err, ErrNoProof) {
			return nil, err // may go well the next time
		}
		k.basis, k.report, k.err = basis, r, err
	}
	if k.err != nil {
		return nil, k.err
	}
	out := *k.report
	if err := b.addWork(ctx, &out, done); err != nil {
		return nil, err
	}
	key, err := b.key()
	if err != nil {
		return nil, fmt.Errorf("the shop's key: %w", err)
	}
	out.ShopKey = fingerprint(key.Public())
	out.Fingerprint = fmt.Sprintf("%x", sha256.Sum256([]byte(headsText(state.Heads))))
	out.FingerprintOf = fmt.Sprintf("the record: %d entries of %d device%s", state.Entries, len(state.Heads), plural(len(state.Heads)))
	return &out, nil
}

func (b *Bench) report(ctx context.Context, in basis, told []job.DriveAdded) (*ReportAnswer, error) {
	f, problems := job.Parse("job.yaml", in.text)
	if f == nil {
		return nil, errors.Join(ErrNoProof, problemError(problems))
	}
	o := Options{Books: b.o.Books, Reason: b.o.Reason, Limits: b.o.Limits, Program: b.o.Program}
	p, err := prove(&inStore{b: b, state: in.state}, f, o, told)
	switch {
	case err == nil:
	case in.state.Kind == "service" || len(in.state.Runs) > 0 || in.state.PutRight():
		// Nothing is to be diagnosed: what was agreed and done stands all the same.
		p = unjudged(f, o)
	default:
		return nil, errors.Join(ErrNoProof, err)
	}
	r := p.report()
	r.Judged, r.Service = err == nil, in.state.Kind == "service"
	return r, b.fillNames(ctx, in.state, r)
}

// unjudged holds what was noted about a job of which nothing was worked out.
func unjudged(f *job.File, o Options) *proving {
	a := newAnswer(f, o)
	p := &proving{work: &work{o: o, file: f, answer: a}, diagnosis: a, out: newProofAnswer(a)}
	p.fillRepair()
	return p
}

func (s *proofShelf) get(id string) *keptProof {
	s.mu.Lock()
	defer s.mu.Unlock()
	if k, ok := s.kept[id]; ok {
		return k
	}
	if s.kept == nil {
		s.kept = map[string]*keptProof{}
	}
	if len(s.order) >= keptProofs {
		delete(s.kept, s.order[0])
		s.order = s.order[1:]
	}
	k := &keptProof{}
	s.kept[id], s.order = k, append(s.order, id)
	return k
}

func headsText(heads map[string]job.Head) string {
	var s strings.Builder
	for _, d := range slices.Sorted(maps.Keys(heads)) {
		fmt.Fprintf(&s, "%s %d %s\n", d, heads[d].Sequence, heads[d].Digest)
	}
	return s.String()
}

// fillNames puts names where the record has opaque ids: they lie beside the chain.
func (b *Bench) fillNames(ctx context.Context, s *job.State, r *ReportAnswer) error {
	if s.Customer != "" {
		d, err := b.Customer(ctx, s.Customer)
		switch {
		case err == nil:
			r.Customer = CustomerAnswer{d.Name, d.Phone}
		case errors.Is(err, store.ErrErased):
			r.Customer = CustomerAnswer{Name: ErasedCustomer}
		case !isNotFound(err):
			return err
		}
	}
	if r.Technician == "" {
		r.Technician = s.Person
	}
	who := []*string{&r.Technician}
	for i := range r.Approvals {
		who = append(who, &r.Approvals[i].Who)
	}
	for i := range r.Proof.Corrections {
		who = append(who, &r.Proof.Corrections[i].Who)
	}
	return b.nameAll(ctx, who)
}

// drivesTold lists the drives that were told and not logged: they stand in the record
// and not in the job file.
func drivesTold(state *job.State) (told []job.DriveAdded) {
	for _, d := range state.Drives {
		told = append(told, d.What)
	}
	return told
}

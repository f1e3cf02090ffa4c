package shop

import (
	"context"
	"errors"
	"sync"

	"proveout/job"
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
	answer *ProofAnswer
	err    error
}

// keptProofs is how many jobs keep their newest proof in memory (our choice).
const keptProofs = 50

// Proof says whether the repair of a job is proven, and what is left to drive; the
// same engine answers job folders. It is worked out once for the same entries and
// settings.
func (b *Bench) Proof(ctx context.Context, jobID string) (*ProofAnswer, error) {
	state, err := b.State(ctx, jobID)
	if err != nil {
		return nil, err
	}
	in, err := b.basis(ctx, state)
	if err != nil {
		return nil, err
	}
	k := b.proofs.get(jobID)
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.basis == in.hash {
		return k.answer, k.err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	k.answer, k.err = b.prove(in)
	k.basis = in.hash
	return k.answer, k.err
}

// ErrNoProof is when there is nothing yet that a proof could be worked out from.
var ErrNoProof = errors.New("no proof can be worked out yet")

func (b *Bench) prove(in basis) (*ProofAnswer, error) {
	f, problems := job.Parse("job.yaml", in.text)
	if f == nil {
		return nil, errors.Join(ErrNoProof, problemError(problems))
	}
	o := Options{Books: b.o.Books, Reason: b.o.Reason, Limits: b.o.Limits, Program: b.o.Program}
	p, err := proveJob(&inStore{b: b, state: in.state}, f, o)
	if err != nil {
		return nil, errors.Join(ErrNoProof, err)
	}
	return p.out, nil
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

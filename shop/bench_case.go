package shop

import (
	"container/list"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"proveout/job"
	"proveout/store"
)

// caseShelf keeps the jobs that were looked at last.
type caseShelf struct {
	b     *Bench
	mu    sync.Mutex
	cases map[string]*list.Element
	order *list.List // of *openCase, the last used first
}

// openCases is how many jobs stay folded in memory (our choice: more than a shop
// has open at once; a job without its captures takes some hundred kilobytes).
const openCases = 200

// openCase is one job, folded.
type openCase struct {
	b     *Bench
	id    string
	mu    sync.Mutex
	lines []job.Line
	state *job.State
	rev   int64 // order of the newest entry

	// The page, and what it was made from.
	view      *JobView
	viewGen   int64
	viewOf    *worked
	viewBasis string
}

func newCaseShelf(b *Bench) *caseShelf {
	return &caseShelf{b: b, cases: map[string]*list.Element{}, order: list.New()}
}

// hold gives a job with its lock held.
func (s *caseShelf) hold(ctx context.Context, id string, fresh bool) (*openCase, error) {
	for {
		k := s.get(id)
		k.mu.Lock()
		if k.state == nil {
			if err := k.load(ctx); err != nil {
				k.mu.Unlock()
				return nil, err
			}
		}
		if len(k.lines) == 0 && !fresh {
			k.mu.Unlock()
			s.drop(id)
			return nil, fmt.Errorf("job %s: %w", id, store.ErrNotFound)
		}
		if s.get(id) == k {
			return k, nil
		}
		k.mu.Unlock() // it was put away while we waited for it
	}
}

func (s *caseShelf) get(id string) *openCase {
	s.mu.Lock()
	defer s.mu.Unlock()
	if e, ok := s.cases[id]; ok {
		s.order.MoveToFront(e)
		return e.Value.(*openCase)
	}
	k := &openCase{b: s.b, id: id}
	s.cases[id] = s.order.PushFront(k)
	for s.order.Len() > openCases {
		e := s.order.Back()
		old := e.Value.(*openCase)
		if !old.mu.TryLock() {
			break // in use: the shelf is a little longer for a moment
		}
		old.mu.Unlock()
		s.order.Remove(e)
		delete(s.cases, old.id)
	}
	return k
}

func (s *caseShelf) drop(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if e, ok := s.cases[id]; ok {
		s.order.Remove(e)
		delete(s.cases, id)
	}
}

// load reads the job's entries and folds them.
func (k *openCase) load(ctx context.Context) error {
	lines, err := k.b.store.Entries(ctx, k.id, 0)
	if err != nil {
		return err
	}
	k.set(lines)
	return nil
}

func (k *openCase) set(lines []job.Line) {
	k.lines, k.state, k.view = lines, job.Fold(lines), nil
	if n := len(lines); n > 0 {
		k.rev = lines[n-1].Order
	}
}

// append makes an entry of a command and writes it.
func (k *openCase) append(ctx context.Context, c Command, late bool) (Receipt, error) {
	payload, item, err := k.numbered(c)
	if err != nil {
		return Receipt{}, err
	}
	if err := k.mayWrite(c); err != nil {
		return Receipt{}, err
	}
	head := k.state.Heads[c.Device]
	e := job.Entry{
		Schema: job.EntrySchemaID, ID: k.b.o.NewID(), Shop: k.b.o.Shop, Job: k.id, Author: c.Author, Device: c.Device,
		Sequence: head.Sequence + 1, Previous: head.Digest, Wall: c.Wall.Format(time.RFC3339Nano), MonotonicNS: c.MonotonicNS, BootID: c.Boot,
		Type: c.Type, Parents: append([]string{}, c.Parents...), Seen: k.seen(c.Seen), Attested: c.Attested, Practice: c.Practice || k.state.Practice, Payload: payload,
	}
	line, err := json.Marshal(e)
	if err != nil {
		return Receipt{}, fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	if e, err = job.ParseEntry(line); err != nil {
		return Receipt{}, fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	next := append(slices.Clip(k.lines), job.Line{Bytes: line, Entry: e})
	state := job.Fold(next)
	if n := len(state.Problems); n > len(k.state.Problems) {
		return Receipt{}, fmt.Errorf("%w: %s", ErrBadCommand, state.Problems[n-1].Text)
	}
	r := Receipt{Job: k.id, Entry: e.ID, Digest: job.Digest(line), Item: item, Late: late, Conflict: job.Rivals(k.lines, &e, job.Undone(k.lines))}
	answer, err := json.Marshal(r)
	if err != nil {
		return Receipt{}, err
	}
	row, err := k.b.row(state, k.id, c.Wall)
	if err != nil {
		return Receipt{}, err
	}
	key, err := k.b.key()
	if err != nil {
		return Receipt{}, fmt.Errorf("the shop's key: %w", err)
	}
	orders, err := k.b.put(ctx, store.Batch{
		Job: k.id, Lines: [][]byte{line}, Cites: cites(c.Type, payload), Row: row, Urgent: urgent[c.Type],
		Heads:   []store.SignedHead{key.sign(k.id, e.Device, job.Head{Sequence: e.Sequence, Digest: r.Digest})},
		Receipt: &store.Receipt{Key: c.Key, Device: c.Device, N: c.N, Body: c.digest(), Answer: answer, Job: k.id},
	})
	if err != nil {
		return Receipt{}, err
	}
	next[len(next)-1].Order = orders[0]
	k.lines, k.state, k.rev, k.view = next, state, orders[0], nil
	r.Sequence = orders[0]
	return r, nil
}

// urgent entries must be written even on a full disk.
var urgent = map[string]bool{
	job.InterruptedType: true, job.DangerousType: true, job.MadeSafeType: true, job.ProcedureEventType: true, job.ProcedureEndedType: true, job.HandOverType: true,
}

// numbered gives an item its number, and any other payload as it is.
func (k *openCase) numbered(c Command) (json.RawMessage, int, error) {
	if c.Type != job.CaptureAddedType && c.Type != job.ReadingTypedType {
		return c.Payload, 0, nil
	}
	var p struct {
		Item int `json:"item"`
	}
	if err := json.Unmarshal(c.Payload, &p); err != nil {
		return nil, 0, fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	if p.Item > 0 {
		return c.Payload, p.Item, nil
	}
	out, item, err := job.WithItem(c.Payload, k.state.NextItem())
	if err != nil {
		return nil, 0, fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	return out, item, nil
}

// mayUndo holds an undo to an entry that is there and can be taken back.
func (k *openCase) mayUndo(c Command) error {
	var u job.Undo
	if c.Type != job.UndoType {
		return nil
	}
	if err := json.Unmarshal(c.Payload, &u); err != nil {
		return fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	for i := range k.lines {
		if e := &k.lines[i].Entry; e.ID == u.Entry {
			if job.MayUndo(e.Type) {
				return nil
			}
			return fmt.Errorf("%w: an entry of type %s is not taken back; it stays in the record", ErrBadCommand, e.Type)
		}
	}
	return fmt.Errorf("%w: the job has no entry %q to take back", ErrBadCommand, u.Entry)
}

// seen is the id of the newest entry the author had on the screen.
func (k *openCase) seen(order int64) string {
	for i := len(k.lines) - 1; i >= 0; i-- {
		if order > 0 && k.lines[i].Order <= order {
			return k.lines[i].Entry.ID
		}
	}
	return ""
}

func cites(entryType string, payload []byte) []string {
	var p job.CaptureAdded
	if entryType != job.CaptureAddedType || json.Unmarshal(payload, &p) != nil {
		return nil
	}
	return []string{p.SHA256}
}

// shopState is the folded record of the shop itself; empty when nothing was ever
// set.
func (b *Bench) shopState(ctx context.Context) (*job.State, error) {
	k, err := b.cases.hold(ctx, ShopJob, true)
	if err != nil {
		return nil, err
	}
	defer k.mu.Unlock()
	return k.state, nil
}

// isNotFound is errors.Is with the name everybody reads.
func isNotFound(err error) bool { return errors.Is(err, store.ErrNotFound) }

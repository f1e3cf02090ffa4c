package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"proveout/book"
	"proveout/intake"
	"proveout/job"
	"proveout/reason"
	"proveout/store"
)

// Bench is the workbench: the use cases of a shop over a store. Its methods may be
// called from many goroutines.
//
// A command becomes an entry of the record and returns when that is safe on disk;
// the odds are worked out afterwards, in the background, and told as a change.
// Everything that is shown is derived from the entries and can be thrown away.
type Bench struct {
	store store.Store
	o     BenchOptions

	cases      *caseShelf
	feed       *feed
	turns      turns
	answers    *answers
	traces     *traceShelf
	people     peopleShelf
	proofs     proofShelf
	runs       runShelf
	ahead      aheads
	reads      readShelf
	pasts      pastShelf
	procedures procedureShelf
	key        func() (*ShopKey, error)
	lastBoard  atomic.Pointer[madeBoard]
	rows       atomic.Int64 // counts changes to rows of the board
	beside     atomic.Int64 // counts changes beside the chain: pages made before are old
}

// HoldFor is how long a command waits for an earlier one where nothing else is said. Our
// choice: well below the time that a request to the workbench may take, or the wait would
// end in a refusal instead of an entry that says it came late.
const HoldFor = 10 * time.Second

// BenchOptions pass in what the core may not take by itself.
type BenchOptions struct {
	Shop    string // opaque id of the shop
	Clock   func() time.Time
	NewID   func() string
	Books   []*book.Book // nil: the built-in ones
	Reason  reason.Options
	Limits  intake.Limits
	Program string // name and version, pinned in conclusions
	// HoldFor is how long a command waits for an earlier one of the same device that
	// is still missing; 0: HoldFor.
	HoldFor time.Duration
	// Key signs the ends of the chains; nil: the one in the store's folder, made when
	// there is none.
	Key *ShopKey
	// CacheDir holds decoded samples; it can be deleted at any time. Empty: in the
	// store's folder.
	CacheDir string
}

// ErrBadCommand is when a command cannot be carried out as it stands.
var ErrBadCommand = errors.New("the command cannot be carried out")

// serverDevice is the device of entries the program writes itself.
const serverDevice = "bench"

// ShopJob is the id of the record that holds what is the shop's and no job's:
// settings, its own suspects and tests.
const ShopJob = "_shop"

// NewBench opens the workbench over a store. Close ends its background work; the
// store is closed by who opened it.
func NewBench(s store.Store, o BenchOptions) (*Bench, error) {
	if o.Clock == nil || o.NewID == nil {
		return nil, errors.New("the workbench needs a clock and a maker of ids")
	}
	if o.Shop == "" {
		o.Shop = "shop"
	}
	if o.HoldFor <= 0 {
		o.HoldFor = HoldFor
	}
	if o.Books == nil {
		books, err := book.Builtin()
		if err != nil {
			return nil, err
		}
		o.Books = books
	}
	b := &Bench{store: s, o: o, feed: newFeed()}
	b.key = sync.OnceValues(func() (*ShopKey, error) { // asked for by the first write: a reader makes none
		if o.Key != nil {
			return o.Key, nil
		}
		return LoadShopKey(s.Path())
	})
	b.cases = newCaseShelf(b)
	b.answers = newAnswers(b)
	b.traces = newTraceShelf(b)
	return b, nil
}

// Books are the fault books jobs are judged by. They are shared: do not change them.
func (b *Bench) Books() []*book.Book { return b.o.Books }

// Close ends the background work.
func (b *Bench) Close() {
	b.answers.stop()
	b.feed.closeAll()
	b.traces.close()
}

// Open opens a job with a received@1 command.
func (b *Bench) Open(ctx context.Context, c Command) (string, Receipt, error) {
	if c.Type != job.ReceivedType {
		return "", Receipt{}, fmt.Errorf("%w: a job is opened with %s, not %s", ErrBadCommand, job.ReceivedType, c.Type)
	}
	if r, done, err := b.again(ctx, &c); done {
		return r.Job, r, err
	}
	id := b.o.NewID()
	r, err := b.write(ctx, id, c)
	if err != nil {
		return "", Receipt{}, err
	}
	return r.Job, r, nil
}

// Write writes one entry of a job and returns when it is safe on disk.
func (b *Bench) Write(ctx context.Context, jobID string, c Command) (Receipt, error) {
	switch c.Type {
	case job.ReceivedType:
		return Receipt{}, fmt.Errorf("%w: the job was received before", ErrBadCommand)
	case job.ProcedureStartedType, job.ProcedureEventType, job.ProcedureEndedType:
		// A line from elsewhere would break the run's own chain, and the run with it.
		return Receipt{}, fmt.Errorf("%w: what happens in a procedure goes to its run, which numbers and checks it", ErrBadCommand)
	case job.ConclusionType:
		return Receipt{}, fmt.Errorf("%w: a conclusion is what the workbench works out; nobody writes one", ErrBadCommand)
	}
	if c.Type == job.ProcedureAddedType {
		return Receipt{}, fmt.Errorf("%w: a procedure is taken in by its text, which is checked first", ErrBadCommand)
	}
	if err := b.worksHere(ctx, c); err != nil {
		return Receipt{}, err
	}
	if scope(c) == "shop" || c.Type == job.SettingsChangedType {
		jobID = ShopJob
	}
	return b.write(ctx, jobID, c)
}

// scope is where an overlay belongs: the job, or the shop's own book.
func scope(c Command) string {
	if c.Type != job.SuspectAddedType && c.Type != job.TestAddedType {
		return ""
	}
	var p struct {
		Scope string `json:"scope"`
	}
	_ = json.Unmarshal(c.Payload, &p) // what cannot be read is refused when it is checked
	return p.Scope
}

func (b *Bench) write(ctx context.Context, jobID string, c Command) (Receipt, error) {
	if err := checkCommand(c); err != nil {
		return Receipt{}, err
	}
	late, release, err := b.turns.take(ctx, b, c)
	if err != nil {
		return Receipt{}, err
	}
	defer release()
	if r, done, err := b.again(ctx, &c); done {
		return r, err
	}
	k, err := b.cases.hold(ctx, jobID, c.Type == job.ReceivedType || jobID == ShopJob)
	if err != nil {
		return Receipt{}, err
	}
	defer k.mu.Unlock()
	if c.Wall.IsZero() {
		c.Wall = b.o.Clock()
	}
	r, err := k.append(ctx, c, late)
	if err != nil {
		return Receipt{}, err
	}
	if k.rev > 0 {
		b.feed.tell(Change{Job: jobID, Rev: k.rev, What: "entry", Type: c.Type})
		b.answers.want(jobID)
	}
	return r, nil
}

func checkCommand(c Command) error {
	switch {
	case c.Key == "" || len(c.Key) > 200:
		return fmt.Errorf("%w: a key of 1 to 200 bytes is needed, so that the same command twice counts once", ErrBadCommand)
	case c.Device == "" || len(c.Device) > 100:
		return fmt.Errorf("%w: the device's id is missing", ErrBadCommand)
	case strings.TrimSpace(c.Author) == "" || len(c.Author) > 100:
		return fmt.Errorf("%w: the author is missing: every entry says who wrote it", ErrBadCommand)
	}
	if err := job.CheckPayload(c.Type, c.Payload); err != nil {
		return fmt.Errorf("%w: %w", ErrBadCommand, err)
	}
	return nil
}

// Written reports whether a command with this key was carried out before.
func (b *Bench) Written(ctx context.Context, key string) (bool, error) {
	_, err := b.store.Receipt(ctx, key)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// again answers a command that was carried out before.
func (b *Bench) again(ctx context.Context, c *Command) (Receipt, bool, error) {
	have, err := b.store.Receipt(ctx, c.Key)
	if errors.Is(err, store.ErrNotFound) {
		return Receipt{}, false, nil
	}
	if err != nil {
		return Receipt{}, true, err
	}
	if have.Body != c.digest() {
		return Receipt{}, true, fmt.Errorf("key %q: %w", c.Key, store.ErrKeyUsed)
	}
	var r Receipt
	if err := json.Unmarshal(have.Answer, &r); err != nil {
		return Receipt{}, true, err
	}
	r.Sequence, r.Again = have.Order, true
	return r, true, nil
}

// digest is over what the command wants; when it is sent again, and by which
// attempt, makes no other command of it.
func (c *Command) digest() string {
	body, err := json.Marshal(struct {
		Device, Author, Type string
		N                    int64
		Payload              json.RawMessage
		Parents              []string
	}{c.Device, c.Author, c.Type, c.N, c.Payload, c.Parents})
	if err != nil {
		return "" // cannot be: the payload was checked
	}
	return job.Digest(body)
}

// turns keeps the commands of one device in the order of its own counter.
type turns struct {
	mu      sync.Mutex
	devices map[string]*turn
}

type turn struct {
	mu      sync.Mutex
	known   bool
	last    int64         // highest counter taken
	changed chan struct{} // closed when last moves
}

// take waits until the command before this one of the same device was taken, or
// until it has waited long enough; late says that one is missing.
func (t *turns) take(ctx context.Context, b *Bench, c Command) (late bool, release func(), err error) {
	if c.N <= 0 {
		return false, func() {}, nil
	}
	t.mu.Lock()
	if t.devices == nil {
		t.devices = map[string]*turn{}
	}
	d := t.devices[c.Device]
	if d == nil {
		d = &turn{changed: make(chan struct{})}
		t.devices[c.Device] = d
	}
	t.mu.Unlock()
	d.mu.Lock()
	if !d.known {
		if d.last, err = b.store.LastN(ctx, c.Device); err != nil {
			d.mu.Unlock()
			return false, nil, err
		}
		d.known = true
	}
	// What the device had refused left no trace in the store: after a restart only the
	// device knows that there is nothing to wait for.
	d.last = max(d.last, min(c.Settled, c.N-1))
	timer := time.NewTimer(b.o.HoldFor)
	defer timer.Stop()
	for c.N > d.last+1 {
		wait := d.changed
		d.mu.Unlock()
		select {
		case <-wait:
		case <-timer.C:
			late = true
		case <-ctx.Done():
			return false, nil, ctx.Err()
		}
		d.mu.Lock()
		if late {
			break
		}
	}
	// mu stays held until the command is written: the next one follows it.
	return late, func() {
		if c.N > d.last {
			d.last = c.N
			close(d.changed)
			d.changed = make(chan struct{})
		}
		d.mu.Unlock()
	}, nil
}

package shop

import (
	"bytes"
	"container/list"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"

	"proveout/intake"
	"proveout/job"
)

// DecoderVersion names how files are decoded and measured. It changes whenever the
// same file may give other readings; what was kept under another one is not used.
const DecoderVersion = "1"

// answers works out the odds in the background, one job at a time, and keeps them
// by what they were worked out from: the job file the entries come to.
type answers struct {
	b      *Bench
	ctx    context.Context
	cancel context.CancelFunc
	done   sync.WaitGroup

	mu     sync.Mutex
	cond   *sync.Cond
	queue  []string
	queued map[string]bool
	busy   string                   // the job that is being worked on
	byJob  map[string]*list.Element // of *worked
	order  *list.List
	memo   *memo
}

// worked is the newest answer of a job.
type worked struct {
	job    string
	basis  string // hash of the text it was worked out from
	answer *Answer
	err    string
}

// keptAnswers is how many jobs keep their newest answer in memory.
const keptAnswers = 100

func newAnswers(b *Bench) *answers {
	a := &answers{b: b, queued: map[string]bool{}, byJob: map[string]*list.Element{}, order: list.New(), memo: newMemo()}
	a.cond = sync.NewCond(&a.mu)
	a.ctx, a.cancel = context.WithCancel(context.Background())
	a.done.Add(1)
	go a.run()
	return a
}

func (a *answers) stop() {
	a.mu.Lock()
	a.cancel()
	a.cond.Broadcast()
	a.mu.Unlock()
	a.done.Wait()
}

// want asks for a job's answer to be worked out.
func (a *answers) want(job string) {
	if job == ShopJob {
		a.mu.Lock()
		for id := range a.byJob { // the shop's own suspects and settings move every job's odds
			a.push(id)
		}
		a.mu.Unlock()
		return
	}
	a.mu.Lock()
	a.push(job)
	a.mu.Unlock()
}

func (a *answers) push(job string) {
	if !a.queued[job] {
		a.queued[job] = true
		a.queue = append(a.queue, job)
	}
	a.cond.Broadcast()
}

// peek gives the newest answer without working; nil when there is none.
func (a *answers) peek(job string) *Answer {
	w := a.newest(job)
	if w == nil {
		return nil
	}
	return w.answer
}

func (a *answers) newest(job string) *worked {
	a.mu.Lock()
	defer a.mu.Unlock()
	e, ok := a.byJob[job]
	if !ok {
		return nil
	}
	a.order.MoveToFront(e)
	return e.Value.(*worked)
}

func (a *answers) keep(w *worked) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if e, ok := a.byJob[w.job]; ok {
		e.Value = w
		a.order.MoveToFront(e)
	} else {
		a.byJob[w.job] = a.order.PushFront(w)
	}
	for a.order.Len() > keptAnswers {
		e := a.order.Back()
		a.order.Remove(e)
		delete(a.byJob, e.Value.(*worked).job)
	}
	a.cond.Broadcast()
}

// clear forgets every answer; they are worked out again when asked for.
func (a *answers) clear() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.byJob = map[string]*list.Element{}
	a.order.Init()
}

func (a *answers) run() {
	defer a.done.Done()
	for {
		a.mu.Lock()
		for len(a.queue) == 0 && a.ctx.Err() == nil {
			a.cond.Wait()
		}
		if a.ctx.Err() != nil {
			a.mu.Unlock()
			return
		}
		id := a.queue[0]
		a.queue = a.queue[1:]
		delete(a.queued, id)
		a.busy = id
		a.mu.Unlock()
		a.work(id)
		a.mu.Lock()
		a.busy = ""
		a.cond.Broadcast()
		a.mu.Unlock()
	}
}

// work brings a job's answer up to date and tells it.
func (a *answers) work(id string) {
	k, err := a.b.cases.hold(a.ctx, id, false)
	if err != nil {
		return // gone, or the store is closing: the next view asks again
	}
	state, rev := k.state, k.rev
	k.mu.Unlock()
	if !diagnosed(state) {
		return
	}
	in, err := a.b.basis(a.ctx, state)
	if err != nil {
		return
	}
	if have := a.newest(id); have != nil && have.basis == in.hash {
		return
	}
	w := &worked{job: id, basis: in.hash}
	answer, err := a.b.diagnose(in)
	w.answer = answer
	if err != nil {
		w.err = err.Error()
		if !errors.Is(err, ErrNothingRead) {
			w.answer = nil
		}
	}
	a.keep(w)
	a.b.concluded(a.ctx, id, in, w)
	a.b.refreshRow(a.ctx, id)
	a.b.feed.tell(Change{Job: id, Rev: rev, What: "answer"})
}

// basis is everything an answer depends on.
type basis struct {
	text     []byte // the job file
	hash     string
	state    *job.State
	settings job.Settings
}

func (b *Bench) basis(ctx context.Context, s *job.State) (basis, error) {
	private, err := b.private(ctx, s)
	if err != nil {
		return basis{}, err
	}
	shop, err := b.shopState(ctx)
	if err != nil {
		return basis{}, err
	}
	private.Equipment = shop.Settings.Equipment
	in := basis{text: s.Text(private, shop), state: s, settings: shop.Settings}
	h := sha256.New()
	h.Write(in.text)
	for i := range s.Items { // the same name may come to stand for another file
		fmt.Fprintln(h, s.Items[i].File, s.Items[i].SHA256)
	}
	settings, err := json.Marshal(shop.Settings)
	if err != nil {
		return basis{}, err
	}
	h.Write(settings)
	in.hash = hex.EncodeToString(h.Sum(nil))
	return in, nil
}

// diagnose answers a job with the one engine that answers job folders too.
func (b *Bench) diagnose(in basis) (*Answer, error) {
	f, problems := job.Parse("job.yaml", in.text)
	if f == nil {
		return nil, problemError(problems)
	}
	o := Options{Books: withAccess(b.o.Books, in.settings.AccessMinutes), Reason: b.o.Reason, Limits: b.o.Limits, Program: b.o.Program}
	return diagnose(&inStore{b: b, state: in.state}, f, o, drivesTold(in.state))
}

// ErrNotDiagnosed is when a job asks for no diagnosis: a service without readings.
var ErrNotDiagnosed = fmt.Errorf("%w: nothing is to be diagnosed: it is a service without a reading or a capture", ErrBadCommand)

func diagnosed(s *job.State) bool { return s.Kind != "service" || len(s.Items) > 0 }

// answerTries is how often an answer may be overtaken by new entries while somebody
// waits for it (our choice; each takes from milliseconds to seconds).
const answerTries = 20

// Answer gives a job's answer, working it out if need be.
func (b *Bench) Answer(ctx context.Context, jobID string) (*Answer, error) {
	for range answerTries {
		k, err := b.cases.hold(ctx, jobID, false)
		if err != nil {
			return nil, err
		}
		state := k.state
		k.mu.Unlock()
		if !diagnosed(state) {
			return nil, fmt.Errorf("job %s: %w", jobID, ErrNotDiagnosed)
		}
		in, err := b.basis(ctx, state)
		if err != nil {
			return nil, err
		}
		if w := b.answers.newest(jobID); w != nil && w.basis == in.hash {
			if w.err != "" {
				return w.answer, errors.New(w.err)
			}
			return w.answer, nil
		}
		if err := b.answers.wait(ctx, jobID); err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("job %s is written to faster than its odds are worked out; ask again", jobID)
}

// wait asks for the job's answer and waits until it was worked on once.
func (a *answers) wait(ctx context.Context, id string) error {
	stop := context.AfterFunc(ctx, func() {
		a.mu.Lock()
		a.cond.Broadcast()
		a.mu.Unlock()
	})
	defer stop()
	a.mu.Lock()
	defer a.mu.Unlock()
	a.push(id)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		if a.ctx.Err() != nil {
			return errors.New("the workbench is closing")
		}
		if !a.queued[id] && a.busy != id {
			return nil
		}
		a.cond.Wait()
	}
}

// inStore gives the captures of a job out of the store, and keeps what measuring
// them gave: a typed reading more does not measure twenty captures anew.
type inStore struct {
	b     *Bench
	state *job.State
}

func (s *inStore) measured(w *work, c job.CaptureFile) []measured {
	it, ok := s.state.Item(c.Item)
	if !ok {
		return []measured{w.measure(c, intake.File{Name: c.File, Err: fmt.Errorf("%s: no capture of this name was added", c.File)})}
	}
	again := w.keep || w.marked() // then the samples themselves are asked for
	key := memoKey(w, c, it.SHA256)
	if m, ok := s.b.answers.memo.get(key); ok && !again {
		return []measured{m}
	}
	m := w.measure(c, s.b.readCapture(c.File, it.SHA256, w.intakeOptions(c)))
	s.b.answers.memo.put(key, m)
	return []measured{m}
}

// readCapture decodes a capture of the store.
func (b *Bench) readCapture(name, sha string, o intake.Options) intake.File {
	in, err := b.store.OpenCapture(sha)
	if err != nil {
		return intake.File{Name: name, Err: fmt.Errorf("%s: %w", name, err)}
	}
	defer in.Close()
	size, err := in.Seek(0, 2)
	if err == nil {
		_, err = in.Seek(0, 0)
	}
	if err != nil {
		return intake.File{Name: name, SHA256: sha, Err: fmt.Errorf("%s: %w", name, err)}
	}
	f := intake.Read(name, in, size, o)
	if f.SHA256 != "" && f.SHA256 != sha {
		// Evidence that is not what was sealed is no evidence.
		return intake.File{Name: name, SHA256: f.SHA256, Err: fmt.Errorf("%s: the stored file is damaged: its hash is not %s; copy it from the last backup", name, sha)}
	}
	return f
}

// memoKey is everything measuring a capture depends on. Its line in the job file,
// notes, and why it is set aside are not.
func memoKey(w *work, c job.CaptureFile, sha string) string {
	aside := c.SetAside != ""
	c.SetAside, c.Note, c.Line, c.Operator, c.Taken = "", "", 0, "", ""
	c.Columns = slices.Clone(c.Columns)
	for i := range c.Columns {
		c.Columns[i].Line = 0
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s %s %v %q\n%+v\n%+v", DecoderVersion, sha, aside, w.file.Vehicle.VIN, c, w.engine)
	return job.Digest(b.Bytes())
}

// memo keeps what captures said, the last used ones.
type memo struct {
	mu    sync.Mutex
	byKey map[string]*list.Element
	order *list.List
	size  int
}

type memoed struct {
	key string
	m   measured
}

// memoReadings bounds the memo: about 20 MB (our choice).
const memoReadings = 50_000

func newMemo() *memo { return &memo{byKey: map[string]*list.Element{}, order: list.New()} }

func (m *memo) get(key string) (measured, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	e, ok := m.byKey[key]
	if !ok {
		return measured{}, false
	}
	m.order.MoveToFront(e)
	return e.Value.(memoed).m, true
}

func (m *memo) put(key string, v measured) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, ok := m.byKey[key]; ok {
		return
	}
	m.byKey[key] = m.order.PushFront(memoed{key, v})
	m.size += weight(v)
	for m.size > memoReadings && m.order.Len() > 1 {
		e := m.order.Back()
		old := e.Value.(memoed)
		m.order.Remove(e)
		delete(m.byKey, old.key)
		m.size -= weight(old.m)
	}
}

func weight(m measured) int { return 1 + len(m.readings) + len(m.notes) + len(m.notMeasured) }

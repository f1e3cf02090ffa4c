package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"proveout/job"
	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/procedure/watch"
	"proveout/store"
)

// A run of a procedure lives in the record of its job: each line of the runner's own
// record is the payload of an entry, so what was confirmed is stored before it is
// acknowledged and a run killed at any instant goes on where it stood. What is kept in
// memory here (the replayed run, what a meter sent of late) can be lost.

// ErrRefused is when a run does not take an event; the error's text says why.
var ErrRefused = errors.New("not taken")

// RefusedEvent carries the reasons, in plain sentences.
type RefusedEvent struct{ Reasons []string }

func (e *RefusedEvent) Error() string { return (&runner.Refusal{Reasons: e.Reasons}).Error() }

// Is makes errors.Is(err, ErrRefused) hold.
func (e *RefusedEvent) Is(target error) bool { return target == ErrRefused }

// runShelf keeps live runs by job and run.
type runShelf struct {
	mu    sync.Mutex
	boot  string
	start time.Time
	live  map[string]*liveRun
}

// liveRun is one run, replayed. It is used under the lock of its job.
type liveRun struct {
	run      *runner.Run
	head     runner.Header
	lines    int
	last     string // hash of the last line
	entries  []runner.Entry
	feeds    []*feedWatch // by watch
	watching map[string]bool
	wrote    string // the text of the dangerous entry that stands
}

// stamp is now, as this process knows it.
func (b *Bench) stamp() runner.Stamp {
	b.runs.mu.Lock()
	defer b.runs.mu.Unlock()
	now := b.o.Clock()
	if b.runs.boot == "" {
		b.runs.boot, b.runs.start = "bench-"+b.o.NewID(), now
	}
	return runner.Stamp{Wall: now.UnixNano(), Mono: int64(now.Sub(b.runs.start)), Boot: b.runs.boot}
}

// StartProcedure begins a run in a job.
func (b *Bench) StartProcedure(ctx context.Context, jobID, procedureID string, c Command) (string, Receipt, error) {
	m, text, err := b.offered(ctx, procedureID)
	if err != nil {
		return "", Receipt{}, err
	}
	run := "run-" + b.o.NewID()
	c.Type = job.ProcedureStartedType
	started := job.ProcedureStarted{Run: run, Procedure: procedureID, Version: fmt.Sprint(m.File.Version), SHA256: job.Digest(text)}
	if _, err := procedure.ShippedText(procedureID); err != nil {
		started.Text = string(text)
	}
	payload, err := json.Marshal(started)
	if err != nil {
		return "", Receipt{}, err
	}
	// A double tap finds the run of the first tap.
	if have, err := b.store.Receipt(ctx, c.Key); err == nil {
		return b.startedAs(ctx, have)
	} else if !isNotFound(err) {
		return "", Receipt{}, err
	}
	c.Payload = payload
	r, err := b.write(ctx, jobID, c)
	return run, r, err
}

func (b *Bench) startedAs(ctx context.Context, have store.Receipt) (string, Receipt, error) {
	var r Receipt
	if err := json.Unmarshal(have.Answer, &r); err != nil {
		return "", r, err
	}
	r.Again, r.Sequence = true, have.Order
	lines, err := b.store.Entries(ctx, r.Job, have.Order-1)
	if err != nil || len(lines) == 0 {
		return "", r, err
	}
	var p job.ProcedureStarted
	if err := json.Unmarshal(lines[0].Entry.Payload, &p); err != nil || p.Run == "" {
		return "", r, fmt.Errorf("%w: the key was used for something else", ErrBadCommand)
	}
	return p.Run, r, nil
}

// held finds a run of a job whose lock is held.
func (b *Bench) held(k *openCase, runID string) (*liveRun, error) {
	rec, ok := k.state.Run(runID)
	if !ok {
		return nil, fmt.Errorf("job %s has no procedure run %s: %w", k.id, runID, store.ErrNotFound)
	}
	b.runs.mu.Lock()
	if b.runs.live == nil {
		b.runs.live = map[string]*liveRun{}
	}
	l := b.runs.live[k.id+"/"+runID]
	b.runs.mu.Unlock()
	if l != nil && l.lines == len(rec.Lines) {
		return l, nil
	}
	l, err := b.replayed(k, rec)
	if err != nil {
		return nil, err
	}
	b.runs.mu.Lock()
	b.runs.live[k.id+"/"+runID] = l
	b.runs.mu.Unlock()
	return l, nil
}

// replayed makes a run from the lines in the record.
func (b *Bench) replayed(k *openCase, rec *job.Run) (*liveRun, error) {
	m, sum, err := b.machineOf(rec)
	if err != nil {
		return nil, err
	}
	if rec.SHA256 != "" && rec.SHA256 != sum {
		return nil, fmt.Errorf("%w: the run was begun with another text of procedure %s; it goes on only with the very text it began with", ErrBadCommand, rec.Procedure)
	}
	l := &liveRun{watching: map[string]bool{}, head: runner.Header{Format: runner.RecordFormat, Procedure: rec.Procedure, Version: m.File.Version, SHA256: sum, Job: k.id, Practice: k.state.Practice}}
	head, hash, err := runner.Line("", l.head)
	if err != nil {
		return nil, err
	}
	whole := append([]byte{}, head...)
	for _, e := range rec.Lines {
		whole = append(append(whole, e.Line...), '\n')
	}
	if len(rec.Lines) > 0 {
		if _, l.entries, hash, _, err = runner.Read(whole); err != nil {
			return nil, fmt.Errorf("run %s: %w", rec.ID, err)
		}
	}
	if l.run, err = runner.Replay(m, l.entries); err != nil {
		return nil, fmt.Errorf("run %s: %w", rec.ID, err)
	}
	l.lines, l.last = len(rec.Lines), hash
	set, err := b.shopState(context.Background())
	if err != nil {
		return nil, err
	}
	for i := range m.Watches {
		lim, err := m.Watches[i].Limits()
		if err != nil {
			return nil, err
		}
		l.feeds = append(l.feeds, &feedWatch{told: -tellEvery, monitor: watch.New(tightened(lim, m.Watches[i].Quantity, set.Settings))})
	}
	if k.state.Dangerous != nil && k.state.Dangerous.What.Run == rec.ID {
		l.wrote = k.state.Dangerous.What.Text
	}
	return l, nil
}

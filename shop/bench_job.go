package shop

import (
	"context"
	"errors"

	"proveout/job"
	"proveout/store"
)

// entryTail is how many entries the job page shows.
const entryTail = 50

// Job is everything the job's page shows. It never waits for odds: where a newer
// answer is on its way, Working says so.
func (b *Bench) Job(ctx context.Context, jobID string) (*JobView, error) {
	gen := b.beside.Load()
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return nil, err
	}
	defer k.mu.Unlock()
	in, err := b.basis(ctx, k.state)
	if err != nil {
		return nil, err
	}
	w := b.answers.newest(jobID)
	if k.view != nil && k.viewGen == gen && k.viewOf == w && k.viewBasis == in.hash {
		return k.view, nil
	}
	v, err := b.jobView(ctx, k, w)
	if err != nil {
		return nil, err
	}
	if diagnosed(k.state) && (w == nil || w.basis != in.hash) {
		v.Working = true
		b.answers.want(jobID)
	}
	k.view, k.viewGen, k.viewOf, k.viewBasis = v, gen, w, in.hash
	return v, nil
}

func (b *Bench) jobView(ctx context.Context, k *openCase, w *worked) (*JobView, error) {
	s := k.state
	row, err := b.row(s, k.id, b.o.Clock())
	if err != nil {
		return nil, err
	}
	row.Order = k.rev
	board, err := b.boardRow(ctx, &row)
	if err != nil {
		return nil, err
	}
	v := &JobView{
		Job: k.id, Rev: k.rev, Title: s.Title, Kind: s.Kind, Practice: s.Practice, Opened: s.Opened, Board: board,
		Complaint: s.Form("complaint"), History: s.Form("history"), Known: s.Form("known"), Stages: board.Stages, Next: board.Next,
		Minutes: s.Minutes, Tests: s.Tests, Choices: s.Choices, Parts: s.Parts, Corrections: s.Corrections, Drives: s.Drives, Notes: s.Notes, Photos: s.Photos,
		Approvals: s.Approvals, HandOvers: s.HandOvers, Runs: s.Runs, Conclusions: s.Conclusions, Dangerous: s.Dangerous, Interrupted: s.Interrupted, Closed: s.Closed,
		Count: s.Entries, Unknown: s.Unknown, Conflicts: job.Conflicts(k.lines),
	}
	for _, p := range s.Problems {
		v.Problems = append(v.Problems, p.String())
	}
	if err := b.personalView(ctx, s, v); err != nil {
		return nil, err
	}
	var said map[int]ItemAnswer
	if w != nil {
		v.Answer, v.AnswerError = w.answer, w.err
		said = map[int]ItemAnswer{}
		if w.answer != nil {
			for _, it := range w.answer.Items {
				said[it.Item] = it
			}
		}
	}
	for i := range s.Items {
		it := &s.Items[i]
		v.Items = append(v.Items, ItemView{
			Item: it.Number, Kind: it.Kind, Entry: it.Entry, Author: it.Author, Wall: it.Wall, SHA256: it.SHA256, Name: it.Name, File: it.File, Size: it.Size,
			SetAside: it.SetAside, Retaken: it.Retaken, Form: it.Form(), What: said[it.Number].What, Notes: said[it.Number].Notes,
		})
	}
	v.Entries = entryViews(k.lines, entryTail)
	return v, b.names(ctx, v)
}

func (b *Bench) personalView(ctx context.Context, s *job.State, v *JobView) error {
	v.Customer.ID = s.Customer
	d, err := b.Customer(ctx, s.Customer)
	if errors.Is(err, store.ErrErased) {
		v.Customer.Erased, err = true, nil
	}
	if err != nil {
		return err
	}
	v.Customer.Name, v.Customer.Phone, v.Customer.Email, v.Customer.Note = d.Name, d.Phone, d.Email, d.Note
	car, err := b.vehiclePersonal(ctx, s.Customer, s.VehicleID)
	if err != nil && !errors.Is(err, store.ErrErased) {
		return err
	}
	v.Vehicle = VehicleView{ID: s.VehicleID, VIN: car.VIN, Plate: car.Plate, Form: s.Form("vehicle"), Words: vehicleFormWords(s)}
	return nil
}

// names adds the names of the persons on the page.
func (b *Bench) names(ctx context.Context, v *JobView) error {
	v.People = map[string]string{}
	ids := []string{v.Board.Person}
	for _, e := range v.Entries {
		ids = append(ids, e.Author)
	}
	for _, it := range v.Items {
		ids = append(ids, it.Author)
	}
	for _, id := range ids {
		if _, ok := v.People[id]; ok || id == "" {
			continue
		}
		name, err := b.personName(ctx, id)
		if err != nil {
			return err
		}
		v.People[id] = name
	}
	return nil
}

func entryViews(lines []job.Line, most int) []EntryView {
	undone := job.Undone(lines)
	if n := len(lines); n > most {
		lines = lines[n-most:]
	}
	out := make([]EntryView, 0, len(lines))
	for i := range lines {
		e := &lines[i].Entry
		_, known := job.NewPayload(e.Type)
		out = append(out, EntryView{
			ID: e.ID, Order: lines[i].Order, Type: e.Type, Known: known, Author: e.Author, Device: e.Device, Wall: e.Wall, Attested: e.Attested,
			Digest: job.Digest(lines[i].Bytes), Undone: undone[e.ID], Payload: e.Payload,
		})
	}
	return out
}

// Entries lists a job's whole record for people.
func (b *Bench) Entries(ctx context.Context, jobID string) ([]EntryView, error) {
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return nil, err
	}
	defer k.mu.Unlock()
	return entryViews(k.lines, len(k.lines)), nil
}

// RunLines gives the lines of a procedure run's own record, in order.
func (b *Bench) RunLines(ctx context.Context, jobID, run string) (job.Run, error) {
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return job.Run{}, err
	}
	defer k.mu.Unlock()
	r, ok := k.state.Run(run)
	if !ok {
		return job.Run{}, store.ErrNotFound
	}
	return *r, nil
}

// State is a job as its entries leave it. It must not be changed.
func (b *Bench) State(ctx context.Context, jobID string) (*job.State, error) {
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return nil, err
	}
	defer k.mu.Unlock()
	return k.state, nil
}

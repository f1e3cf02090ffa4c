package shop

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"proveout/evidence"
	"proveout/job"
	"proveout/store"
)

// PastJob is a job in the list of what was here: no more than it takes to find it again.
type PastJob struct {
	Job       string `json:"job"`
	Title     string `json:"title,omitempty"`
	Kind      string `json:"kind"`
	Open      bool   `json:"open"`
	Practice  bool   `json:"practice,omitempty"`
	Plate     string `json:"plate,omitempty"`
	Vehicle   string `json:"vehicle"`
	Customer  string `json:"customer,omitempty"` // short form: "W. Castell"
	Erased    bool   `json:"erased,omitempty"`
	Complaint string `json:"complaint"`
	Result    string `json:"result,omitempty"` // proven, improved, not_proven
	Ended     string `json:"ended"`            // when it was closed; of an open one, last written to
	Rev       int64  `json:"rev"`

	customer, vin, text string
	at                  int64 // Ended in Unix microseconds: a row is written again when its answer is, so that Rev is no order of closing
}

// PastView is a page of closed jobs, the one closed last first.
type PastView struct {
	Rows []PastJob `json:"rows"`
	Of   int       `json:"of"`             // how many match in all
	Next int64     `json:"next,omitempty"` // go on with before = next; 0: that was all
	// Working: older jobs are still being read; what is there is the newest.
	Working bool `json:"working,omitempty"`
}

// pastShelf is every job of the shop with plate and customer in clear, to be searched.
// Those lie encrypted beside the chain, each customer under a key of their own, so that
// no store can search them; here they are read once and then kept true.
type pastShelf struct {
	once  sync.Once
	mu    sync.Mutex
	jobs  map[string]PastJob
	dirty map[string]bool // jobs to read again
	gone  map[string]bool // customers whose jobs to read again
	done  chan struct{}   // closed when all were read
}

// pastWait is how long somebody waits for the first reading (our choice: a page without
// the older jobs, which says so, is better than none).
const pastWait = 300 * time.Millisecond

// changed notes a job whose row was written; nothing before the first reading.
func (p *pastShelf) changed(jobID string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.jobs != nil {
		p.dirty[jobID] = true
	}
}

func (p *pastShelf) customerChanged(id string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.jobs != nil {
		p.gone[id] = true
	}
}

// past brings the shelf up to date; working says that its first reading goes on.
func (b *Bench) past(ctx context.Context) (working bool, err error) {
	p := &b.pasts
	p.once.Do(func() {
		p.mu.Lock()
		p.jobs, p.dirty, p.gone, p.done = map[string]PastJob{}, map[string]bool{}, map[string]bool{}, make(chan struct{})
		p.mu.Unlock()
		b.answers.done.Add(1) // ends with the workbench
		go b.readPast()
	})
	select {
	case <-p.done:
	case <-time.After(pastWait):
		return true, nil
	case <-ctx.Done():
		return false, ctx.Err()
	}
	p.mu.Lock()
	again := p.dirty
	for id, j := range p.jobs {
		if p.gone[j.customer] {
			again[id] = true
		}
	}
	p.dirty, p.gone = map[string]bool{}, map[string]bool{}
	p.mu.Unlock()
	for id := range again {
		row, err := b.store.Row(ctx, id)
		if err == nil {
			err = b.shelve(ctx, &row)
		}
		if err != nil && !isNotFound(err) {
			p.changed(id) // the next look tries again
			return false, err
		}
	}
	return false, nil
}

// readPast goes through all rows once, the newest first.
func (b *Bench) readPast() {
	defer b.answers.done.Done()
	defer close(b.pasts.done)
	ctx, before := b.answers.ctx, int64(0)
	for ctx.Err() == nil {
		rows, err := b.store.Rows(ctx, store.RowQuery{Limit: boardLimit, Before: before})
		if err != nil || len(rows) == 0 {
			return
		}
		for i := range rows {
			if err := b.shelve(ctx, &rows[i]); err != nil {
				b.pasts.changed(rows[i].Job)
			}
		}
		before = rows[len(rows)-1].Order
	}
}

func (b *Bench) shelve(ctx context.Context, r *store.Row) error {
	if r.Job == ShopJob {
		return nil
	}
	var s storedRow
	if err := json.Unmarshal(r.Body, &s); err != nil {
		return err
	}
	j := PastJob{
		Job: r.Job, Title: s.Title, Kind: s.Kind, Open: s.Open, Practice: s.Practice, Vehicle: s.Words, Complaint: s.Complaint,
		Result: s.Result, Ended: cmp.Or(s.Ended, s.Updated), Rev: r.Order, customer: s.Customer,
	}
	car, err := b.vehiclePersonal(ctx, s.Customer, s.Vehicle)
	who := CustomerData{}
	if err == nil {
		who, err = b.Customer(ctx, s.Customer)
	}
	switch {
	case errors.Is(err, store.ErrErased):
		car, who, j.Erased = VehicleData{}, CustomerData{}, true
	case err != nil:
		return err
	}
	j.Plate, j.vin, j.Customer = car.Plate, tight(car.VIN), shortName(who.Name)
	if t, err := time.Parse(time.RFC3339Nano, j.Ended); err == nil {
		j.at = t.UnixMicro()
	}
	j.text = strings.ToLower(strings.Join([]string{j.Plate, tight(j.Plate), j.vin, who.Name, j.Title, j.Vehicle, j.Complaint, day(j.Ended)}, "\n"))
	b.pasts.mu.Lock()
	b.pasts.jobs[r.Job] = j
	b.pasts.mu.Unlock()
	return nil
}

// tight is a plate or a VIN as it is compared: capitals and figures only.
func tight(s string) string {
	return strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' || r == '.' || r == '\u00a0' {
			return -1
		}
		return r
	}, strings.ToUpper(s))
}

// shortName is a customer as others may read it over a shoulder: "W. Castell".
func shortName(name string) string {
	words := strings.Fields(name)
	if len(words) < 2 {
		return strings.Join(words, " ")
	}
	return string([]rune(words[0])[:1]) + ". " + words[len(words)-1]
}

// day is the date of a moment, as year, month and day.
func day(wall string) string {
	if t, err := time.Parse(time.RFC3339Nano, wall); err == nil {
		return t.Format("2006-01-02")
	}
	return ""
}

// asked splits what is searched for into words; a date may be written the European way.
func asked(text string) []string {
	words := strings.Fields(strings.ToLower(text))
	for i, w := range words {
		for _, form := range []string{"2.1.2006", "02.01.06"} {
			if t, err := time.Parse(form, w); err == nil {
				words[i] = t.Format("2006-01-02")
			}
		}
	}
	return words
}

// matches reports whether every word is found, or all of them together are the plate.
func (j *PastJob) matches(words []string, whole string) bool {
	if whole != "" && (strings.Contains(tight(j.Plate), whole) || j.vin == whole) {
		return true
	}
	for _, w := range words {
		if !strings.Contains(j.text, w) {
			return false
		}
	}
	return true
}

// Closed searches the closed jobs by plate, VIN, name, number, words of the complaint
// and date. before continues a list.
func (b *Bench) Closed(ctx context.Context, text string, before int64, limit int) (*PastView, error) {
	working, err := b.past(ctx)
	if err != nil {
		return nil, err
	}
	words, whole := asked(text), tight(text)
	if len(words) > 4 {
		whole = "" // a sentence is no plate
	}
	v := &PastView{Rows: []PastJob{}, Working: working}
	for _, j := range b.pastJobs(func(j *PastJob) bool { return !j.Open && j.matches(words, whole) }) {
		v.Of++
		last := len(v.Rows) - 1
		switch {
		case before > 0 && j.at >= before:
		case last+1 < min(max(limit, 1), boardLimit) || j.at == v.Rows[last].at: // those of one moment stay on one page
			v.Rows = append(v.Rows, j)
		case v.Next == 0:
			v.Next = v.Rows[last].at
		}
	}
	return v, nil
}

// Earlier lists the other jobs of the same vehicle, the newest first: the same VIN, or
// where either has none the same plate.
func (b *Bench) Earlier(ctx context.Context, jobID string) (jobs []PastJob, working bool, err error) {
	if working, err = b.past(ctx); err != nil {
		return nil, false, err
	}
	b.pasts.mu.Lock()
	me, ok := b.pasts.jobs[jobID]
	b.pasts.mu.Unlock()
	if !ok || me.vin == "" && me.Plate == "" {
		return nil, working, nil
	}
	return b.pastJobs(func(j *PastJob) bool {
		switch {
		case j.Job == jobID || j.Practice != me.Practice:
			return false
		case j.vin != "" && me.vin != "":
			return j.vin == me.vin
		}
		return me.Plate != "" && tight(j.Plate) == tight(me.Plate)
	}), working, nil
}

func (b *Bench) pastJobs(keep func(*PastJob) bool) []PastJob {
	b.pasts.mu.Lock()
	defer b.pasts.mu.Unlock()
	var out []PastJob
	for _, j := range b.pasts.jobs {
		if keep(&j) {
			out = append(out, j)
		}
	}
	slices.SortFunc(out, func(x, y PastJob) int { return cmp.Or(cmp.Compare(y.at, x.at), cmp.Compare(y.Rev, x.Rev)) })
	return out
}

// EarlierValue is one reading of the same vehicle, job by job.
type EarlierValue struct {
	Name    string             `json:"name"`
	Subject string             `json:"subject,omitempty"`
	Unit    string             `json:"unit"`
	By      map[string]float64 `json:"by"` // job to value
	// Uncertainty is the standard uncertainty of each, in Unit; of a value without one
	// nothing is here.
	Uncertainty map[string]float64 `json:"uncertainty,omitempty"`
	// Changed says how the first job stands to the next that has the reading: "yes" when
	// they differ by more than both can be trusted to (95 %), "no", or "unknown" where one
	// has no uncertainty or its scale is anyone's guess. Empty where the first has none.
	Changed string `json:"changed,omitempty"`

	guessed map[string]bool // jobs whose probe was not calibrated
}

// change holds the first job's value against the next that has one.
func (v *EarlierValue) change(jobs []string) string {
	now, ok := v.By[jobs[0]]
	if !ok {
		return ""
	}
	for _, id := range jobs[1:] {
		then, ok := v.By[id]
		if !ok {
			continue
		}
		a, known := v.Uncertainty[jobs[0]]
		b, also := v.Uncertainty[id]
		switch {
		case !known || !also || v.guessed[jobs[0]] || v.guessed[id]:
			return "unknown"
		case math.Abs(now-then) > 1.96*math.Hypot(a, b):
			return "yes"
		}
		return "no"
	}
	return ""
}

// EarlierValues sets the readings of jobs of one vehicle beside each other: those that
// at least two of them have, before the repair.
func (b *Bench) EarlierValues(ctx context.Context, jobs []string) ([]EarlierValue, error) {
	at := map[string]int{}
	var all []EarlierValue
	for _, id := range jobs {
		a, err := b.Answer(ctx, id)
		if err != nil && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if a == nil {
			continue // nothing was read in that job, or it cannot be answered: it has no values
		}
		for _, f := range a.Findings {
			if f.Feature == "" || f.Unit == "" || f.Value == nil || f.When == "after" {
				continue
			}
			key := f.Feature + " " + subjectOf(f.Subject).Key() + " " + f.Unit
			i, ok := at[key]
			if !ok {
				i = len(all)
				at[key] = i
				v := EarlierValue{Name: f.Name, Unit: f.Unit, By: map[string]float64{}, Uncertainty: map[string]float64{}, guessed: map[string]bool{}}
				if f.Subject.Kind != "" && f.Subject.Kind != "engine" {
					v.Subject = subjectOf(f.Subject).String()
				}
				all = append(all, v)
			}
			if _, ok := all[i].By[id]; !ok {
				all[i].By[id] = *f.Value
				if f.Uncertainty != nil {
					all[i].Uncertainty[id] = *f.Uncertainty
				}
				all[i].guessed[id] = slices.Contains(f.Flags, string(evidence.NotCalibrated))
			}
		}
	}
	all = slices.DeleteFunc(all, func(v EarlierValue) bool { return len(v.By) < 2 })
	for i := range all {
		all[i].Changed = all[i].change(jobs)
	}
	return all, nil
}

// endedAt is when and how a job was closed.
func endedAt(s *job.State) (at, result string) {
	if s.Closed == nil {
		return "", ""
	}
	return s.Closed.Wall, s.Closed.What.Result
}

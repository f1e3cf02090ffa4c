package runner

import (
	"fmt"
	"sort"
	"time"
)

// Failure is a step that was not as expected, or stopped the work, and has not been
// shown right since: the vehicle must not be driven.
type Failure struct {
	Step string `json:"step"`
	Text string `json:"text"` // what the step was
	Why  string `json:"why"`
	Who  string `json:"who"`
	At   Stamp  `json:"at"`
}

func (f Failure) sentence() string {
	return fmt.Sprintf("Do not drive: step %q failed (%s; %s, %s) and has not been shown right since.", f.Step, f.Why, f.Who, time.Unix(0, f.At.Wall).UTC().Format("2006-01-02 15:04 UTC"))
}

// fail notes that a critical step failed.
func (r *Run) fail(i int, e Entry, why string) {
	st := &r.m.Steps[i]
	if !st.Critical {
		return
	}
	r.settle(i)
	r.failures = append(r.failures, Failure{st.ID, st.Do, why, e.Who, e.At})
}

// settle: step i was shown right, or fails anew.
func (r *Run) settle(i int) {
	var left []Failure
	for _, f := range r.failures {
		if f.Step != r.m.Steps[i].ID {
			left = append(left, f)
		}
	}
	r.failures = left
}

// Dangers lists why the vehicle must not be left or driven as it is: what the state
// says, and what failed and was not shown right since. It stays when the vehicle is
// handed over.
func (r *Run) Dangers() []string {
	if r.Ended() {
		return nil
	}
	out := r.m.Dangers(r.state)
	for _, f := range r.failures {
		out = append(out, f.sentence())
	}
	return out
}

// Row is one run on the board of a job.
type Row struct {
	Record    string   `json:"record"`
	Procedure string   `json:"procedure"`
	State     string   `json:"state"` // open, handed over, finished, unreadable
	Holder    string   `json:"holder,omitempty"`
	Who       string   `json:"who,omitempty"` // of the last entry
	At        Stamp    `json:"at"`
	Dangers   []string `json:"dangers"`
	Practice  bool     `json:"practice,omitempty"`
	// ShownIn names a later run of the same procedure that was finished: what this one
	// left open was shown there.
	ShownIn string `json:"shown_in,omitempty"`
}

// Dangerous: the vehicle must not be left or driven because of this run.
func (r Row) Dangerous() bool { return len(r.Dangers) > 0 && r.ShownIn == "" && !r.Practice }

// Board reads the records of a job, by name, without the procedures they ran: each
// entry that changed why the vehicle must not be left carries the sentences. A record
// that cannot be read is dangerous: nothing can be said of it. Dangerous rows come
// first, then by name.
func Board(records map[string][]byte) []Row {
	var rows []Row
	for name, data := range records {
		rows = append(rows, boardRow(name, data))
	}
	sort.Slice(rows, func(i, j int) bool { return rows[i].Record < rows[j].Record })
	for i := range rows {
		for _, later := range rows[i+1:] {
			if later.Procedure == rows[i].Procedure && later.State == "finished" && rows[i].State != "unreadable" && !later.Practice {
				rows[i].ShownIn = later.Record
			}
		}
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].Dangerous() && !rows[j].Dangerous() })
	return rows
}

func boardRow(name string, data []byte) Row {
	head, entries, _, _, err := Read(data)
	row := Row{Record: name, Procedure: head.Procedure, Practice: head.Practice, State: "open", Dangers: []string{}}
	for _, e := range entries {
		row.Who, row.At = e.Who, e.At
		if e.Standing != nil {
			row.Dangers = *e.Standing
		}
		switch e.Kind {
		case HandOver:
			row.State, row.Holder = "handed over", e.To
		case TakeUp:
			row.State, row.Holder = "open", ""
		case Finished:
			row.State = "finished"
		}
	}
	if err != nil {
		row.State = "unreadable"
		row.Dangers = append(row.Dangers[:len(row.Dangers):len(row.Dangers)], "The record cannot be read ("+err.Error()+"): take it that the vehicle must not be driven.")
	}
	return row
}

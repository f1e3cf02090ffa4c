package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"proveout/evidence"
	"proveout/job"
	"proveout/reason"
	"proveout/store"
)

// boardLimit is how many open jobs the board lists.
const boardLimit = 500

// madeBoard is the board as it was last made, and what it was made from.
type madeBoard struct {
	rows, beside int64
	view         *BoardView
}

// Board is the shop's board: every open job, dangerous ones first. It is shared
// between those who look and must not be changed.
func (b *Bench) Board(ctx context.Context) (*BoardView, error) {
	// Read before the rows: what changes meanwhile makes the next look read again.
	now := madeBoard{rows: b.rows.Load(), beside: b.beside.Load()}
	if have := b.lastBoard.Load(); have != nil && have.rows == now.rows && have.beside == now.beside {
		return have.view, nil
	}
	v, err := b.openBoard(ctx)
	if err == nil {
		now.view = v
		b.lastBoard.Store(&now)
	}
	return v, err
}

// put writes a batch; the board is made anew after it.
func (b *Bench) put(ctx context.Context, batch store.Batch) ([]int64, error) {
	orders, err := b.store.Append(ctx, batch)
	b.rows.Add(1)
	b.pasts.changed(batch.Job)
	return orders, err
}

func (b *Bench) openBoard(ctx context.Context) (*BoardView, error) {
	rows, err := b.store.Rows(ctx, store.RowQuery{Open: true, Limit: boardLimit})
	if err != nil {
		return nil, err
	}
	return b.board(ctx, rows)
}

// All lists jobs, newest first, open ones among them; before continues a list.
func (b *Bench) All(ctx context.Context, before int64, limit int) (*BoardView, error) {
	rows, err := b.store.Rows(ctx, store.RowQuery{Limit: min(max(limit, 1), boardLimit), Before: before})
	if err != nil {
		return nil, err
	}
	return b.board(ctx, rows)
}

func (b *Bench) board(ctx context.Context, rows []store.Row) (*BoardView, error) {
	v := &BoardView{Rows: make([]BoardRow, 0, len(rows))}
	for i := range rows {
		if rows[i].Job == ShopJob {
			continue
		}
		r, err := b.boardRow(ctx, &rows[i])
		if err != nil {
			return nil, err
		}
		v.Rev = max(v.Rev, r.Rev)
		v.Rows = append(v.Rows, r)
	}
	return v, nil
}

// storedRow is what the store keeps of a row: nothing personal.
type storedRow struct {
	BoardRow
	Customer string `json:"customer,omitempty"`
	Vehicle  string `json:"vehicle_id,omitempty"`
	Words    string `json:"words"`
}

// boardRow adds what lies beside the chain.
func (b *Bench) boardRow(ctx context.Context, r *store.Row) (BoardRow, error) {
	var s storedRow
	if err := json.Unmarshal(r.Body, &s); err != nil {
		return BoardRow{}, fmt.Errorf("row of job %s: %w", r.Job, err)
	}
	row := s.BoardRow
	row.Vehicle, row.Rev = s.Words, r.Order
	p, err := b.vehiclePersonal(ctx, s.Customer, s.Vehicle)
	switch {
	case errors.Is(err, store.ErrErased):
		row.Erased = true
	case err != nil:
		return row, err
	}
	row.Plate = p.Plate
	if row.Who, err = b.personName(ctx, row.Person); err != nil {
		return row, err
	}
	return row, nil
}

// row derives the board row of a job.
func (b *Bench) row(s *job.State, id string, now time.Time) (store.Row, error) {
	a := b.answers.peek(id)
	v := BoardRow{
		Job: id, Title: s.Title, Kind: s.Kind, Practice: s.Practice, Open: s.Closed == nil && id != ShopJob, Complaint: complaintWords(s), Bay: s.Bay, Person: s.Person,
		Promised: s.Promised, MinutesLeft: s.MinutesLeft(), Approved: s.Minutes.Agreed + s.Minutes.Approved, Stages: stages(s, a), Updated: now.Format(time.RFC3339),
	}
	for _, st := range v.Stages {
		if st.State == "now" {
			v.Stage = st.ID
		}
	}
	v.Ended, v.Result = endedAt(s)
	if d := s.Dangerous; d != nil {
		v.Dangerous, v.Corner = d.What.Text, d.What.Corner
	}
	if s.Interrupted != nil {
		v.Interrupted = s.Interrupted.What.Card
	}
	if n := len(s.Approvals); n > 0 {
		v.ApprovalOpen = !s.Approvals[n-1].Given
	}
	for _, p := range s.Parts {
		switch {
		case p.Fitted:
		case p.Arrived == "":
			v.WaitsForPart = p.What.Name
		default:
			v.PartHere = p.What.Name
		}
	}
	for who := range s.In {
		v.In = append(v.In, who)
	}
	slices.Sort(v.In)
	if a != nil {
		v.Disagree = disagreeing(s, a)
	}
	v.Next = nextAction(s, a)
	body, err := json.Marshal(storedRow{BoardRow: v, Customer: s.Customer, Vehicle: s.VehicleID, Words: vehicleFormWords(s)})
	if err != nil {
		return store.Row{}, err
	}
	// A vehicle that must not be left stays on the board, closed or not.
	row := store.Row{Job: id, Open: v.Open || s.Dangerous != nil && id != ShopJob, Dangerous: s.Dangerous != nil, Practice: s.Practice, Body: body}
	if t, err := time.Parse(time.RFC3339, s.Promised); err == nil {
		row.Promised = t
	}
	return row, nil
}

// refreshRow brings the row of a job up to its newest answer: what to do next.
func (b *Bench) refreshRow(ctx context.Context, id string) {
	k, err := b.cases.hold(ctx, id, false)
	if err != nil {
		return
	}
	defer k.mu.Unlock()
	row, err := b.row(k.state, id, b.o.Clock())
	if err != nil {
		return
	}
	if have, err := b.store.Row(ctx, id); err == nil && sameRow(have.Body, row.Body) {
		return
	}
	// Derived: what is lost here comes back with the next entry.
	_, _ = b.put(ctx, store.Batch{Job: id, Row: row})
}

// sameRow compares rows without the time they were made.
func sameRow(a, b []byte) bool {
	var x, y storedRow
	if json.Unmarshal(a, &x) != nil || json.Unmarshal(b, &y) != nil {
		return false
	}
	x.Updated, y.Updated = "", ""
	return reflect.DeepEqual(x, y)
}

func complaintWords(s *job.State) string {
	if t := strings.TrimSpace(s.Word("complaint", "said")); t != "" {
		return t
	}
	return strings.ReplaceAll(s.Procedure, "_", " ")
}

func vehicleFormWords(s *job.State) string {
	var parts []string
	for _, n := range []string{"make", "model", "year"} {
		if t := s.Word("vehicle", n); t != "" {
			parts = append(parts, t)
		}
	}
	return strings.Join(parts, " ")
}

// disagreeing lists the items of readings that cannot all be right and of which none
// was set aside or taken again.
func disagreeing(s *job.State, a *Answer) []string {
	var out []string
	for _, c := range a.Conflicts {
		settled := len(c.Items) == 0 || c.Kept != ""
		var names []string
		for _, n := range c.Items {
			if it, ok := s.Item(n); ok && (it.SetAside != "" || it.Retaken > 0) {
				settled = true
			}
			names = append(names, strconv.Itoa(n))
		}
		if !settled {
			out = append(out, strings.Join(names, "+"))
		}
	}
	return out
}

// CorrectionOpens reports whether there is something to put right: a direct test, or a
// person's word with its reason, has shown a cause that nobody has put right yet, or the
// search is over. A percentage does not open it. Board and job page go by this.
func (a *Answer) CorrectionOpens() bool {
	return a.Stopped || slices.ContainsFunc(a.Suspects, func(s SuspectAnswer) bool { return s.State == string(reason.Shown) && s.Stays == "" })
}

// concludedOpen is the same of a conclusion in the record, while no answer is there.
func concludedOpen(c *job.Conclusion) bool {
	return c.Stopped || slices.ContainsFunc(c.Odds, func(o job.Odds) bool { return o.State == string(reason.Shown) })
}

// stages are the squares of a job's way. A later square never stands at done
// while an earlier one is open, but for the proof, which a closing gives.
func stages(s *job.State, a *Answer) []Stage {
	ids := []string{"complaint", "evidence", "suspects", "next_test", "correction", "proof"}
	done := map[string]bool{"complaint": complaintWords(s) != ""}
	if s.Kind == "service" {
		ids = []string{"complaint", "procedure", "proof"}
		done["procedure"] = slices.ContainsFunc(s.Runs, func(r job.Run) bool { return r.End == "finished" })
	} else {
		counted := slices.ContainsFunc(s.Items, func(it job.Item) bool { return it.SetAside == "" })
		corrected := s.PutRight()
		shown := corrected
		if n := len(s.Conclusions); a != nil {
			shown = shown || a.CorrectionOpens()
		} else if n > 0 {
			shown = shown || concludedOpen(&s.Conclusions[n-1].What)
		}
		done["evidence"], done["suspects"], done["next_test"], done["correction"] = counted, counted && shown, counted && shown, corrected
	}
	closed := s.Closed != nil
	out := make([]Stage, len(ids))
	now := false
	for i, id := range ids {
		out[i] = Stage{ID: id, State: "open"}
		switch {
		case closed && id == "proof" && s.Closed.What.Result == "not_proven":
		case closed, !now && done[id]:
			out[i].State = "done"
		case !now:
			out[i].State, now = "now", true
		}
	}
	return out
}

// nextAction is the one thing to do next. What is dangerous comes first, then what
// was interrupted, then whatever the square that is now asks for.
func nextAction(s *job.State, a *Answer) Action {
	running := ""
	for _, r := range s.Runs {
		if r.End == "" {
			running = r.ID
		}
	}
	switch {
	case s.Dangerous != nil && running != "":
		return Action{ID: "make_safe", Label: "Make it safe: " + s.Dangerous.What.Text, Href: "procedures/" + running}
	case s.Dangerous != nil:
		return Action{ID: "make_safe", Label: "Make it safe: " + s.Dangerous.What.Text, Href: ""}
	case s.Interrupted != nil && running != "":
		return Action{ID: "resume_procedure", Label: "Go on with the procedure", Href: "procedures/" + running}
	case s.Interrupted != nil:
		return Action{ID: "resume", Label: "Go on where it was left", Href: ""}
	case running != "":
		return Action{ID: "procedure", Label: "Go on with the procedure", Href: "procedures/" + running}
	case s.Closed != nil:
		return Action{ID: "report", Label: "Report", Href: "report"}
	}
	if s.Kind == "service" {
		if slices.ContainsFunc(s.Runs, func(r job.Run) bool { return r.End == "finished" }) {
			return Action{ID: "proof", Label: "Prove the work", Href: "proof"}
		}
		return Action{ID: "start_procedure", Label: "Start the procedure", Href: "procedures/new"}
	}
	switch {
	case len(s.Items) == 0:
		return Action{ID: "add_evidence", Label: "Add a capture or a reading", Href: "add"}
	case s.PutRight():
		return Action{ID: "proof", Label: "Prove the repair", Href: "proof"}
	case a != nil && a.CorrectionOpens():
		return Action{ID: "correct", Label: "Put right what is shown", Href: ""}
	case a != nil && len(a.Next) > 0:
		n := a.Next[0]
		act := Action{ID: "test", Label: upperFirst(n.Name), Href: "reading", Test: n.Test, Minutes: n.Minutes}
		if n.Subject.Kind != "" && n.Subject.Kind != "engine" {
			act.Subject = subjectOf(n.Subject).Key()
			act.Label += ", " + subjectOf(n.Subject).String()
		}
		return act
	}
	return Action{ID: "add_evidence", Label: "Add a capture or a reading", Href: "add"}
}

// subjectOf turns a subject of an answer back.
func subjectOf(s SubjectAnswer) evidence.Subject {
	return evidence.Subject{Kind: evidence.Kind(s.Kind), Number: s.Number, Second: s.Second}
}

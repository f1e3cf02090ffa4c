package web

import (
	"cmp"
	"encoding/json"
	"html/template"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

// firstSentence parts what is read across the bay from what is read at the screen. A
// stop ends a sentence when a capital follows: "1.0 boosted" is none.
func firstSentence(s string) (first, rest string) {
	for i, r := range s {
		if r != '.' || i+2 >= len(s) || s[i+1] != ' ' {
			continue
		}
		if c, _ := utf8.DecodeRuneInString(s[i+2:]); unicode.IsUpper(c) {
			return s[:i+1], s[i+2:]
		}
	}
	return s, ""
}

// jobPage is the view of one job, from the complaint to the proof.
type jobPage struct {
	ID          string
	Rev         int64
	Standing    string // where it stands, when it is promised, what is left of the approval
	Headline    string
	More        string // what the headline says after its first sentence
	Engine      bool   // the headline is the engine's sentence, in English
	Working     bool   // a newer answer is on its way
	Answered    bool   // there is an answer, be it an older one
	Stages      []shop.Stage
	StageWords  string
	Stage       stageStates
	Cautions    []shop.CautionAnswer
	Dangerous   *job.Said[job.Dangerous]
	Interrupted *interruptedView
	Do          *doView

	Complaint complaintView
	Earlier   int // other jobs of the same vehicle

	Items           []itemRow
	ItemWords       string
	Speaking, Quiet []evidenceRow
	Conflicts       []conflictView
	LeftOut         []leftRow

	Ledger       ledgerView
	SuspectWords string
	NotListed    string
	RuledOut     []ruledView
	Eliminated   []ruledView
	Reasons      []string

	Stop     string
	Ahead    []string // what comes before any test
	First    *testView
	Others   []testView
	Declines []string

	Corrections    []lineView
	Parts          []partView
	CorrectionText string
	ProofWords     string
	MayProve       bool
	Closed         *job.Closed

	MinuteWords string
	PunchedIn   bool
	Procedures  []runView
	Notes       []lineView
	People      []personView
	Record      []recordView
	RecordCount int
}

// stageStates are the squares by name: open, now, done.
type stageStates struct {
	Complaint, Evidence, Suspects, Next, Correction, Procedure, Proof string
}

type interruptedView struct{ At, State, Card string }

// doView is the one solid button: a link, or a command.
type doView struct {
	Label  template.HTML // with the name of a test in its own language
	Href   string
	Post   bool
	Fields []field
}

type field struct{ Name, Value string }

type complaintView struct {
	Said, By string
	Facts    []factView
}

type factView struct{ Name, Value string }

type itemRow struct {
	Number         int
	Kind, What, By string
	File, Aside    string
	Notes          []string
}

type conflictView struct {
	Tags   string
	Sides  []sideView
	Reason string
	Settle string
	Kept   string // by whom and why all are kept
}

type sideView struct {
	Item     int
	Sentence string
	Aside    bool
}

type ruledView struct {
	ID, Text, Chance, Reason string
	Item                     int
}

type testView struct {
	Test, Subject, Name, Ends, Minutes string
	RawMinutes                         string
	Equipment                          []string
	Hazards                            []shop.HazardAnswer
	Words                              []string // signal words, the gravest first
	Do, Says, Why, Href, Feature       string
	Outcomes                           []outcomeView
	ByWord                             bool // the result is picked, not measured
	Chosen, Started                    bool
}

type outcomeView struct{ ID, Text, Chance, LeadsTo string }

type lineView struct{ Text, By, State, Author string }

// partView is a part with what can be tapped about it.
type partView struct {
	Entry, Text, State  string
	Name, Number, Where string
	Comes, Fits         bool
}

type runView struct{ Run, Label string }

type personView struct{ ID, Name string }

type recordView struct {
	ID, At, What, Text, Who string
	MayUndo                 bool
}

// jobPageOf sets out a job for people.
func jobPageOf(v *shop.JobView, p *text.Printer, now time.Time, author string) *jobPage {
	b := &pageBuilder{v: v, p: p, now: now, author: author, page: &jobPage{ID: v.Job, Rev: v.Rev, Working: v.Working, Answered: v.Answer != nil}}
	b.head()
	b.complaint()
	b.items()
	if v.Answer != nil {
		b.answer(v.Answer)
	}
	b.after()
	b.work()
	b.page.Do = b.do()
	return b.page
}

type pageBuilder struct {
	v      *shop.JobView
	p      *text.Printer
	now    time.Time
	author string
	page   *jobPage
}

func (b *pageBuilder) head() {
	v, p, g := b.v, b.p, b.page
	var standing []string
	standing = append(standing, p.T("job.stands", p.Clock(b.now)))
	if at := moment(v.Board.Promised, b.now, p); at != "" {
		standing = append(standing, p.T("job.promised", at))
	}
	if left := v.Board.MinutesLeft; left >= 0 {
		standing = append(standing, p.T("job.approval_left", p.Number(left, 0)))
	} else {
		standing = append(standing, p.T("job.approval_over", p.Number(-left, 0)))
	}
	g.Standing = strings.Join(standing, " · ")
	g.Stages = v.Stages
	for i, s := range v.Stages {
		switch s.ID {
		case "complaint":
			g.Stage.Complaint = s.State
		case "evidence":
			g.Stage.Evidence = s.State
		case "suspects":
			g.Stage.Suspects = s.State
		case "next_test":
			g.Stage.Next = s.State
		case "correction":
			g.Stage.Correction = s.State
		case "procedure":
			g.Stage.Procedure = s.State
		case "proof":
			g.Stage.Proof = s.State
		}
		if s.State == "now" {
			g.StageWords = p.T("stage.at", p.T("stage."+s.ID), i+1, len(v.Stages))
		}
	}
	g.StageWords = cmp.Or(g.StageWords, p.T("board.stage.closed")) // no stage is the one it stands at
	for _, s := range []*string{&g.Stage.Complaint, &g.Stage.Evidence, &g.Stage.Suspects, &g.Stage.Next, &g.Stage.Correction, &g.Stage.Proof} {
		*s = cmp.Or(*s, "open")
	}
	switch {
	case v.Closed != nil:
		g.Headline = p.T("job.head_closed", p.T("closed."+v.Closed.What.Result), v.Closed.What.Because)
	case v.Answer != nil && len(v.Items) > 0:
		g.Headline, g.More = firstSentence(v.Answer.Headline)
		g.Engine = true
	case v.Working && len(v.Items) > 0:
		g.Headline = p.T("job.head_working")
	default:
		g.Headline = p.T("job.head_new")
	}
	if v.Answer != nil {
		g.Cautions = v.Answer.Cautions
	}
	g.Dangerous = v.Dangerous
	if i := v.Interrupted; i != nil {
		g.Interrupted = &interruptedView{At: moment(i.Wall, b.now, p), State: i.What.State, Card: i.What.Card}
	}
	if v.Closed != nil {
		g.Closed = &v.Closed.What
	}
}

// complaintForm is what the page shows of a job file's complaint.
type complaintForm struct {
	Said       string                     `json:"said"`
	Symptoms   []string                   `json:"symptoms"`
	Conditions map[string]json.RawMessage `json:"conditions"`
}

func (b *pageBuilder) complaint() {
	var c complaintForm
	// A form that cannot be read stands in the record as it came; the page shows none.
	_ = json.Unmarshal(b.v.Complaint, &c)
	view := complaintView{Said: c.Said}
	if len(b.v.Entries) > 0 || b.v.Opened != "" {
		view.By = moment(b.v.Opened, b.now, b.p)
	}
	for _, name := range slices.Sorted(maps.Keys(c.Conditions)) {
		if value := plainWords(c.Conditions[name]); value != "" && b.p.Has("condition."+name) {
			view.Facts = append(view.Facts, factView{b.p.T("condition." + name), b.wordsOf(name, value)})
		}
	}
	b.page.Complaint = view
}

// wordsOf translates the words of a condition that the catalogue knows.
func (b *pageBuilder) wordsOf(name, value string) string {
	var out []string
	for w := range strings.SplitSeq(value, ", ") {
		if key := "condition." + name + "." + w; b.p.Has(key) {
			w = b.p.T(key)
		}
		out = append(out, w)
	}
	return strings.Join(out, ", ")
}

// plainWords writes a scalar or a list of a form.
func plainWords(raw json.RawMessage) string {
	var v any
	if json.Unmarshal(raw, &v) != nil {
		return ""
	}
	switch v := v.(type) {
	case string:
		return v
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case []any:
		var out []string
		for _, e := range v {
			if s, ok := e.(string); ok {
				out = append(out, s)
			}
		}
		return strings.Join(out, ", ")
	}
	return ""
}

func (b *pageBuilder) items() {
	aside := 0
	for _, it := range b.v.Items {
		row := itemRow{Number: it.Item, Kind: it.Kind, What: cmp.Or(it.What, it.Name, it.Kind), File: it.Name, Aside: it.SetAside, Notes: it.Notes,
			By: b.by(it.Author, it.Wall)}
		if len(row.Notes) > 2 {
			row.Notes = row.Notes[:2]
		}
		if it.SetAside != "" {
			aside++
		}
		b.page.Items = append(b.page.Items, row)
	}
	words := []string{b.p.T("job.counted", len(b.v.Items)-aside)}
	if aside > 0 {
		words = append(words, b.p.T("job.aside_count", aside))
	}
	b.page.ItemWords = strings.Join(words, ", ")
}

// by says who and when.
func (b *pageBuilder) by(author, wall string) string {
	return b.p.T("job.by", moment(wall, b.now, b.p), b.name(author))
}

func (b *pageBuilder) name(person string) string { return cmp.Or(b.v.People[person], person) }

func (b *pageBuilder) answer(a *shop.Answer) {
	g, p := b.page, b.p
	g.Speaking, g.Quiet = evidenceRows(a, p)
	g.LeftOut = leftRows(a.LeftOut, p)
	g.Ledger = ledger(a, p)
	open := len(g.Ledger.Rows) + g.Ledger.Rest
	words := []string{p.T("job.suspects_open", open)}
	if len(a.RuledOut) > 0 {
		words = append(words, p.T("job.suspects_out", len(a.RuledOut)))
	}
	g.SuspectWords = strings.Join(words, ", ")
	g.NotListed = p.T("job.not_listed", chance(a.NotListed, p), chance(a.NothingWrong, p), chance(a.TwoOrMore, p))
	b.conflicts(a)
	b.ruledOut(a)
	g.Stop, g.Ahead = a.Stop, a.First
	b.tests(a)
	for _, k := range []string{"seen", "access", "customer"} {
		g.Reasons = append(g.Reasons, p.T("reason."+k))
	}
	for _, k := range []string{"equipment", "danger", "time", "access"} {
		g.Declines = append(g.Declines, p.T("reason."+k))
	}
}

func (b *pageBuilder) conflicts(a *shop.Answer) {
	for _, c := range a.Conflicts {
		view := conflictView{Tags: spans(c.Items, b.p), Reason: c.Reason, Settle: c.Settle, Kept: firstUpper(c.Kept)}
		for _, item := range c.Items {
			side := b.side(a, c.Findings, item)
			for _, own := range c.Sides {
				if own.Item == item {
					side.Sentence = own.Text
				}
			}
			view.Sides = append(view.Sides, side)
		}
		b.page.Conflicts = append(b.page.Conflicts, view)
	}
}

// side is what one item of a conflict says: its finding, or what it is.
func (b *pageBuilder) side(a *shop.Answer, findings []string, item int) sideView {
	view := sideView{Item: item}
	for _, it := range b.v.Items {
		if it.Item == item {
			view.Sentence, view.Aside = firstUpper(cmp.Or(it.What, it.Name)), it.SetAside != ""
		}
	}
	for i := range a.Findings {
		if f := &a.Findings[i]; f.Item == item && slices.Contains(findings, f.ID) {
			view.Sentence = f.Sentence
		}
	}
	return view
}

func (b *pageBuilder) ruledOut(a *shop.Answer) {
	for _, r := range a.RuledOut {
		view := ruledView{ID: r.ID, Text: r.Text, Chance: chance(r.Chance, b.p), Reason: r.Reason}
		if r.By == "elimination" {
			b.page.Eliminated = append(b.page.Eliminated, view)
			continue
		}
		for i := range a.Findings {
			if a.Findings[i].ID == r.By {
				view.Item = a.Findings[i].Item
			}
		}
		b.page.RuledOut = append(b.page.RuledOut, view)
	}
}

// moment writes a time of the record: the clock today, with the day of the week
// within a week, with the date otherwise.
func moment(wall string, now time.Time, p *text.Printer) string {
	t, err := time.Parse(time.RFC3339Nano, wall)
	if err != nil {
		return ""
	}
	t = t.In(now.Location())
	y, m, d := t.Date()
	if ny, nm, nd := now.Date(); y == ny && m == nm && d == nd {
		return p.Clock(t)
	}
	if d := t.Sub(now); d > -6*24*time.Hour && d < 6*24*time.Hour {
		return p.T("weekday.short."+strconv.Itoa(int(t.Weekday()))) + "\u00a0" + p.Clock(t)
	}
	return p.Date(t) + ", " + p.Clock(t)
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

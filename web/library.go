package web

import (
	"cmp"
	"encoding/json"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"proveout/book"
	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /library", serve: library},
		route{pattern: "GET /library/own", serve: ownForm},
		route{pattern: "POST /library/own", serve: authored(addOwn)},
	)
}

// libraryPage lists what the shop knows: fault books, procedures, and what it added
// itself.
type libraryPage struct {
	Books      []bookView
	Own        []lineView
	Procedures []procedureView
}

type bookView struct {
	ID, Title, Version string
	Suspects           []lineView
	Tests              []bookTest
	Sources            []lineView
}

type bookTest struct {
	Name, Do, Says string
	Minutes        string
	Words          []string
}

type procedureView struct {
	ID, Title, Summary string
	Steps, Version     int
	Added              string // when the shop took it in; empty: it comes with the program
	Entry              string // by which it did
	Print              string // the beginning of its hash
}

func library(s *Server, w http.ResponseWriter, r *http.Request) error {
	p := s.printer(r)
	offers, err := s.bench.Procedures(r.Context())
	if err != nil {
		return err
	}
	g := &libraryPage{}
	for _, b := range s.bench.Books() {
		g.Books = append(g.Books, bookViewOf(b, p))
	}
	for _, o := range offers {
		v := procedureView{ID: o.ID, Title: o.Title, Summary: o.Summary, Steps: o.Steps, Version: o.Version, Entry: o.Entry, Print: o.SHA256[:16]}
		if o.Own {
			v.Added = moment(o.Added, s.now(), p)
		}
		g.Procedures = append(g.Procedures, v)
	}
	entries, err := s.bench.Entries(r.Context(), shop.ShopJob)
	if err != nil && !isNotThere(err) {
		return err
	}
	for _, e := range entries {
		if (e.Type == job.SuspectAddedType || e.Type == job.TestAddedType) && !e.Undone {
			g.Own = append(g.Own, lineView{Text: ownName(e.Payload), By: moment(e.Wall, s.now(), p)})
		}
	}
	return s.page(w, r, sheet{Name: "library", Title: p.T("library.title"), View: g, Styles: []string{"job.css"}, Cells: []cell{{Name: s.o.Shop, Value: p.T("library.title"), Grow: true}}})
}

func bookViewOf(b *book.Book, p *text.Printer) bookView {
	v := bookView{ID: b.ID, Title: b.Title, Version: b.Version}
	names := map[string]string{}
	for _, c := range b.Components {
		names[c.ID] = c.Name
	}
	for _, f := range b.Faults {
		v.Suspects = append(v.Suspects, lineView{Text: firstUpper(names[f.Component]) + ": " + f.Name, By: f.Why})
	}
	for i := range b.Tests {
		t := &b.Tests[i]
		view := bookTest{Name: firstUpper(t.Name), Do: t.Do, Says: t.Says, Minutes: p.Number(t.Minutes.Easy.Value, 0)}
		for _, word := range []string{"DANGER", "WARNING", "CAUTION", "NOTICE"} {
			if slices.ContainsFunc(t.Hazards, func(h string) bool { return b.Hazards[h].Word == word }) {
				view.Words = append(view.Words, word)
			}
		}
		v.Tests = append(v.Tests, view)
	}
	for _, tag := range sortedKeys(b.Sources) {
		v.Sources = append(v.Sources, lineView{Text: tag, By: b.Sources[tag]})
	}
	return v
}

// ownName is the name of a suspect or test of the shop's own.
func ownName(payload json.RawMessage) string {
	var f struct {
		Fault, Test struct{ Name string }
	}
	_ = json.Unmarshal(payload, &f) // what is not there has no name
	return cmp.Or(f.Fault.Name, f.Test.Name, "?")
}

// ownPage is the form at the fender: a suspect that no book has, and the look that
// would show it.
type ownPage struct {
	Job   string
	Rev   int64
	Per   question
	Rate  question
	Scope question
}

// rates are chances at reception in words a person can stand by (our choice).
var rates = map[string]float64{"rare": 0.005, "sometimes": 0.02, "often": 0.08}

func ownForm(s *Server, w http.ResponseWriter, r *http.Request) error {
	p := s.printer(r)
	g := &ownPage{Job: r.URL.Query().Get("job")}
	if g.Job != "" {
		v, err := s.bench.Job(r.Context(), g.Job)
		if err != nil {
			return err
		}
		g.Rev = v.Rev
	}
	g.Per = ask(p, "per", "own.per", false, []string{"engine"}, "engine", "cylinder", "bank")
	g.Rate = ask(p, "rate", "own.rate", false, []string{"sometimes"}, "rare", "sometimes", "often")
	on := "job"
	if g.Job == "" {
		on = "shop"
	}
	g.Scope = ask(p, "scope", "own.scope", false, []string{on}, "job", "shop")
	return s.page(w, r, sheet{Name: "own", Title: p.T("own.title"), View: g, Styles: []string{"job.css", "reception.css"}, Cells: []cell{{Name: s.o.Shop, Value: p.T("own.title"), Grow: true}}})
}

// addOwn writes a suspect, and its direct test where one was described. They are an
// overlay: no figure of a book changes.
func addOwn(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	id := f.Get("job")
	scope := f.Get("scope")
	if scope != "shop" {
		scope = "job"
	}
	if id == "" {
		if scope == "job" {
			return badField("scope")
		}
		id = shop.ShopJob
	}
	part, fault, per := words(f, "part"), words(f, "fault"), f.Get("per")
	if part == "" || fault == "" {
		return badField("part")
	}
	rate, ok := rates[f.Get("rate")]
	if !ok || !slices.Contains([]string{"engine", "cylinder", "bank"}, per) {
		return badField("rate")
	}
	symptoms, err := s.symptomsOf(r, id)
	if err != nil {
		return err
	}
	complaint := map[string]any{}
	for _, sym := range symptoms {
		complaint[sym] = 0.7 // what makes one think of it: our choice
	}
	faultID := "own_" + slug(fault)
	suspect := job.SuspectAdded{Scope: scope}
	if suspect.Component, err = json.Marshal(map[string]any{"id": "own_" + slug(part), "name": part, "per": per}); err != nil {
		return err
	}
	form := map[string]any{"id": faultID, "component": "own_" + slug(part), "name": fault, "rate": rate}
	if len(complaint) > 0 {
		form["complaint"] = complaint
	}
	if suspect.Fault, err = json.Marshal(form); err != nil {
		return err
	}
	look, test := words(f, "look"), job.Form(nil)
	if look != "" { // both are right, or neither is written
		if test, err = ownTest(f, faultID, per, look); err != nil {
			return err
		}
	}
	if _, err := s.write(r, id, job.SuspectAddedType, suspect, a); err != nil {
		return err
	}
	if look != "" {
		if _, err := s.write(r, id, job.TestAddedType, job.TestAdded{Scope: scope, Test: test}, a); err != nil {
			return err
		}
	}
	next := "/library"
	if f.Get("job") != "" {
		next = "/jobs/" + url.PathEscape(f.Get("job")) + "#suspects"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

// ownTest is a look at the part itself: 9 in 10 when it is there, 1 in 20 when it is
// not (our choice, as cautious as the books are with looks).
func ownTest(f url.Values, faultID, per, look string) (job.Form, error) {
	good, bad := cmp.Or(words(f, "good"), "as it should be"), cmp.Or(words(f, "bad"), "not as it should be")
	minutes := cmp.Or(words(f, "minutes"), "15") // our choice, where nothing was said
	if !digits.MatchString(minutes) {
		return nil, badField("minutes")
	}
	return json.Marshal(map[string]any{
		"id": "own_look_" + slug(look), "name": look, "per": per, "static": true, "direct": []string{faultID}, "neighbours": per == "cylinder",
		"outcomes": []map[string]any{{"id": "good", "text": good, "normal": true}, {"id": "bad", "text": bad, "proves": true}},
		"healthy":  map[string]any{"good": 0.95, "bad": 0.05}, "given": map[string]any{faultID: map[string]any{"bad": 0.9}},
		"minutes": map[string]any{"easy": json.Number(minutes), "buried": json.Number(minutes)},
	})
}

var digits = regexp.MustCompile(`^[0-9]{1,3}$`)

// symptomsOf are the symptoms the job's complaint names.
func (s *Server) symptomsOf(r *http.Request, id string) ([]string, error) {
	if id == shop.ShopJob {
		return nil, nil
	}
	v, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return nil, err
	}
	return knownOf(v).complaint.Symptoms, nil
}

// slug makes an id of a name: letters and figures, the rest a line.
func slug(s string) string {
	var b strings.Builder
	for _, c := range strings.ToLower(s) {
		switch {
		case c < unicode.MaxASCII && (unicode.IsLetter(c) || unicode.IsDigit(c)):
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "_"):
			b.WriteByte('_')
		}
	}
	return cmp.Or(clip(strings.Trim(b.String(), "_"), 40), "part")
}

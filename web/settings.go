package web

import (
	"cmp"
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/book"
	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /settings", serve: settings},
		route{pattern: "POST /settings", serve: authored(saveSettings)},
		route{pattern: "POST /settings/people", serve: authored(savePerson)},
	)
}

type settingsPage struct {
	Equipment []option
	Access    []accessView
	Limits    []limitView
	Units     question
	Language  []text.Language
	Lang      string
	ShopName  string
	People    []shop.Person
}

type accessView struct{ ID, Name, Usual, Value string }

// limitView is a limit of safety with what it may be set to.
type limitView struct{ ID, Name, Unit, Usual, Value, Low, High string }

// shopSettings are the settings in force.
func (s *Server) shopSettings(r *http.Request) (job.Settings, error) {
	st, err := s.bench.State(r.Context(), shop.ShopJob)
	if isNotThere(err) {
		return job.Settings{}, nil
	}
	if err != nil {
		return job.Settings{}, err
	}
	return st.Settings, nil
}

func settings(s *Server, w http.ResponseWriter, r *http.Request) error {
	p := s.printer(r)
	have, err := s.shopSettings(r)
	if err != nil {
		return err
	}
	g := &settingsPage{Language: text.Languages(), Lang: p.Lang(), ShopName: cmp.Or(have.ShopName, s.o.Shop)}
	names, access := map[string]string{}, map[string]book.Access{}
	for _, b := range s.bench.Books() {
		for id, name := range b.Equipment {
			names[id] = name
		}
		for id, a := range b.Access {
			access[id] = a
		}
	}
	for _, id := range sortedKeys(names) {
		g.Equipment = append(g.Equipment, option{Value: id, Label: firstUpper(names[id]), On: len(have.Equipment) == 0 || slices.Contains(have.Equipment, id)})
	}
	for _, id := range sortedKeys(access) {
		v := accessView{ID: id, Name: firstUpper(access[id].Name), Usual: p.Number(access[id].Easy.Value, 0)}
		if m, ok := have.AccessMinutes[id]; ok {
			v.Value = strconv.FormatFloat(m, 'f', -1, 64)
		}
		g.Access = append(g.Access, v)
	}
	for _, l := range job.SafetyLimits {
		decimals := 1
		if l.Unit == "s" {
			decimals = 0
		}
		v := limitView{ID: l.ID, Name: p.T("limit." + l.ID), Unit: l.Unit, Usual: p.Number(l.Usual, decimals), Low: strconv.FormatFloat(l.From, 'f', -1, 64), High: strconv.FormatFloat(l.To, 'f', -1, 64)}
		if m, ok := have.Thresholds[l.ID]; ok {
			v.Value = strconv.FormatFloat(m, 'f', -1, 64)
		}
		g.Limits = append(g.Limits, v)
	}
	g.Units = ask(p, "units", "settings.units", false, []string{cmp.Or(have.Units, "si")}, "si", "us")
	if g.People, err = s.bench.People(r.Context()); err != nil {
		return err
	}
	return s.page(w, r, sheet{Name: "settings", Title: p.T("settings.title"), View: g, Styles: []string{"job.css", "reception.css"}, Cells: []cell{{Name: s.o.Shop, Value: p.T("settings.title"), Grow: true}}})
}

func saveSettings(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	set, err := settingsOf(f)
	if err != nil {
		return err
	}
	// One choice: what this device shows, and what the shop's reports are written in.
	if lang := f.Get("lang"); text.Known(lang) {
		set.Language = lang
	}
	body, err := json.Marshal(set)
	if err != nil {
		return err
	}
	if _, err := s.write(r, shop.ShopJob, job.SettingsChangedType, json.RawMessage(body), a); err != nil {
		return err
	}
	s.forgetSettings()
	if lang := f.Get("lang"); text.Known(lang) {
		setCookie(w, langCookie, lang)
	}
	http.Redirect(w, r, "/settings", http.StatusSeeOther)
	return nil
}

// settingsOf reads the form. A limit of safety outside its bounds is refused and
// never clipped in silence.
func settingsOf(f url.Values) (job.Settings, error) {
	set := job.Settings{Equipment: f["equipment"], AccessMinutes: map[string]float64{}, Thresholds: map[string]float64{}, Units: f.Get("units"), ShopName: clip(words(f, "shop_name"), 100)}
	for name := range f {
		id, ok := strings.CutPrefix(name, "access.")
		typed := strings.TrimSpace(f.Get(name))
		if !ok || typed == "" {
			continue
		}
		m, err := strconv.ParseFloat(strings.ReplaceAll(typed, ",", "."), 64)
		if err != nil || !(m >= 0 && m <= job.MaxAccessMinutes) {
			return set, badField(name)
		}
		set.AccessMinutes[id] = m
	}
	for _, l := range job.SafetyLimits {
		typed := strings.TrimSpace(f.Get("limit." + l.ID))
		if typed == "" {
			continue
		}
		v, err := strconv.ParseFloat(strings.ReplaceAll(typed, ",", "."), 64)
		if err != nil || !(v >= l.From && v <= l.To) {
			return set, &Problem{Status: http.StatusUnprocessableEntity, Kind: "limit_loosened", Args: []any{typed, strconv.FormatFloat(l.From, 'f', -1, 64), strconv.FormatFloat(l.To, 'f', -1, 64)}}
		}
		set.Thresholds[l.ID] = v
	}
	if err := set.Check(); err != nil {
		return set, &Problem{Status: http.StatusUnprocessableEntity, Kind: "limits_crossed", Detail: err.Error()}
	}
	return set, nil
}

// savePerson adds somebody who works here, or changes a PIN.
func savePerson(s *Server, w http.ResponseWriter, r *http.Request, _ author) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	person := shop.Person{ID: f.Get("id"), Name: clip(words(f, "name"), 100), Role: "technician", Gone: f.Get("gone") == "yes"}
	if person.ID == "" {
		person.ID = opaque("p", person.Name, f.Get("rev"))
	}
	if err := s.bench.PutPerson(r.Context(), person, f.Get("pin")); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings", http.StatusSeeOther)
	return nil
}

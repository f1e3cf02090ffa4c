package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/job"
	"proveout/shop"
	"proveout/store"
	"proveout/text"
	"proveout/unit"
)

// mostPosted is the largest capture a form without scripts may post at once; with
// scripts it goes in pieces and goes on after a break.
const mostPosted = 4 << 30

func init() {
	routes = append(routes,
		route{pattern: "GET /jobs/{id}/add", serve: addPage},
		route{pattern: "POST /jobs/{id}/add", serve: postFile, body: mostPosted + 1<<20, stream: true},
		route{pattern: "POST /jobs/{id}/captures", serve: authored(postCapture)},
		route{pattern: "POST /jobs/{id}/photos", serve: postPhoto, body: shop.MostPhoto + 1<<20, stream: true},
		route{pattern: "GET /jobs/{id}/photos/{sum}", serve: showPhoto},
	)
}

// addView adds a capture: first the file, then how it is to be read.
type addView struct {
	Job, Key      string
	Again         int // item that is taken anew
	Map           int // item whose file is read another way
	Reason        string
	Unreadable    bool // nothing of the file reads, whatever is said of it
	After         bool // the page was asked for what is recorded after the repair
	Next          int  // number it will get
	File          *fileView
	Kinds, States []option
	Cylinders     []option
	Probe         probeView
	When          *question // before or after the repair; nil: there is none yet
	Drive         driveView
	Note          string
	Columns       []columnRow
	Problems      []string
	Sense         *senseView
	Measured      *shop.CaptureReading
	Readings      []readView
	Photos        []photoView
	Places        []option
}

type fileView struct {
	SHA, Name, Finger string
	Size, Rows        string
	Seconds, Rate     string
	Known             bool
	HasItem           int // it is an item of this job already
	Notes             []shop.NoteAnswer
	Messages          []string
	RateAsked         bool // the file says nothing about time
}

type probeView struct {
	Name, Placement string
	Calibrated      bool
}

// driveView is what only somebody who was there can say of a drive.
type driveView struct {
	Open           bool
	As, Watched    question
	Episodes, Road string // as typed
}

// columnRow is one column: what it is called, how it begins, what it looks like, and
// what it is read as.
type columnRow struct {
	N, Name, First string
	Path           string // of the thumbnail
	As, Units      []option
	Sure           bool
	Why            string
	Sense          []string
}

// senseView holds a reading against the nearest wrong one.
type senseView struct{ Column, Here, Other, OtherUnit string }

type readView struct{ Name, Subject, Value, Flags string }

type photoView struct{ Sum, Place, Note, At string }

func addPage(s *Server, w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	// Who it is comes before the file: a file cannot wait behind the question.
	if _, err := s.author(w, r); errors.Is(err, errNobody) {
		return s.who(w, r, whoPage{Back: ours(r.URL.RequestURI())})
	} else if err != nil {
		return err
	}
	page, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	state, err := s.bench.State(r.Context(), id)
	if err != nil {
		return err
	}
	t, q := s.printer(r), r.URL.Query()
	v := &addView{Job: id, Next: state.NextItem(), Key: cmp.Or(q.Get("key"), opaque("add", id, q.Get("sha"), fmt.Sprint(state.NextItem()))), Note: q.Get("note")}
	v.Again, _ = strconv.Atoi(q.Get("again")) // none: a new item
	was, err := mappedAgain(state, q)
	if err != nil {
		return err
	}
	if was != nil {
		if q.Get("sha") == "" { // from the item's page: begin with what was said of it
			q = askedOf(json.RawMessage(was.Form()))
		}
		q.Set("sha", was.SHA256)
		q.Set("name", was.Name)
		v.Map, v.Note, v.Reason = was.Number, q.Get("note"), cmp.Or(q.Get("reason"), t.T("capture.map.reason"))
	}
	v.After = q.Get("when") == "after"
	v.When = whenAsked(page, q.Get("when"), t)
	v.Drive = driveOf(q, t)
	v.photos(t, state)
	if sha := q.Get("sha"); sha != "" {
		if err := s.fillAdd(r, v, state, t, sha, baseName(q.Get("name")), q, was); err != nil {
			return err
		}
	}
	return s.page(w, r, sheet{Name: "add", Title: t.T("capture.add.title"), View: v, Styles: []string{"job.css", "capture.css"}, Scripts: []string{"add.js"}, Cells: s.jobCells(page, t, t.T("capture.add.title")), Saved: savedAt(page, s, t)})
}

// whenAsked asks whether something is of before or after the repair, once there is a
// repair; what is typed or copied from then on is of after it, unless it is said.
func whenAsked(v *shop.JobView, said string, t *text.Printer) *question {
	if said == "" && len(v.Corrections) == 0 && !slices.ContainsFunc(v.Parts, func(p job.PartState) bool { return p.Fitted }) {
		return nil
	}
	q := ask(t, "when", "capture.when", false, []string{cmp.Or(said, "after")}, "before", "after")
	return &q
}

func (v *addView) photos(t *text.Printer, state *job.State) {
	for _, p := range []string{"front_left", "front", "front_right", "left", "engine", "right", "rear_left", "rear", "rear_right", "inside", "underneath", "dashboard"} {
		v.Places = append(v.Places, option{Value: p, Label: t.T("capture.place." + p)})
	}
	for _, p := range state.Photos {
		place := p.What.Place
		if t.Has("capture.place." + place) {
			place = t.T("capture.place." + place)
		}
		v.Photos = append(v.Photos, photoView{Sum: p.What.SHA256, Place: place, Note: p.What.Note})
	}
}

// fillAdd shows a file that is here, read with the mapping of the form.
func (s *Server) fillAdd(r *http.Request, v *addView, state *job.State, t *text.Printer, sha, name string, q url.Values, was *job.Item) error {
	if !isSHA(sha) {
		return notFound(s, nil, r)
	}
	form := formOf(q, formWas(was))
	m, err := s.bench.Preview(r.Context(), sha, name, form)
	if err != nil && (errors.Is(err, store.ErrNotFound) || r.Context().Err() != nil) {
		return err
	}
	if err != nil {
		why := strings.TrimPrefix(err.Error(), name+": ")
		if m, err = s.bench.Preview(r.Context(), sha, name, json.RawMessage("{}")); err != nil {
			v.File, v.Problems, v.Unreadable = &fileView{SHA: sha, Name: name, Finger: finger(sha)}, []string{why}, true
			return nil
		}
		m.Problems = append(m.Problems, why) // it reads: only what is said of it does not fit
	}
	f := &fileView{SHA: sha, Name: name, Finger: finger(sha), Known: q.Get("known") == "1", Rows: t.Int(int64(m.Rows)), Notes: m.Notes, Messages: m.Messages, RateAsked: m.Kind == "text" && !m.HasTime}
	if size, err := s.sizeOf(sha); err == nil {
		f.Size = sizeWords(t, size)
	}
	if m.Seconds > 0 {
		f.Seconds = t.Significant(m.Seconds)
	}
	if m.RateHz > 0 {
		f.Rate = t.Significant(m.RateHz)
	}
	for _, it := range state.Items {
		if it.SHA256 == sha {
			f.HasItem = it.Number
		}
	}
	v.File, v.Problems = f, m.Problems
	for _, k := range m.Kinds {
		v.Kinds = append(v.Kinds, option{Value: k, Label: strings.ReplaceAll(k, "_", " "), On: q.Get("kind") == k || m.Kind == "messages" && k == "diagnostic"})
	}
	for _, st := range []string{"idle", "snap", "raised", "cruise", "load", "overrun", "cranking", "key_on", "off"} {
		v.States = append(v.States, option{Value: st, Label: t.T("capture.state." + st), On: q.Get("state") == st})
	}
	if file, _ := state.File(job.Private{}); file != nil {
		if engine, _ := file.VehicleEngine(); engine.Cylinders > 1 {
			for c := range engine.Cylinders {
				n := strconv.Itoa(c + 1)
				v.Cylinders = append(v.Cylinders, option{Value: n, Label: n, On: q.Get("cylinder") == n})
			}
		}
	}
	v.Probe = probeView{Name: q.Get("probe"), Placement: q.Get("placement"), Calibrated: q.Get("calibrated") == "yes"}
	for i := range m.Columns {
		v.Columns = append(v.Columns, s.columnRow(r, t, m, &m.Columns[i], i, sha, name, form, q))
	}
	v.Sense = senseOf(t, m)
	if q.Get("kind") != "" || q.Has("measure") {
		if v.Measured, err = s.bench.ReadCapture(r.Context(), v.Job, sha, name, form); err != nil {
			return err
		}
		v.Readings = readViews(t, v.Measured)
	}
	return nil
}

func readViews(t *text.Printer, m *shop.CaptureReading) []readView {
	var out []readView
	for _, x := range m.Readings[:min(len(m.Readings), 12)] {
		u := x.Unit
		if known, err := unit.Parse(x.Unit); err == nil {
			u = text.UnitWord(known)
		}
		out = append(out, readView{Name: x.Name, Subject: x.Subject, Value: strings.TrimSpace(t.Significant(x.Value) + " " + u), Flags: strings.Join(x.Flags, ", ")})
	}
	return out
}

func (s *Server) sizeOf(sha string) (int64, error) {
	f, err := s.bench.Raw(sha)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	return f.Seek(0, io.SeekEnd)
}

func sizeWords(t *text.Printer, n int64) string {
	if n < 100_000 {
		return t.T("capture.kb", t.Number(float64(n)/1e3, 1))
	}
	return t.T("capture.mb", t.Number(float64(n)/1e6, 1))
}

// finger is the beginning of a hash, in groups that can be read out.
func finger(sha string) string {
	var out []string
	for i := 0; i+4 <= min(16, len(sha)); i += 4 {
		out = append(out, sha[i:i+4])
	}
	return strings.Join(out, " ")
}

func (s *Server) columnRow(r *http.Request, t *text.Printer, m *shop.MappingView, c *shop.ColumnView, channel int, sha, name string, form json.RawMessage, q url.Values) columnRow {
	n := strconv.Itoa(c.Column)
	row := columnRow{N: n, Name: cmp.Or(c.Name, n), Sense: c.Sense}
	var first []string
	for _, x := range c.First[:min(len(c.First), 3)] {
		if x == nil {
			first = append(first, t.T("capture.missing"))
		} else {
			first = append(first, t.Significant(*x))
		}
	}
	row.First = strings.Join(first, ", ")
	as := cmp.Or(q.Get("as "+n), c.As, c.Guess)
	for _, x := range m.Roles {
		row.As = append(row.As, option{Value: x.ID, Label: strings.ReplaceAll(x.ID, "_", " "), On: x.ID == as})
	}
	chosen := q.Get("unit " + n)
	if u, err := unit.Parse(cmp.Or(chosen, c.Unit)); err == nil {
		for _, x := range unit.Of(u.Dim) {
			row.Units = append(row.Units, option{Value: x.Symbol, Label: text.UnitWord(x), On: x.Symbol == cmp.Or(chosen, c.Unit)})
		}
	} else {
		for _, x := range []string{"V", "mV", "kV", "A", "mA", "kPa", "bar", "degC", "%"} {
			row.Units = append(row.Units, option{Value: x, Label: x, On: x == chosen})
		}
	}
	switch {
	case q.Get("as "+n) != "":
		row.Sure, row.Why = true, t.T("capture.why.chosen")
	case c.Guess != "":
		row.Sure, row.Why = true, t.T("capture.why.name")
	case c.Unit != "":
		row.Why = t.T("capture.why.unit", c.Unit)
	default:
		row.Why = t.T("capture.why.none")
	}
	if b, err := s.bench.Samples(r.Context(), sha, name, form, channel, 0, int64(m.Rows), 240); err == nil {
		row.Path = pathOf(pairsOf(b), 1600, 800)
	}
	return row
}

// senseOf shows the first mapped column's range in its unit, and the same figures in
// the next larger or smaller one: the person knows which can be.
func senseOf(t *text.Printer, m *shop.MappingView) *senseView {
	for _, c := range m.Columns {
		u, err := unit.Parse(c.Unit)
		if err != nil || c.Unit == "" || c.As == "ignore" {
			continue
		}
		all := unit.Of(u.Dim)
		i := slices.IndexFunc(all, func(x unit.Unit) bool { return x.Symbol == u.Symbol })
		for _, j := range []int{i + 1, i - 1} {
			if j < 0 || j >= len(all) || all[j].Offset != u.Offset {
				continue
			}
			say := func(w unit.Unit) string {
				return t.T("capture.range", t.Significant(c.Min), t.Significant(c.Max), text.UnitWord(w))
			}
			return &senseView{Column: c.Name, Here: say(u), Other: say(all[j]), OtherUnit: text.UnitWord(all[j])}
		}
	}
	return nil
}

// postFile takes a whole file from a form: the way without scripts.
func postFile(s *Server, w http.ResponseWriter, r *http.Request) error {
	if _, err := s.author(w, r); err != nil {
		return err
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Cause: err}
	}
	for {
		p, err := parts.NextPart()
		if err != nil {
			return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Detail: "no file came with the form", Cause: err}
		}
		if p.FormName() != "file" || p.FileName() == "" {
			continue
		}
		name := baseName(p.FileName())
		id, err := s.bench.Upload(r.Context(), name, -1)
		if err != nil {
			return err
		}
		if _, err := s.bench.Append(r.Context(), id, 0, p); err != nil {
			return err
		}
		u, err := s.bench.Finish(r.Context(), id)
		if err != nil {
			return err
		}
		more := ""
		if u.Known {
			more = "&known=1"
		}
		if r.URL.Query().Get("when") == "after" {
			more += "&when=after"
		}
		http.Redirect(w, r, "/jobs/"+url.PathEscape(r.PathValue("id"))+"/add?sha="+u.SHA256+"&name="+url.QueryEscape(name)+more, http.StatusSeeOther)
		return nil
	}
}

// postCapture keeps a file as the next item of the job.
func postCapture(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	id, f := r.PathValue("id"), r.PostForm
	sha := f.Get("sha")
	if !isSHA(sha) {
		return badField("sha")
	}
	if d := driveForm(f); f.Get("watched") == "noticed" && d["episodes"] == nil {
		return badField("episodes")
	}
	state, err := s.bench.State(r.Context(), id)
	if err != nil {
		return err
	}
	was, err := mappedAgain(state, f)
	if err != nil {
		return err
	}
	if was != nil && was.SHA256 != sha {
		return badField("sha")
	}
	if was != nil && reason(f) == "" {
		return badField("reason")
	}
	size, err := s.sizeOf(sha)
	if err != nil {
		return err
	}
	name, form := baseName(f.Get("name")), formOf(f, formWas(was))
	if err := s.reads(r, sha, name, form); err != nil {
		return err
	}
	receipt, err := s.write(r, id, job.CaptureAddedType, job.CaptureAdded{SHA256: sha, Name: name, Size: size, Form: job.Form(form)}, a)
	if err != nil {
		return err
	}
	if was != nil { // the old mapping stays in the record, and says why it does not count
		if _, err := s.write(r, id, job.RetakenType, job.Retaken{Item: was.Number, By: receipt.Item}, a); err != nil {
			return err
		}
		if _, err := s.write(r, id, job.SetAsideType, job.SetAside{Item: was.Number, Reason: s.printer(r).T("capture.map.aside", reason(f), receipt.Item)}, a); err != nil {
			return err
		}
	}
	if again, err := strconv.Atoi(f.Get("again")); err == nil && again > 0 {
		if _, err := s.write(r, id, job.RetakenType, job.Retaken{Item: again, By: receipt.Item}, a); err != nil {
			return err
		}
	}
	return s.written(w, r, receipt, fmt.Sprintf("/jobs/%s/items/%d", url.PathEscape(id), receipt.Item))
}

// reads refuses a file that nothing can be read from, or not with what is said of it: it
// would count as a capture and say nothing.
func (s *Server) reads(r *http.Request, sha, name string, form json.RawMessage) error {
	m, err := s.bench.Preview(r.Context(), sha, name, form)
	switch {
	case err != nil && (errors.Is(err, store.ErrNotFound) || r.Context().Err() != nil):
		return err
	case err != nil:
		return &Problem{Status: http.StatusUnprocessableEntity, Kind: "capture_unreadable", Detail: strings.TrimPrefix(err.Error(), name+": ")}
	case len(m.Problems) > 0:
		return &Problem{Status: http.StatusUnprocessableEntity, Kind: "capture_unreadable", Detail: strings.Join(m.Problems, "; ")}
	}
	return nil
}

// postPhoto takes a photograph from the device's camera.
func postPhoto(s *Server, w http.ResponseWriter, r *http.Request) error {
	a, err := s.author(w, r)
	if err != nil {
		return err
	}
	var tooBig *http.MaxBytesError
	if err := r.ParseMultipartForm(shop.MostPhoto + 1<<20); errors.As(err, &tooBig) {
		return &Problem{Status: http.StatusRequestEntityTooLarge, Kind: "photo_too_big", Args: []any{shop.MostPhoto >> 20}, Cause: err}
	} else if err != nil {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Cause: err}
	}
	defer r.MultipartForm.RemoveAll()
	file, _, err := r.FormFile("photo")
	if err != nil {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Detail: "no photograph came with the form", Cause: err}
	}
	defer file.Close()
	picture, err := io.ReadAll(io.LimitReader(file, shop.MostPhoto+1))
	if err != nil {
		return err
	}
	if len(picture) > shop.MostPhoto {
		return &Problem{Status: http.StatusRequestEntityTooLarge, Kind: "photo_too_big", Args: []any{shop.MostPhoto >> 20}}
	}
	r.PostForm = url.Values(r.MultipartForm.Value)
	id := r.PathValue("id")
	c, err := s.command(r, id, job.PhotoAddedType, job.PhotoAdded{SHA256: job.Digest(picture), Place: r.PostForm.Get("place"), Note: words(r.PostForm, "note")}, a)
	if err != nil {
		return err
	}
	receipt, err := s.bench.AddPhoto(r.Context(), id, picture, clip(r.PostForm.Get("place"), 100), words(r.PostForm, "note"), c)
	if err != nil {
		return err
	}
	return s.written(w, r, receipt, "/jobs/"+url.PathEscape(id)+"/add#photos")
}

func showPhoto(s *Server, w http.ResponseWriter, r *http.Request) error {
	picture, err := s.bench.Photo(r.Context(), r.PathValue("id"), r.PathValue("sum"))
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", http.DetectContentType(picture))
	h.Set("Cache-Control", "private, no-store") // erased means erased: no copy stays on a tablet
	_, err = w.Write(picture)
	return err
}

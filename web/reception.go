package web

import (
	"cmp"
	"crypto/rand"
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"proveout/book"
	"proveout/job"
	"proveout/shop"
	"proveout/text"
	"proveout/unit"
	"proveout/vehicle"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /jobs/new", serve: newJob},
		route{pattern: "POST /jobs", serve: authored(openJob)},
		route{pattern: "GET /jobs/{id}/complaint", serve: editComplaint},
		route{pattern: "POST /jobs/{id}/complaint", serve: authored(changeComplaint)},
	)
}

// receptionPage is the interview. Blank is an answer too: it stays "not asked".
type receptionPage struct {
	ID         string // empty: a new job
	Rev        int64
	Key        string // of this form: a double tap opens one job
	Title      string
	Said       string
	Symptoms   []question
	Conditions []question
	Facts      []question
	Work       string // recent work, in words
	Parts      []partAge
	History    string
	Vehicle    vehicleForm
	Engine     []question
	Figures    []factField // of the engine
	Known      []factField // facts that no trace shows
	Car        []question  // drive and lift: decide what holds the vehicle
	Procedures []option
	Plate, VIN string
	Name       string
	Phone      string
	Promised   string // for an input of type datetime-local
	Minutes    string
	Bay        string
	Agreed     question
}

type vehicleForm struct{ Make, Model, Year, Odometer string }

// question is one that is answered by taps.
type question struct {
	Name, Title string
	Many        bool // more than one may be tapped
	English     bool // from a fault book
	Options     []option
	Note        string
}

type option struct {
	Value, Label string
	On           bool
}

// ask sets out a question whose options are words of the catalogue: KEY.OPTION.
func ask(p *text.Printer, name, key string, many bool, on []string, values ...string) question {
	q := question{Name: name, Title: p.T(key), Many: many}
	for _, v := range values {
		q.Options = append(q.Options, option{Value: v, Label: p.T(key + "." + v), On: slices.Contains(on, v)})
	}
	return q
}

// known is what a job says already; empty for a new one.
type known struct {
	complaint struct {
		Said       string   `json:"said"`
		Symptoms   []string `json:"symptoms"`
		Conditions struct {
			State      []string `json:"state"`
			Warm       string   `json:"warm"`
			Wet        string   `json:"wet"`
			Hill       string   `json:"hill"`
			Lamp       string   `json:"lamp"`
			Gear       string   `json:"gear"`
			RecentWork []string `json:"recent_work"`
		} `json:"conditions"`
	}
	history struct {
		Facts map[string]string `json:"facts"`
		Parts []partAge         `json:"parts"`
		Notes []string          `json:"notes"`
	}
	facts   job.Form
	vehicle struct {
		Make     string `json:"make"`
		Model    string `json:"model"`
		Year     int    `json:"year"`
		Odometer string `json:"odometer"`
		Engine   struct {
			Cylinders    int    `json:"cylinders"`
			Arrangement  string `json:"arrangement"`
			Ignition     string `json:"ignition"`
			Injection    string `json:"injection"`
			Boosted      *bool  `json:"boosted"`
			Fuel         string `json:"fuel"`
			Access       string `json:"access"`
			Order        []int  `json:"firing_order"`
			Displacement string `json:"displacement"`
		} `json:"engine"`
	}
}

// knownOf reads the forms of a job. What does not read is left as not asked; the
// record keeps it as it came.
func knownOf(v *shop.JobView) known {
	k := known{facts: v.Known}
	_ = json.Unmarshal(v.Complaint, &k.complaint)
	_ = json.Unmarshal(v.History, &k.history)
	_ = json.Unmarshal(v.Vehicle.Form, &k.vehicle)
	return k
}

func one(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}

func reception(p *text.Printer, books []*book.Book, offers []shop.ProcedureOffer, k known) (*receptionPage, error) {
	c := &k.complaint.Conditions
	g := &receptionPage{Said: k.complaint.Said, Work: strings.Join(c.RecentWork, ", ")}
	g.Conditions = []question{
		ask(p, "lamp", "condition.lamp", false, one(c.Lamp), "off", "steady", "flashing", "unknown"),
		ask(p, "state", "condition.state", true, c.State, "cranking", "idle", "cruise", "load", "overrun"),
		ask(p, "warm", "condition.warm", false, one(c.Warm), "cold", "warm", "hot", "any"),
		ask(p, "hill", "condition.hill", false, one(c.Hill), "yes", "no"),
		ask(p, "wet", "condition.wet", false, one(c.Wet), "dry", "wet", "any"),
	}
	g.Conditions[0].Note = p.T("reception.flashing")
	symptoms := question{Name: "symptoms", Title: p.T("reception.symptoms"), Many: true, English: true}
	seen := map[string]bool{}
	for _, b := range books {
		for _, id := range sortedKeys(b.Symptoms) {
			if !seen[id] {
				// What follows is for those who write a job by hand: here no second symptom is typed for
				// what a reading says, since readings come later.
				words, _, _ := strings.Cut(b.Symptoms[id], "; use ")
				symptoms.Options = append(symptoms.Options, option{id, firstUpper(words), slices.Contains(k.complaint.Symptoms, id)})
				seen[id] = true
			}
		}
		for _, id := range sortedKeys(b.Context) {
			if seen["fact "+id] || slices.Contains(job.DerivedFacts, id) {
				continue
			}
			seen["fact "+id] = true
			q := ask(p, "fact."+id, "answer", false, one(k.history.Facts[id]), "yes", "no", "unknown")
			q.Title, q.English = b.Context[id].Ask, true
			g.Facts = append(g.Facts, q)
		}
	}
	g.Symptoms = []question{symptoms}
	g.vehicle(p, k)
	for _, o := range offers {
		g.Procedures = append(g.Procedures, option{Value: o.ID, Label: o.Title})
	}
	g.Agreed = ask(p, "agreed", "agreed", false, nil, "counter", "telephone", "signature", "not_yet")
	return g, nil
}

func (g *receptionPage) vehicle(p *text.Printer, k known) {
	v := &k.vehicle
	g.Vehicle = vehicleForm{Make: v.Make, Model: v.Model, Odometer: v.Odometer}
	if v.Year > 0 {
		g.Vehicle.Year = strconv.Itoa(v.Year)
	}
	e := &v.Engine
	cylinders, boosted := "", ""
	if e.Cylinders > 0 {
		cylinders = strconv.Itoa(e.Cylinders)
	}
	if e.Boosted != nil {
		boosted = map[bool]string{true: "yes", false: "no"}[*e.Boosted]
	}
	number := question{Name: "cylinders", Title: p.T("engine.cylinders")}
	for _, n := range []string{"2", "3", "4", "5", "6", "8"} {
		number.Options = append(number.Options, option{n, n, n == cylinders})
	}
	g.Engine = []question{
		ask(p, "fuel", "engine.fuel", false, one(e.Fuel), "petrol", "diesel", "lpg", "cng"),
		number,
		ask(p, "arrangement", "engine.arrangement", false, one(e.Arrangement), "inline", "vee", "flat"),
		ask(p, "ignition", "engine.ignition", false, one(e.Ignition), "coil_on_plug", "waste_spark", "distributor"),
		ask(p, "injection", "engine.injection", false, one(e.Injection), "port", "direct"),
		ask(p, "boosted", "engine.boosted", false, one(boosted), "yes", "no"),
		ask(p, "access", "engine.access", false, one(e.Access), "easy", "buried"),
	}
	g.Figures, g.Known = engineFigures(p, e.Order, e.Displacement), factFields(p, k.facts)
	said := strings.Join(k.history.Notes, "\n")
	g.Car = []question{
		ask(p, "driven", "car.driven", false, carWord(said, "driven"), "front", "rear", "all", "unknown"),
		ask(p, "parking", "car.parking", false, carWord(said, "parking"), "lever", "pedal", "motor_on_caliper", "motor_pulls_cable", "unknown"),
		ask(p, "lift", "car.lift", false, carWord(said, "lift"), "floor", "two_post", "four_post", "jack"),
	}
	g.Car[0].Note = p.T("car.holds")
	g.Parts = partRows(p, k.history.Parts)
	var notes []string
	for _, n := range k.history.Notes {
		if !strings.HasPrefix(n, "car: ") {
			notes = append(notes, n)
		}
	}
	g.History = strings.Join(notes, "\n")
}

// carWord finds what was said of the car in the notes of the history, where the
// job file has no field of its own: "car: driven: front".
func carWord(notes, name string) []string {
	for line := range strings.SplitSeq(notes, "\n") {
		if rest, ok := strings.CutPrefix(line, "car: "+name+": "); ok {
			return []string{rest}
		}
	}
	return nil
}

func newJob(s *Server, w http.ResponseWriter, r *http.Request) error {
	p := s.printer(r)
	offers, err := s.bench.Procedures(r.Context())
	if err != nil {
		return err
	}
	g, err := reception(p, s.bench.Books(), offers, known{})
	if err != nil {
		return err
	}
	title, err := s.nextTitle(r)
	if err != nil {
		return err
	}
	g.Title, g.Minutes, g.Key = title, "90", rand.Text()
	return s.page(w, r, sheet{Name: "reception", Title: p.T("reception.title"), View: g, Styles: []string{"job.css", "reception.css"},
		Cells: []cell{{Name: p.T("strip.job"), Value: title}, {Name: s.o.Shop, Value: p.T("reception.title"), Grow: true}}})
}

// nextTitle is the shop's next job number: one more than the highest of the newest.
func (s *Server) nextTitle(r *http.Request) (string, error) {
	v, err := s.bench.All(r.Context(), 0, 200)
	if err != nil {
		return "", err
	}
	top := 1000
	for _, row := range v.Rows {
		if n, err := strconv.Atoi(row.Title); err == nil && n < 1e9 {
			top = max(top, n)
		}
	}
	return strconv.Itoa(top + 1), nil
}

// openJob writes what was asked at reception. Personal data goes beside the chain.
func openJob(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	forms, err := receptionForms(f, s.system(r))
	if err != nil {
		return err
	}
	p := job.Received{Title: clip(strings.TrimSpace(f.Get("title")), 40), Kind: "diagnosis", Vehicle: forms.vehicle, Complaint: forms.complaint, History: forms.history, Known: forms.known,
		Technician: a.Person, Bay: clip(words(f, "bay"), 60), AgreedMinutes: forms.minutes, Promised: forms.promised}
	if id := f.Get("procedure"); id != "" {
		offers, err := s.bench.Procedures(r.Context())
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(offers, func(o shop.ProcedureOffer) bool { return o.ID == id }) {
			return badField("procedure")
		}
		p.Kind, p.Procedure = "service", id
	}
	if f.Get("agreed") == "not_yet" {
		p.AgreedMinutes = 0
	}
	plate, vin, name, phone := words(f, "plate"), words(f, "vin"), words(f, "name"), words(f, "phone")
	if plate+vin+name+phone != "" {
		// From the form, so that a double tap names the same customer.
		seed := f.Get("key")
		if seed == "" {
			seed = rand.Text()
		}
		p.Customer, p.VehicleID = opaque("c", a.Device, seed), opaque("v", a.Device, seed)
	}
	c, err := s.command(r, "", job.ReceivedType, p, a)
	if err != nil {
		return err
	}
	if done, err := s.bench.Written(r.Context(), c.Key); err != nil {
		return err
	} else if !done { // a double tap is asked nothing
		if err := s.askVehicle(r, "", p.Title); err != nil {
			return err
		}
	}
	if p.Customer != "" {
		if err := s.bench.SetCustomer(r.Context(), p.Customer, shop.CustomerData{Name: name, Phone: phone}); err != nil {
			return err
		}
		if err := s.bench.SetVehicle(r.Context(), p.Customer, p.VehicleID, shop.VehicleData{VIN: vin, Plate: strings.ToUpper(plate)}); err != nil {
			return err
		}
	}
	id, _, err := s.bench.Open(r.Context(), c)
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/jobs/"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

// received are the forms of a job file that reception fills.
type received struct {
	vehicle, complaint, history, known job.Form
	minutes                            float64
	promised                           string
}

func receptionForms(f url.Values, system text.System) (received, error) {
	var out received
	conditions := map[string]any{}
	for _, name := range []string{"warm", "wet", "hill", "lamp"} {
		if v := f.Get(name); v != "" {
			conditions[name] = v
		}
	}
	if v := f["state"]; len(v) > 0 {
		conditions["state"] = v
	}
	if v := words(f, "work"); v != "" {
		conditions["recent_work"] = []string{v}
	}
	complaint := map[string]any{}
	if v := words(f, "said"); v != "" {
		complaint["said"] = v
	}
	if v := f["symptoms"]; len(v) > 0 {
		complaint["symptoms"] = v
	}
	if len(conditions) > 0 {
		complaint["conditions"] = conditions
	}
	facts := map[string]string{}
	for name := range f {
		if id, ok := strings.CutPrefix(name, "fact."); ok && f.Get(name) != "" {
			facts[id] = f.Get(name)
		}
	}
	var notes []string
	for line := range strings.Lines(words(f, "history")) {
		if line = strings.TrimSpace(line); line != "" {
			notes = append(notes, line)
		}
	}
	for _, name := range []string{"driven", "parking", "lift"} {
		if v := f.Get(name); v != "" {
			notes = append(notes, "car: "+name+": "+clip(v, 40))
		}
	}
	car, err := vehicleOf(f)
	if err != nil {
		return out, err
	}
	if v := f.Get("minutes"); v != "" {
		if out.minutes, err = strconv.ParseFloat(v, 64); err != nil || !(out.minutes >= 0 && out.minutes <= 6000) {
			return out, badField("minutes")
		}
	}
	if v := f.Get("promised"); v != "" {
		t, err := time.ParseInLocation("2006-01-02T15:04", v, time.Local)
		if err != nil {
			return out, badField("promised")
		}
		out.promised = t.Format(time.RFC3339)
	}
	known, err := knownForm(f)
	if err != nil {
		return out, err
	}
	history := map[string]any{}
	if len(facts) > 0 {
		history["facts"] = facts
	}
	parts, err := partAges(f, system)
	if err != nil {
		return out, err
	}
	if len(parts) > 0 {
		history["parts"] = parts
	}
	if len(notes) > 0 {
		history["notes"] = notes
	}
	for _, part := range []struct {
		to   *job.Form
		from map[string]any
	}{{&out.vehicle, car}, {&out.complaint, complaint}, {&out.history, history}, {&out.known, known}} {
		if len(part.from) == 0 {
			continue
		}
		if *part.to, err = json.Marshal(part.from); err != nil {
			return out, err
		}
	}
	return out, nil
}

func vehicleOf(f url.Values) (map[string]any, error) {
	car, engine := map[string]any{}, map[string]any{}
	for _, name := range []string{"make", "model", "odometer"} {
		if v := words(f, name); v != "" {
			car[name] = clip(v, 100)
		}
	}
	if v := words(f, "year"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1900 || n > 2100 {
			return nil, badField("year")
		}
		car["year"] = n
	}
	for _, name := range []string{"fuel", "arrangement", "ignition", "injection", "access"} {
		if v := f.Get(name); v != "" {
			engine[name] = v
		}
	}
	if v := f.Get("cylinders"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 || n > vehicle.MostCylinders {
			return nil, badField("cylinders")
		}
		engine["cylinders"] = n
	}
	if v := words(f, "firing_order"); v != "" {
		most, _ := engine["cylinders"].(int)
		order, err := orderOf(v, cmp.Or(most, vehicle.MostCylinders))
		if err != nil || most > 0 && len(order) != most {
			return nil, badField("firing_order")
		}
		engine["firing_order"] = order
	}
	if v := words(f, "displacement"); v != "" {
		q, err := unit.ParseQuantity(v)
		if err != nil || q.Unit.Dim != unit.Volume || !(q.SI > 0 && q.SI < 0.03) {
			return nil, badField("displacement")
		}
		engine["displacement"] = v
	}
	if v := f.Get("boosted"); v != "" {
		engine["boosted"] = v == "yes"
	}
	if len(engine) > 0 {
		car["engine"] = engine
	}
	return car, nil
}

func editComplaint(s *Server, w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	p := s.printer(r)
	offers, err := s.bench.Procedures(r.Context())
	if err != nil {
		return err
	}
	g, err := reception(p, s.bench.Books(), offers, knownOf(v))
	if err != nil {
		return err
	}
	g.ID, g.Rev, g.Title, g.Bay = v.Job, v.Rev, cmp.Or(v.Title, v.Job), v.Board.Bay
	g.Plate, g.VIN, g.Name, g.Phone = v.Vehicle.Plate, v.Vehicle.VIN, v.Customer.Name, v.Customer.Phone
	if t, err := time.Parse(time.RFC3339, v.Board.Promised); err == nil {
		g.Promised = t.In(time.Local).Format("2006-01-02T15:04")
	}
	return s.page(w, r, sheet{Name: "reception", Title: p.T("reception.title"), View: g, Styles: []string{"job.css", "reception.css"}, Cells: s.jobCells(v, p, p.T("reception.title"))})
}

func changeComplaint(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	forms, err := receptionForms(r.PostForm, s.system(r))
	if err != nil {
		return err
	}
	id := r.PathValue("id")
	v, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	if err := s.askVehicle(r, knownOf(v).vehicle.Odometer, ""); err != nil {
		return err
	}
	p := job.VehicleChanged{Vehicle: forms.vehicle, Complaint: forms.complaint, History: forms.history, Known: forms.known, Promised: forms.promised, Bay: clip(words(r.PostForm, "bay"), 60)}
	if _, err := s.write(r, id, job.VehicleChangedType, p, a); err != nil {
		return err
	}
	http.Redirect(w, r, "/jobs/"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

func firstUpper(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

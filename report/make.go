package report

import (
	"fmt"
	"strings"
	"time"

	"proveout/shop"
	"proveout/text"
	"proveout/unit"
)

// Make writes the sheet of a job in a language and its form of numbers, with units by
// the shop's system. What a fault book or a person says stays in their words.
func Make(in Input) Sheet {
	if in.Text == nil {
		in.Text = text.For(text.Source, text.SI)
	}
	m := maker{r: in.Report, p: in.Report.Proof, d: in.Report.Diagnosis, w: in.Text}
	t := in.Text.T
	s := Sheet{
		Lang: in.Text.Lang(), Title: t("paper.title", in.Report.Job), Word: t("paper.word"), Mark: t("paper.practice"), Shop: in.Report.Shop, Practice: in.Report.Practice,
		State: m.state(), Printed: in.Printed, Sign: []string{t("paper.technician"), t("paper.sign_customer"), t("paper.reviewer")},
		Short: t("paper.short"), Cut: t("paper.cut"), Item: t("paper.item_word"),
	}
	if in.Report.ShopKey != "" {
		s.Key = t("paper.key", in.Report.ShopKey)
	}
	m.head(&s)
	for _, part := range m.parts() {
		if part.Name != "" {
			s.Parts = append(s.Parts, part)
		}
	}
	s.Foot = m.foot()
	return s
}

// maker holds what a sheet is made from.
type maker struct {
	r shop.ReportAnswer
	p *shop.ProofAnswer
	d *shop.Answer
	w *text.Printer
}

func (m maker) t(key string, args ...any) string { return m.w.T("paper."+key, args...) }

// parts are the lines of the ledger. A service says what was done in its order; what is
// to be found and proven stands there only where something was.
func (m maker) parts() []Part {
	if !m.r.Service {
		return []Part{m.complaint(), m.cause(), m.correction(), m.work(), m.codes(), m.proof(), m.notProven(), m.items()}
	}
	out := []Part{m.complaint(), m.work()}
	if m.repaired() {
		out = append(out, m.correction())
	}
	if c := m.p.Codes; c.Before != nil || c.After != nil {
		out = append(out, m.codes())
	}
	return append(out, m.notDone(), m.items())
}

// repaired: something was put right or fitted.
func (m maker) repaired() bool { return len(m.p.Corrections)+len(m.r.Fitted) > 0 }

// say is a sentence of the engine in the language of the page.
func (m maker) say(s string) string { return m.w.Say(s) }

// note adds a note to a part; its kind is the key of its lead, and of its sentence
// where it has none of its own.
func (m maker) note(p *Part, kind, said string) {
	n := Note{Kind: kind, Text: said}
	if kind != "" {
		n.Lead = m.t("lead." + kind)
	}
	p.Notes = append(p.Notes, n)
}

// state is the word for where a proof stands; what is closed without one says so.
func (m maker) state() State {
	if m.r.Service {
		return m.serviceState()
	}
	if len(m.r.Dangers) > 0 {
		return State{m.t("state.dangerous"), Hollow}
	}
	switch m.p.State {
	case "proven":
		return State{m.t("state.proven"), Solid}
	case "improved":
		return State{m.t("state.improved"), Half}
	case "came_back":
		return State{m.t("state.came_back"), Hollow}
	}
	if !m.repaired() {
		return State{m.t("state.not_repaired"), Hollow}
	}
	return State{m.t("state.not_proven"), Hollow}
}

func (m maker) head(s *Sheet) {
	add := func(to *[]Fact, name, value string) {
		if value = strings.TrimSpace(value); value != "" {
			*to = append(*to, Fact{m.t(name), value})
		}
	}
	add(&s.Head, "job", m.r.Job)
	add(&s.Head, "date", m.w.LongDay(s.Printed))
	add(&s.Head, "in", m.date(m.r.Opened))
	if h := m.p.HandedOver; h != nil {
		add(&s.Head, "handed_over", m.date(h.At))
	}
	add(&s.Head, "technician", m.r.Technician)
	v := m.p.Vehicle
	name := strings.TrimSpace(v.Make + " " + v.Model)
	if v.Year > 0 {
		name += fmt.Sprintf(", %d", v.Year)
	}
	add(&s.ID, "vehicle", strings.TrimPrefix(name, ", "))
	s.ID = append(s.ID, Fact{m.t("plate"), m.orNot(v.Plate)}, Fact{m.t("vin"), m.orNot(v.VIN)})
	odo := m.t("not_read")
	if v.OdometerKm > 0 {
		odo = m.t("odometer_in", m.distance(v.OdometerKm))
	}
	if h := m.p.HandedOver; h != nil && h.OdometerKm > 0 {
		odo += ", " + m.t("odometer_out", m.distance(h.OdometerKm))
	}
	add(&s.ID, "odometer", odo)
	customer := m.r.Customer.Name
	if customer == shop.ErasedCustomer {
		customer = m.t("erased")
	}
	s.ID = append(s.ID, Fact{m.t("customer"), m.orNot(strings.TrimSuffix(strings.TrimSpace(customer+", "+m.r.Customer.Phone), ","))})
	s.ID = append(s.ID, Fact{m.t("approved"), m.orNot(m.approved())})
}

// approved says what was agreed at reception and since, with the sum that the board
// goes by.
func (m maker) approved() string {
	var agreed []string
	min := m.r.Minutes
	if min != nil && min.Agreed > 0 {
		agreed = append(agreed, m.t("at_reception", m.w.Number(min.Agreed, 0)))
	}
	for _, a := range m.r.Approvals {
		t := strings.TrimSpace(a.What)
		if a.How != "" {
			t += ", " + m.say(strings.ReplaceAll(a.How, "_", " "))
		}
		if a.At != "" {
			t += " " + m.date(a.At)
		}
		agreed = append(agreed, t)
	}
	said := strings.Join(agreed, "; ")
	if min == nil || min.Agreed+min.Approved <= 0 {
		return said
	}
	left := m.t("minutes_left", m.w.Number(min.Worked, 0), m.w.Number(min.Left, 0))
	if min.Left < 0 {
		left = m.t("minutes_over", m.w.Number(min.Worked, 0), m.w.Number(-min.Left, 0))
	}
	if len(agreed) > 1 {
		said = m.t("minutes_sum", m.w.Number(min.Agreed+min.Approved, 0), said)
	}
	return said + "; " + left
}

func (m maker) orNot(s string) string {
	if s = strings.TrimSpace(s); s == "" {
		return m.t("not_noted")
	}
	return s
}

func (m maker) complaint() Part {
	p := Part{Name: m.t("complaint"), Said: m.p.Said}
	if p.Said == "" {
		p.Key = m.t("no_complaint")
	}
	switch c := m.p.Conditions; {
	case m.r.Service: // nothing is to be found
	case c.Known:
		m.note(&p, "conditions", m.say(c.Text)+"; "+m.say(c.From)+".")
	default:
		m.note(&p, "conditions", m.say(c.Text+"."))
	}
	if b := m.p.Before; b.Episodes > 0 {
		var items []string
		for _, d := range b.Drives {
			if d.Used {
				items = append(items, fmt.Sprint(d.Item))
			}
		}
		m.note(&p, "seen", m.w.N("paper.seen", b.Episodes, m.w.Number(b.Seconds, 0), strings.Join(items, ", ")))
	}
	for _, c := range m.p.Cautions {
		if c.Word == "NOTICE" {
			p.Notes = append(p.Notes, Note{Kind: "caution", Lead: m.w.T("word."+c.Word) + ":", Text: m.say(c.Text)})
		}
	}
	return p
}

func (m maker) correction() Part {
	p := Part{Name: m.t("correction")}
	if !m.repaired() {
		p.Key = m.t("nothing_done")
		return p
	}
	var keys []string
	for _, c := range m.p.Corrections {
		keys = append(keys, strings.TrimSuffix(strings.TrimSpace(c.Done), "."))
		var parts []string
		for _, x := range c.Parts {
			parts = append(parts, m.partWords(x))
		}
		said := strings.Join(parts, "; ") + "."
		if len(parts) == 0 {
			said = m.t("no_parts")
		}
		if c.Reused != "" {
			said += " " + m.t("reused", strings.TrimSuffix(c.Reused, "."))
		}
		if c.Who != "" || c.At != "" {
			said += " " + strings.TrimSpace(c.Who+" "+m.date(c.At)) + "."
		}
		m.note(&p, "parts", said)
	}
	for _, f := range m.r.Fitted {
		t := m.partWords(f.PartAnswer)
		if f.Where != "" {
			t += ", " + f.Where
		}
		keys = append(keys, m.t("fitted", t))
		m.note(&p, "fitted", strings.TrimSpace(f.Who+" "+m.date(f.At))+". "+m.t("fitted_only"))
	}
	p.Key = strings.Join(keys, ". ") + "."
	return p
}

// partWords name a part with what can be traced.
func (m maker) partWords(x shop.PartAnswer) string {
	t := fmt.Sprintf("%d × %s", x.Count, x.Name)
	if x.Number != "" {
		t += ", " + m.t("part", x.Number)
	}
	if x.Lot != "" {
		t += ", " + m.t("lot", x.Lot)
	}
	return t
}

func (m maker) codes() Part {
	c := m.p.Codes
	p := Part{Name: m.t("codes")}
	read := func(r *shop.CodesRead) string {
		if r == nil {
			return m.t("not_read") + "."
		}
		return m.t("codes_item", m.say(shop.CodesSentence(r)), r.Item)
	}
	m.note(&p, "before", read(c.Before))
	switch c.Erased {
	case "":
	case "yes":
		m.note(&p, "erased", m.t("erased_after"))
	default:
		m.note(&p, "erased", m.date(c.Erased)+".")
	}
	m.note(&p, "after", read(c.After))
	for _, n := range c.Notes {
		m.note(&p, "", m.say(n))
	}
	if c.Drive != "" && c.Before != nil && len(c.Before.Permanent.Codes) > 0 {
		m.note(&p, "", m.say(c.Drive))
	}
	return p
}

// items lists the evidence by number.
func (m maker) items() Part {
	p := Part{Name: m.t("items")}
	last := 0
	for _, it := range m.d.Items {
		said := m.say(it.What)
		if it.SetAside != "" {
			said += "; " + m.t("set_aside", it.SetAside)
		}
		if it.Item == last && len(p.Items) > 0 {
			p.Items[len(p.Items)-1].Text += "; " + said
			continue
		}
		last = it.Item
		p.Items = append(p.Items, Entry{Number: it.Item, Text: said})
	}
	m.note(&p, "fingerprint", m.t("sha256", spaced(m.r.Fingerprint), m.say(m.r.FingerprintOf)))
	return p
}

func (m maker) foot() string {
	made := m.p.Program
	var books []string
	for _, b := range m.d.Books {
		books = append(books, strings.TrimSpace(b.ID+" "+b.Version))
	}
	if len(books) > 0 {
		made = m.t("with_books", made, strings.Join(books, ", "))
	}
	return m.t("foot", made)
}

// spaced writes a hash in groups of eight, to be compared by eye.
func spaced(hex string) string {
	var parts []string
	for len(hex) > 8 {
		parts = append(parts, hex[:8])
		hex = hex[8:]
	}
	return strings.Join(append(parts, hex), " ")
}

// date writes a time stamp of the job file with its day in full; one that cannot be
// read stays as written.
func (m maker) date(s string) string {
	s = strings.TrimSpace(s)
	if t, err := time.Parse("2006-01-02", s); err == nil {
		return m.w.Day(t)
	}
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		if t, err := time.Parse(form, s); err == nil {
			return m.w.Day(t) + " " + m.w.Clock(t)
		}
	}
	return s
}

// distance writes kilometres as the shop reads them.
func (m maker) distance(km float64) string {
	from := unit.Must("km")
	to := m.w.Unit(from)
	return m.w.Number(to.FromSI(from.SI(km)), 0) + " " + text.UnitWord(to)
}

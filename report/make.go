package report

import (
	"fmt"
	"strings"
	"time"

	"proveout/shop"
)

// Make writes the sheet of a job.
func Make(in Input) Sheet {
	m := maker{r: in.Report, p: in.Report.Proof, d: in.Report.Diagnosis}
	s := Sheet{
		Title: "Report, job " + in.Report.Job, Shop: in.Report.Shop, Practice: in.Report.Practice, State: m.state(), Printed: in.Printed,
		Sign: []string{"Technician", "Customer, read and explained", "Reviewer"},
	}
	m.head(&s)
	for _, part := range []Part{m.complaint(), m.cause(), m.correction(), m.codes(), m.proof(), m.notProven(), m.items()} {
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
}

// stateWords are the words for the states of a proof; what is closed without one
// says so.
func (m maker) state() State {
	switch m.p.State {
	case "proven":
		return State{"Proven", Solid}
	case "improved":
		return State{"Improved, not proven", Half}
	case "came_back":
		return State{"Came back, not fixed", Hollow}
	}
	if len(m.p.Corrections) == 0 {
		return State{"Not repaired yet", Hollow}
	}
	return State{"Not proven", Hollow}
}

func (m maker) head(s *Sheet) {
	add := func(to *[]Fact, name, value string) {
		if value = strings.TrimSpace(value); value != "" {
			*to = append(*to, Fact{name, value})
		}
	}
	add(&s.Head, "Job", m.r.Job)
	add(&s.Head, "Date", longDate(s.Printed))
	add(&s.Head, "In", date(m.r.Opened))
	if h := m.p.HandedOver; h != nil {
		add(&s.Head, "Handed over", date(h.At))
	}
	add(&s.Head, "Technician", m.r.Technician)

	v := m.p.Vehicle
	name := strings.TrimSpace(v.Make + " " + v.Model)
	if v.Year > 0 {
		name += fmt.Sprintf(", %d", v.Year)
	}
	add(&s.ID, "Vehicle", strings.TrimPrefix(name, ", "))
	s.ID = append(s.ID, Fact{"Plate", orNot(v.Plate)}, Fact{"VIN", orNot(v.VIN)})
	odo := "not read"
	if v.OdometerKm > 0 {
		odo = "in " + thousands(v.OdometerKm) + " km"
	}
	if h := m.p.HandedOver; h != nil && h.OdometerKm > 0 {
		odo += ", out " + thousands(h.OdometerKm) + " km"
	}
	add(&s.ID, "Odometer", odo)
	s.ID = append(s.ID, Fact{"Customer", orNot(strings.TrimSuffix(strings.TrimSpace(m.r.Customer.Name+", "+m.r.Customer.Phone), ","))})
	var agreed []string
	for _, a := range m.r.Approvals {
		t := strings.TrimSpace(a.What)
		if a.How != "" {
			t += ", " + strings.ReplaceAll(a.How, "_", " ")
		}
		if a.At != "" {
			t += " " + date(a.At)
		}
		agreed = append(agreed, t)
	}
	s.ID = append(s.ID, Fact{"Approved", orNot(strings.Join(agreed, "; "))})
}

func orNot(s string) string {
	if s = strings.TrimSpace(s); s == "" {
		return "not noted"
	}
	return s
}

func (m maker) complaint() Part {
	p := Part{Name: "Complaint", Said: m.p.Said}
	if p.Said == "" {
		p.Key = "No complaint in words is noted."
	}
	if c := m.p.Conditions; c.Known {
		p.say("Fault conditions:", fmt.Sprintf("%s; %s.", c.Text, c.From))
	} else {
		p.say("Fault conditions:", c.Text+".")
	}
	if b := m.p.Before; b.Episodes > 0 {
		var items []string
		for _, d := range b.Drives {
			if d.Used {
				items = append(items, fmt.Sprint(d.Item))
			}
		}
		p.say("Seen again before the repair:", fmt.Sprintf("%d episode%s in %.0f s inside them (item %s).", b.Episodes, plural(b.Episodes), b.Seconds, strings.Join(items, ", ")))
	}
	for _, c := range m.p.Cautions {
		if c.Word == "NOTICE" {
			p.say(c.Word+":", c.Text)
		}
	}
	return p
}

func (m maker) correction() Part {
	p := Part{Name: "Correction"}
	if len(m.p.Corrections) == 0 {
		p.Key = "Nothing has been put right yet."
		return p
	}
	var keys []string
	for _, c := range m.p.Corrections {
		keys = append(keys, strings.TrimSuffix(strings.TrimSpace(c.Done), "."))
		var parts []string
		for _, x := range c.Parts {
			t := fmt.Sprintf("%d × %s", x.Count, x.Name)
			if x.Number != "" {
				t += ", part " + x.Number
			}
			if x.Lot != "" {
				t += ", lot " + x.Lot
			}
			parts = append(parts, t)
		}
		text := strings.Join(parts, "; ") + "."
		if len(parts) == 0 {
			text = "none noted."
		}
		if c.Reused != "" {
			text += " Reused: " + strings.TrimSuffix(c.Reused, ".") + "."
		}
		if c.Who != "" || c.At != "" {
			text += " " + strings.TrimSpace(c.Who+" "+date(c.At)) + "."
		}
		p.say("Parts:", text)
	}
	p.Key = strings.Join(keys, ". ") + "."
	return p
}

func (m maker) codes() Part {
	c := m.p.Codes
	p := Part{Name: "Codes"}
	before, after := "not read.", "not read."
	if c.Before != nil {
		before = fmt.Sprintf("%s (item %d).", shop.CodesSentence(c.Before), c.Before.Item)
	}
	if c.After != nil {
		after = fmt.Sprintf("%s (item %d).", shop.CodesSentence(c.After), c.After.Item)
	}
	p.say("Before:", before)
	switch c.Erased {
	case "":
	case "yes":
		p.say("Erased", "after the repair.")
	default:
		p.say("Erased", date(c.Erased)+".")
	}
	p.say("After:", after)
	for _, n := range c.Notes {
		p.say("", n)
	}
	if c.Drive != "" && c.Before != nil && len(c.Before.Permanent.Codes) > 0 {
		p.say("", c.Drive)
	}
	return p
}

// items lists the evidence by number.
func (m maker) items() Part {
	p := Part{Name: "Items"}
	last := 0
	for _, it := range m.d.Items {
		text := it.What
		if it.SetAside != "" {
			text += "; set aside: " + it.SetAside
		}
		if it.Item == last && len(p.Items) > 0 {
			p.Items[len(p.Items)-1].Text += "; " + text
			continue
		}
		last = it.Item
		p.Items = append(p.Items, Entry{Number: it.Item, Text: text})
	}
	p.say("Fingerprint", fmt.Sprintf("%s (SHA-256 of %s).", spaced(m.r.Fingerprint), m.r.FingerprintOf))
	return p
}

func (m maker) foot() string {
	var books []string
	for _, b := range m.d.Books {
		books = append(books, strings.TrimSpace(b.ID+" "+b.Version))
	}
	s := "Made with " + m.p.Program
	if len(books) > 0 {
		s += ", fault book " + strings.Join(books, ", ")
	}
	return s + ". ≈ marks what was worked out and not read."
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
func date(s string) string {
	s = strings.TrimSpace(s)
	if t, err := time.Parse("2006-01-02", s); err == nil {
		return t.Format("2 January 2006")
	}
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		if t, err := time.Parse(form, s); err == nil {
			return t.Format("2 January 2006 15:04")
		}
	}
	return s
}

func longDate(t time.Time) string { return t.Format("Monday 2 January 2006") }

func thousands(v float64) string {
	s := fmt.Sprintf("%.0f", v)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

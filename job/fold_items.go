package job

import (
	"fmt"
	"path"
	"slices"
	"strings"
)

func received(s *State, e *Entry) error {
	p, err := said[Received](e)
	if err != nil {
		return err
	}
	if s.Job != "" {
		return fmt.Errorf("the job was received before")
	}
	w := p.What
	s.Job, s.Shop, s.Practice = e.Job, e.Shop, e.Practice
	s.Title, s.Customer, s.VehicleID, s.Bay, s.Promised, s.Procedure = w.Title, w.Customer, w.VehicleID, w.Bay, w.Promised, w.Procedure
	s.Minutes.Agreed = w.AgreedMinutes
	if s.Person = w.Technician; s.Person == "" {
		s.Person = e.Author
	}
	if s.Opened = w.Opened; s.Opened == "" {
		s.Opened = e.Wall
	}
	if w.Kind != "" {
		s.Kind = w.Kind
	}
	if err := s.setForms(w.Vehicle, w.Complaint, w.History, w.Known); err != nil {
		return err
	}
	s.setWords("equipment", w.Equipment)
	s.setWords("books", w.Books)
	for _, l := range w.Limits {
		if err := appendForm(&s.limits, l); err != nil {
			return fmt.Errorf("limits: %w", err)
		}
	}
	for _, o := range w.Overrules {
		if err := appendForm(&s.overrules, o); err != nil {
			return fmt.Errorf("overrules: %w", err)
		}
	}
	for _, k := range w.Kept {
		if err := appendForm(&s.kept, k); err != nil {
			return fmt.Errorf("kept: %w", err)
		}
	}
	for _, c := range w.Corrections {
		if err := appendForm(&s.before, c); err != nil {
			return fmt.Errorf("corrections: %w", err)
		}
	}
	for _, a := range w.Approvals {
		if err := appendForm(&s.approved, a); err != nil {
			return fmt.Errorf("approvals: %w", err)
		}
	}
	if s.own, err = parseForm(w.Own); err != nil {
		return fmt.Errorf("own: %w", err)
	}
	if err := s.setForm("proof", w.Proof); err != nil {
		return err
	}
	return s.setForm("handed_over", w.HandedOver)
}

func (s *State) setForms(vehicle, complaint, history, known Form) error {
	for _, part := range []struct {
		name string
		form Form
	}{{"vehicle", vehicle}, {"complaint", complaint}, {"history", history}, {"known", known}} {
		if err := s.setForm(part.name, part.form); err != nil {
			return err
		}
	}
	return nil
}

// setForm lays a form over what is known of that part of the job file.
func (s *State) setForm(name string, form Form) error {
	f, err := parseForm(form)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if len(f.names) == 0 {
		return nil
	}
	if before, ok := s.head.values[name].(*fields); ok {
		f = mergeDeep(before, f)
	}
	s.head.set(name, f)
	return nil
}

// mergeDeep lays the fields of b over those of a.
func mergeDeep(a, b *fields) *fields {
	out := a.clone()
	for _, n := range b.names {
		x, xok := out.values[n].(*fields)
		y, yok := b.values[n].(*fields)
		if xok && yok {
			out.set(n, mergeDeep(x, y))
			continue
		}
		out.set(n, b.values[n])
	}
	return out
}

func (s *State) setWords(name string, words []string) {
	if words == nil {
		return
	}
	s.head.set(name, wordList(words))
}

func wordList(words []string) []any {
	list := make([]any, len(words))
	for i, w := range words {
		list[i] = w
	}
	return list
}

func appendForm(list *[]any, form Form) error {
	f, err := parseForm(form)
	if err == nil {
		*list = append(*list, f)
	}
	return err
}

func (s *State) vehicleChanged(p Said[VehicleChanged]) error {
	w := p.What
	if w.Technician != "" {
		s.Person = w.Technician
	}
	if w.Promised != "" {
		s.Promised = w.Promised
	}
	if w.Bay != "" {
		s.Bay = w.Bay
	}
	if w.AgreedMinutes > 0 {
		s.Minutes.Agreed = w.AgreedMinutes
	}
	s.setWords("equipment", w.Equipment)
	s.setWords("books", w.Books)
	return s.setForms(w.Vehicle, w.Complaint, w.History, w.Known)
}

// add puts an item into the list unless its number is taken.
func (s *State) add(it Item) error {
	if it.Number < 1 {
		return fmt.Errorf("item %d; items count from 1", it.Number)
	}
	if _, taken := s.Item(it.Number); taken {
		return fmt.Errorf("item %d is there already", it.Number)
	}
	s.Items = append(s.Items, it)
	return nil
}

func (s *State) captureAdded(p Said[CaptureAdded]) error {
	f, err := parseForm(p.What.Form)
	if err != nil {
		return err
	}
	it := Item{
		Number: p.What.Item, Kind: "capture", Entry: p.Entry, Author: p.Author, Wall: p.Wall,
		SHA256: p.What.SHA256, Name: p.What.Name, Size: p.What.Size, form: f,
	}
	it.File = s.fileName(it.Name, it.Number)
	return s.add(it)
}

// fileName is the path of a capture in the job folder: its own name under
// captures/ where that is safe and free, else with the number of the item.
func (s *State) fileName(name string, item int) string {
	name = strings.ReplaceAll(strings.TrimSpace(name), `\`, "/")
	clean, err := insideFolder(name)
	if err != nil || strings.ContainsAny(clean, "*?[") || len(clean) > 200 || !strings.HasPrefix(clean, "captures/") {
		clean = "captures/" + safeName(path.Base(name))
	}
	taken := func(f string) bool {
		return slices.ContainsFunc(s.Items, func(it Item) bool { return strings.EqualFold(it.File, f) })
	}
	if taken(clean) {
		clean = fmt.Sprintf("%s/item%d-%s", path.Dir(clean), item, path.Base(clean))
	}
	return clean
}

// safeName keeps letters, digits, point, dash and underscore of a file's name.
func safeName(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '.', r == '-', r == '_':
			return r
		}
		return '-'
	}, s)
	s = strings.Trim(s, ".-")
	if len(s) > 100 {
		s = s[len(s)-100:] // the end carries what kind of file it is
	}
	if s == "" {
		return "capture"
	}
	return s
}

func (s *State) captureDescribed(p Said[CaptureDescribed]) error {
	it, ok := s.Item(p.What.Item)
	if !ok || it.Kind != "capture" {
		return fmt.Errorf("there is no capture with item number %d", p.What.Item)
	}
	f, err := parseForm(p.What.Form)
	if err == nil {
		it.form = f
	}
	return err
}

func (s *State) readingTyped(p Said[ReadingTyped]) error {
	f, err := parseForm(p.What.Form)
	if err != nil {
		return err
	}
	return s.add(Item{Number: p.What.Item, Kind: "reading", Entry: p.Entry, Author: p.Author, Wall: p.Wall, form: f})
}

func (s *State) setAside(p Said[SetAside]) error {
	it, ok := s.Item(p.What.Item)
	if !ok {
		return fmt.Errorf("there is no item %d", p.What.Item)
	}
	if it.SetAside = strings.TrimSpace(p.What.Reason); it.SetAside == "" {
		return fmt.Errorf("setting an item aside needs the reason in words")
	}
	return nil
}

func (s *State) countedAgain(p Said[SetAside]) error {
	it, ok := s.Item(p.What.Item)
	if !ok {
		return fmt.Errorf("there is no item %d", p.What.Item)
	}
	it.SetAside, it.Retaken = "", 0
	return nil
}

func (s *State) retaken(p Said[Retaken]) error {
	it, ok := s.Item(p.What.Item)
	if _, by := s.Item(p.What.By); !ok || !by || p.What.Item == p.What.By {
		return fmt.Errorf("item %d retaken as item %d: both must be there", p.What.Item, p.What.By)
	}
	it.Retaken, it.SetAside = p.What.By, fmt.Sprintf("taken again as item %d", p.What.By)
	return nil
}

// WithItem gives a payload of capture_added or reading_typed the number of its
// item, without touching the rest of it.
func WithItem(payload []byte, item int) ([]byte, int, error) {
	f, err := parseForm(payload)
	if err != nil {
		return nil, 0, err
	}
	f.set("item", item)
	out, err := f.MarshalJSON()
	return out, item, err
}

package job

import "strings"

// Private is what a job file says that does not stand in the record: it lies
// beside it, under the customer's key.
type Private struct {
	VIN, Plate string
	// Shop and Technician are names for the ids of the record; empty: the ids.
	Shop, Technician string
	// Equipment on hand in the shop, for a job that does not say.
	Equipment []string
}

// Text writes the job as a job file, the way "export" puts it into a folder. more
// are states whose own suspects and tests come before the job's: the shop's.
func (s *State) Text(p Private, more ...*State) []byte {
	doc := newFields()
	text := func(name, v string) {
		if v != "" {
			doc.set(name, v)
		}
	}
	doc.set("schema", SchemaID)
	text("job", firstOf(s.Title, s.Job))
	text("shop", firstOf(p.Shop, s.Shop))
	text("technician", firstOf(p.Technician, s.Person))
	text("opened", s.Opened)
	if s.Practice {
		doc.set("practice", true)
	}
	vehicle, _ := s.head.values["vehicle"].(*fields)
	if vehicle != nil {
		vehicle = vehicle.clone()
	} else {
		vehicle = newFields()
	}
	if p.VIN != "" {
		vehicle.set("vin", p.VIN)
	}
	if p.Plate != "" {
		vehicle.set("plate", p.Plate)
	}
	if len(vehicle.names) > 0 {
		doc.set("vehicle", vehicle)
	}
	for _, name := range []string{"complaint", "history", "equipment", "books", "known"} {
		if v, ok := s.head.values[name]; ok {
			doc.set(name, v)
		} else if name == "equipment" && len(p.Equipment) > 0 {
			doc.set(name, wordList(p.Equipment))
		}
	}
	var captures, readings []any
	for i := range s.Items {
		it := &s.Items[i]
		f := it.entry()
		if it.Kind == "capture" {
			captures = append(captures, f)
		} else {
			readings = append(readings, f)
		}
	}
	for _, l := range []struct {
		name string
		list []any
	}{{"captures", captures}, {"readings", readings}, {"limits", s.limits}, {"overrules", s.overrules}, {"kept", s.kept}} {
		if len(l.list) > 0 {
			doc.set(l.name, l.list)
		}
	}
	s.textOfRepair(doc)
	if own := s.ownWith(more); len(own.names) > 0 {
		doc.set("own", own)
	}
	var b strings.Builder
	writeYAML(&b, doc, "")
	return []byte(b.String())
}

// entry is the item as an entry of captures or readings.
func (it *Item) entry() *fields {
	f := newFields()
	f.set("item", it.Number)
	if it.Kind == "capture" {
		f.set("file", it.File)
	}
	for _, n := range it.form.names {
		if n != "item" && n != "file" && n != "set_aside" {
			f.set(n, it.form.values[n])
		}
	}
	if it.SetAside != "" {
		f.set("set_aside", it.SetAside)
	}
	return f
}

// ownWith puts the overlays together: those of the shop first. What has an id
// that is there already is the same thing kept twice, and stands once.
func (s *State) ownWith(more []*State) *fields {
	out := newFields()
	for _, m := range append(append([]*State(nil), more...), s) {
		if m == nil {
			continue
		}
		for _, n := range m.own.names {
			list, isList := m.own.values[n].([]any)
			if !isList {
				if a, ok := out.values[n].(*fields); ok {
					if b, ok := m.own.values[n].(*fields); ok {
						out.set(n, mergeDeep(a, b))
						continue
					}
				}
				out.set(n, m.own.values[n])
				continue
			}
			have, _ := out.values[n].([]any)
			out.set(n, appendNew(have, list))
		}
	}
	return out
}

func appendNew(have, more []any) []any {
	out := append([]any(nil), have...)
	ids := map[string]bool{}
	for _, h := range have {
		if f, ok := h.(*fields); ok {
			ids[f.text("id")] = true
		}
	}
	for _, m := range more {
		if f, ok := m.(*fields); ok && f.text("id") != "" && ids[f.text("id")] {
			continue
		}
		out = append(out, m)
	}
	return out
}

// File is the job as a job file, for the one engine that answers both a folder
// and the workbench. It is nil, with the reasons, when the text cannot be read.
func (s *State) File(p Private, more ...*State) (*File, []Problem) {
	return Parse("job.yaml", s.Text(p, more...))
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

package player

import (
	"encoding/json"
	"fmt"

	"proveout/procedure"
)

// Mutant is a procedure with one thing made wrong by machine.
type Mutant struct {
	Kind  string // guard_removed, fact_dropped, order_swapped, wait_zeroed, ...
	Where string
	File  *procedure.File
}

// Mutants makes every mutation of a procedure, in a fixed order: for each step one
// per interlock, fact of an interlock, need, wait, watch, means, act, hazard and
// recovery; then the recovery steps, what interruptions disturb, and the order of
// neighbours.
func Mutants(file *procedure.File) ([]Mutant, error) {
	raw, err := json.Marshal(file)
	if err != nil {
		return nil, err
	}
	var out []Mutant
	add := func(kind, where string, change func(f *procedure.File)) {
		var f procedure.File
		if json.Unmarshal(raw, &f) == nil { // it was marshalled a moment ago
			change(&f)
			out = append(out, Mutant{kind, where, &f})
		}
	}
	// at finds a step by place: its list, and its place inside a cycle.
	type place struct{ i, j int }
	at := func(f *procedure.File, p place) *procedure.Step {
		s := &f.Steps[p.i]
		if p.j >= 0 {
			s = &s.Cycle[p.j]
		}
		return s
	}
	var places []place
	for i := range file.Steps {
		if len(file.Steps[i].Cycle) == 0 {
			places = append(places, place{i, -1})
		}
		for j := range file.Steps[i].Cycle {
			places = append(places, place{i, j})
		}
	}
	for _, p := range places {
		s := at(file, p)
		id := s.ID
		if !s.Guard.IsEmpty() {
			add("guard_removed", id, func(f *procedure.File) { at(f, p).Guard = procedure.Guard{} })
		}
		for _, fact := range keys(s.Guard.Facts) {
			add("fact_dropped", id+" "+fact, func(f *procedure.File) { delete(at(f, p).Guard.Facts, fact) })
		}
		if s.Guard.Not != nil {
			add("fact_dropped", id+" not", func(f *procedure.File) { at(f, p).Guard.Not = nil })
		}
		for k := range s.Needs {
			add("need_dropped", id+" "+s.Needs[k], func(f *procedure.File) {
				st := at(f, p)
				st.Needs = append(append([]string{}, st.Needs[:k]...), st.Needs[k+1:]...)
				if len(st.Needs) == 0 && p.i > 0 {
					st.Needs = append([]string{}, f.Steps[0].ID) // at any time after the first
				}
			})
		}
		if s.Wait.Rest != "" {
			add("wait_zeroed", id, func(f *procedure.File) { at(f, p).Wait.Rest = "0 s" })
		}
		for k := range s.Watch {
			add("watch_dropped", id+" "+s.Watch[k], func(f *procedure.File) { at(f, p).Watch = nil })
		}
		if s.Confirm.Need > 1 {
			add("confirmation_weakened", id, func(f *procedure.File) { at(f, p).Confirm.Need = 1 })
		}
		for k := range s.Confirm.By {
			add("confirmation_dropped", fmt.Sprintf("%s %s", id, s.Confirm.By[k].How), func(f *procedure.File) {
				st := at(f, p)
				st.Confirm.By = append(append([]procedure.Mean{}, st.Confirm.By[:k]...), st.Confirm.By[k+1:]...)
			})
		}
		for k := range s.Confirm.By {
			if len(s.Confirm.By[k].Figures) > 0 {
				add("figures_dropped", fmt.Sprintf("%s %s", id, s.Confirm.By[k].How), func(f *procedure.File) { at(f, p).Confirm.By[k].Figures = nil })
			}
		}
		if !s.OnlyIf.IsEmpty() {
			add("only_if_dropped", id, func(f *procedure.File) { at(f, p).OnlyIf = procedure.Guard{} })
		}
		if s.Act != "look" && s.Act != "note" && s.Act != "measure" {
			add("act_renamed", id, func(f *procedure.File) { at(f, p).Act = "look" })
		}
		for _, fact := range keys(s.Sets) {
			add("sets_dropped", id+" "+fact, func(f *procedure.File) { delete(at(f, p).Sets, fact) })
		}
		for k := range s.Hazards {
			add("hazard_dropped", fmt.Sprintf("%s %s", id, s.Hazards[k].Word), func(f *procedure.File) { at(f, p).Hazards = nil })
		}
		for _, kind := range keys(s.Interrupt) {
			add("recovery_removed", id+" "+kind, func(f *procedure.File) { delete(at(f, p).Interrupt, kind) })
			add("recovery_made_harmless", id+" "+kind, func(f *procedure.File) {
				r := at(f, p).Interrupt[kind]
				r.Class, r.First, r.From = "R0", nil, ""
				at(f, p).Interrupt[kind] = r
			})
		}
		if p.j < 0 && p.i+1 < len(file.Steps) && len(file.Steps[p.i+1].Cycle) == 0 && one(file.Steps[p.i+1].Needs, id) && len(s.For) == 0 && len(file.Steps[p.i+1].For) == 0 {
			add("order_swapped", id+" and "+file.Steps[p.i+1].ID, func(f *procedure.File) { swap(f, p.i) })
		}
		if p.j < 0 {
			add("step_removed", id, func(f *procedure.File) { remove(f, p.i) })
		}
	}
	for k := range file.Recovery {
		add("recovery_step_removed", file.Recovery[k].ID, func(f *procedure.File) {
			f.Recovery = append(append([]procedure.Step{}, f.Recovery[:k]...), f.Recovery[k+1:]...)
		})
		if !file.Recovery[k].Applies.IsEmpty() {
			add("applies_dropped", file.Recovery[k].ID, func(f *procedure.File) { f.Recovery[k].Applies = procedure.Guard{} })
		}
		if !file.Recovery[k].Guard.IsEmpty() {
			add("recovery_guard_removed", file.Recovery[k].ID, func(f *procedure.File) { f.Recovery[k].Guard = procedure.Guard{} })
		}
		if len(file.Recovery[k].Again) > 0 {
			add("recovery_forgets", file.Recovery[k].ID, func(f *procedure.File) { f.Recovery[k].Again = nil })
		}
	}
	for _, kind := range keys(file.Disturbs) {
		for k := range file.Disturbs[kind] {
			add("disturb_dropped", fmt.Sprintf("%s %d", kind, k), func(f *procedure.File) {
				f.Disturbs[kind] = append(append([]procedure.Disturb{}, f.Disturbs[kind][:k]...), f.Disturbs[kind][k+1:]...)
			})
		}
	}
	for _, kind := range keys(file.Interrupt) {
		add("default_recovery_removed", kind, func(f *procedure.File) { delete(f.Interrupt, kind) })
	}
	for k := range file.Watches {
		add("watch_loosened", file.Watches[k].ID, func(f *procedure.File) {
			w := &f.Watches[k]
			w.Start, w.Warn, w.Hold, w.Stop, w.WarnHigh, w.HoldHigh, w.StopHigh = "", "", "", "", "", "", ""
		})
		add("watch_may_be_stale", file.Watches[k].ID, func(f *procedure.File) { f.Watches[k].MaxAge = "" })
	}
	add("rest_weakened", "rest", func(f *procedure.File) { f.Rest = procedure.Guard{Not: &procedure.Guard{Busy: "command"}} })
	add("system_dropped", "systems", func(f *procedure.File) { f.Systems = nil })
	return out, nil
}

func keys[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	for i := range out { // a few names: insertion sort
		for j := i; j > 0 && out[j] < out[j-1]; j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	return out
}

func one(list []string, s string) bool { return len(list) == 1 && list[0] == s }

// swap lets step i+1 come before step i; what needed i+1 then needs i.
func swap(f *procedure.File, i int) {
	a, b := &f.Steps[i], &f.Steps[i+1]
	for k := range f.Steps {
		if k != i+1 {
			rename(&f.Steps[k], b.ID, "\x00")
		}
	}
	b.Needs, a.Needs = a.Needs, []string{b.ID}
	for k := range f.Steps {
		rename(&f.Steps[k], "\x00", a.ID)
	}
}

func rename(s *procedure.Step, from, to string) {
	for n := range s.Needs {
		if s.Needs[n] == from {
			s.Needs[n] = to
		}
	}
}

// remove takes a step out; what needed it needs what it needed.
func remove(f *procedure.File, i int) {
	gone := f.Steps[i]
	f.Steps = append(append([]procedure.Step{}, f.Steps[:i]...), f.Steps[i+1:]...)
	for k := range f.Steps {
		var needs []string
		for _, n := range f.Steps[k].Needs {
			if n == gone.ID || n == gone.ID+".{side}" {
				needs = append(needs, gone.Needs...)
			} else {
				needs = append(needs, n)
			}
		}
		f.Steps[k].Needs = needs
	}
}

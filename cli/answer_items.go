package cli

import (
	"fmt"
	"strings"

	"proveout/shop"
)

// writeItems prints each item with what it says; cylinders in line are told in
// one sentence unless all is asked for.
func writeItems(p *page, a *shop.Answer, all bool) {
	if len(a.Items) == 0 {
		return
	}
	p.head("What each item says")
	byItem := map[int][]shop.FindingAnswer{}
	for _, f := range a.Findings {
		byItem[f.Item] = append(byItem[f.Item], f)
	}
	for i := 0; i < len(a.Items); i++ {
		it := a.Items[i]
		if n := quiet(a.Items[i:], byItem); n > 1 && !all {
			p.para(fmt.Sprintf("  Items %d to %d  ", it.Item, a.Items[i+n-1].Item), fmt.Sprintf("%d more captures, told together with the items before", n), 4)
			i += n - 1
			continue
		}
		p.para(fmt.Sprintf("  Item %d  ", it.Item), it.What, 4)
		if it.SetAside != "" {
			p.para("    ", "Set aside, not counted: "+it.SetAside, 4)
		}
		for i, n := range it.Notes {
			if i == 6 && !all {
				p.para("    ", fmt.Sprintf("%d more notes (--all lists them).", len(it.Notes)-i), 4)
				break
			}
			p.para("    ", n, 6)
		}
		var normal, unmeasured, facts int
		said := map[string]bool{}
		for _, f := range byItem[it.Item] {
			switch {
			case all:
			case f.State == "normal":
				normal++
				continue
			case f.State == "not_measured":
				unmeasured++
				continue
			case f.State == "not_judged":
				facts++
				continue
			}
			if said[f.Sentence] {
				continue // two tests ask the same reading: said once
			}
			said[f.Sentence] = true
			p.para("    · ", f.Sentence, 6)
		}
		var rest []string
		for _, r := range []struct {
			n    int
			what string
		}{{normal, "in line"}, {facts, "without a limit to hold them against"}, {unmeasured, "could not be measured"}} {
			if r.n > 0 {
				rest = append(rest, fmt.Sprintf("%d %s", r.n, r.what))
			}
		}
		if len(rest) > 0 {
			p.para("    · ", strings.Join(rest, ", ")+".", 6)
		}
	}
}

// quiet counts the captures at the head of the list that have nothing of their
// own to say: their readings were compared in findings of earlier items.
func quiet(items []shop.ItemAnswer, byItem map[int][]shop.FindingAnswer) int {
	n := 0
	for n < len(items) && items[n].Kind == "capture" && len(byItem[items[n].Item]) == 0 && len(items[n].Notes) == 0 && items[n].SetAside == "" {
		n++
	}
	return n
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

func writeLeftOut(p *page, a *shop.Answer) {
	if len(a.LeftOut) == 0 {
		return
	}
	p.head("Left out")
	for _, l := range a.LeftOut {
		p.para("  ", place(l.File, l.Line)+at(l.Path)+l.Why, 4)
	}
}

// at is a place in the job file before what is said about it.
func at(path string) string {
	if path == "" {
		return ""
	}
	return path + ": "
}

func place(file string, line int) string {
	switch {
	case file == "":
		return ""
	case line > 0:
		return fmt.Sprintf("%s:%d: ", file, line)
	}
	return file + ": "
}

func booksLine(a *shop.Answer) string {
	if len(a.Books) == 0 {
		return "No fault book fits this vehicle; " + a.Program + "."
	}
	var parts []string
	for _, b := range a.Books {
		parts = append(parts, strings.TrimSpace(b.ID+" "+b.Version))
	}
	return "Fault book: " + strings.Join(parts, ", ") + "; " + a.Program + "."
}

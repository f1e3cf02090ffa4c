package web

import (
	"encoding/json"
	"slices"
	"strings"

	"proveout/job"
	"proveout/text"
)

// after sets out correction, parts and proof.
func (b *pageBuilder) after() {
	v, p, g := b.v, b.p, b.page
	for _, c := range v.Corrections {
		g.Corrections = append(g.Corrections, lineView{Text: c.What.Done, Author: b.by(c.Author, c.Wall)})
	}
	for _, part := range v.Parts {
		state := "part.is_ordered"
		switch {
		case part.Fitted:
			state = "part.is_fitted"
		case part.Arrived != "":
			state = "part.is_here"
		}
		words := part.What.Name
		for _, more := range []string{part.What.Number, part.What.Where} {
			if more != "" {
				words += ", " + more
			}
		}
		g.Parts = append(g.Parts, partView{
			Entry: part.Entry, Text: words, State: p.T(state), Name: part.What.Name, Number: part.What.Number, Where: part.What.Where,
			Comes: !part.Fitted && part.Arrived == "" && v.Closed == nil, Fits: !part.Fitted && v.Closed == nil,
		})
	}
	// Whether it is proven is worked out when the job is closed, not each time it is
	// looked at; the choice is offered once there is something to prove.
	g.MayProve = len(v.Corrections) > 0
	switch g.Stage.Proof {
	case "now":
		g.ProofWords = p.T("proof.now")
	case "done":
		g.ProofWords = p.T("proof.done")
	default:
		g.ProofWords = p.T("proof.opens")
	}
}

// work sets out time, notes, procedures and the record.
func (b *pageBuilder) work() {
	v, p, g := b.v, b.p, b.page
	g.MinuteWords = p.T("job.minutes", p.Number(v.Minutes.Worked, 0), p.Number(v.Minutes.Agreed+v.Minutes.Approved, 0))
	g.PunchedIn = slices.Contains(v.Board.In, b.author)
	for _, r := range v.Runs {
		if r.End == "" {
			g.Procedures = append(g.Procedures, runView{Run: r.ID, Label: r.Procedure})
		}
	}
	for _, n := range v.Notes {
		g.Notes = append(g.Notes, lineView{Text: n.What.Text, By: b.by(n.Author, n.Wall)})
	}
	g.RecordCount = v.Count
	for i := len(v.Entries) - 1; i >= 0; i-- {
		e := &v.Entries[i]
		what := e.Type
		if name, _, ok := strings.Cut(e.Type, "@"); ok && p.Has("entry."+name) {
			what = p.T("entry." + name)
		}
		if e.Undone {
			what = p.T("entry.undone", what)
		}
		g.Record = append(g.Record, recordView{
			ID: e.ID, At: moment(e.Wall, b.now, p), What: what, Text: entryWords(e.Type, e.Payload, p), Who: b.name(e.Author),
			MayUndo: !e.Undone && offersUndo(e.Type),
		})
	}
}

// offersUndo: an undo is undone by doing the thing again, which is plainer.
func offersUndo(kind string) bool { return kind != job.UndoType && job.MayUndo(kind) }

// entryWords is the gist of an entry: the fields that people wrote themselves.
func entryWords(kind string, payload json.RawMessage, p *text.Printer) string {
	var f map[string]any
	if kind == job.ConclusionType || json.Unmarshal(payload, &f) != nil {
		return ""
	}
	var parts []string
	if n, ok := f["item"].(float64); ok && n > 0 {
		parts = append(parts, p.T("job.item")+" "+p.Number(n, 0))
	}
	for _, name := range []string{"text", "reason", "because", "card", "state", "name", "test", "subject", "what", "line", "done"} {
		if s, ok := f[name].(string); ok && s != "" {
			parts = append(parts, s)
		}
	}
	words := strings.Join(parts, " · ")
	if r := []rune(words); len(r) > 160 {
		words = string(r[:160]) + "…"
	}
	return words
}

package web

import (
	"cmp"
	"html/template"
	"slices"
	"strings"
	"time"

	"proveout/shop"
	"proveout/text"
)

// boardPage is the shop's board: what must not be left, then every stage.
type boardPage struct {
	Headline  string
	Count     int
	Rev       int64
	Dangerous []boardRow
	Stages    []boardStage
	Lan       bool
}

type boardStage struct {
	ID   string // a key under board.stage.
	Rows []boardRow
}

type boardRow struct {
	Job, No, Plate, Bay    string
	Vehicle, Said          string
	Do                     template.HTML // the next action, with the name of a test in its own language
	Why, Href, Label       string
	Minutes                string
	Flags                  []string // texts beside a shape
	Clash                  []string // items that cannot all be right
	Danger                 string
	Promised, Left, Who    string
	Over, Solid, Practice  bool
	Erased, Waits, Stopped bool
	Squares                []shop.Stage
}

// boardOrder is the order of the stages on the board; hand over is what is closed.
var boardOrder = []string{"complaint", "evidence", "suspects", "next_test", "correction", "procedure", "proof", "closed"}

func boardPageOf(v *shop.BoardView, p *text.Printer, now time.Time) *boardPage {
	g := &boardPage{Rev: v.Rev, Count: len(v.Rows)}
	byStage := map[string][]boardRow{}
	solid := false
	for i := range v.Rows {
		row := boardRowOf(&v.Rows[i], p, now)
		if v.Rows[i].Dangerous != "" && v.Rows[i].Open {
			row.Solid, solid = !solid, true
			g.Dangerous = append(g.Dangerous, row)
			continue
		}
		stage := v.Rows[i].Stage
		if !v.Rows[i].Open {
			stage = "closed"
		}
		if !slices.Contains(boardOrder, stage) {
			stage = boardOrder[0]
		}
		byStage[stage] = append(byStage[stage], row)
	}
	for _, id := range boardOrder {
		if rows := byStage[id]; len(rows) > 0 {
			g.Stages = append(g.Stages, boardStage{id, rows})
		}
	}
	g.Headline = boardHeadline(v, p, now)
	return g
}

// boardHeadline is the one sentence: what must not be left, and what is promised
// next.
func boardHeadline(v *shop.BoardView, p *text.Printer, now time.Time) string {
	dangerous := 0
	var first *shop.BoardRow
	for i := range v.Rows {
		r := &v.Rows[i]
		switch {
		case !r.Open:
		case r.Dangerous != "":
			dangerous++
		case r.Promised != "" && (first == nil || r.Promised < first.Promised):
			first = r
		}
	}
	var s string
	if dangerous > 0 {
		s = p.N("board.must_not_be_left", dangerous)
	}
	if first != nil {
		if s != "" {
			s += " "
		}
		s += p.T("board.first", strings.ReplaceAll(cmp.Or(first.Plate, first.Title, first.Job), " ", "\u00a0"), moment(first.Promised, now, p))
		if first.MinutesLeft > 0 {
			s += " " + p.T("board.first_left", p.Number(first.MinutesLeft, 0))
		}
	}
	if s == "" && len(v.Rows) == 0 {
		return p.T("board.empty")
	}
	return cmp.Or(s, p.T("board.calm"))
}

func boardRowOf(r *shop.BoardRow, p *text.Printer, now time.Time) boardRow {
	row := boardRow{
		Job: r.Job, No: cmp.Or(r.Title, r.Job), Plate: r.Plate, Bay: r.Bay, Vehicle: r.Vehicle, Said: r.Complaint, Danger: r.Dangerous,
		Promised: moment(r.Promised, now, p), Who: r.Who, Practice: r.Practice, Erased: r.Erased, Stopped: r.Interrupted != "", Squares: r.Stages,
	}
	row.Label, row.Href = r.Next.Label, actionHref("/jobs/"+r.Job, r.Next.Href)
	row.Do = said(p, r.Next.Label)
	if key := "do." + r.Next.ID; p.Has(key) {
		row.Do = saidIn(p, key, r.Next.Label)
	}
	if key := "go." + r.Next.ID; p.Has(key) {
		row.Label = p.T(key)
	} else {
		row.Label = p.T("board.open")
	}
	if r.Stage == "complaint" && r.Next.ID == "add_evidence" {
		row.Do, row.Label, row.Href = saidIn(p, "do.ask", ""), p.T("go.ask"), "/jobs/"+r.Job+"/complaint"
	}
	if r.Next.Minutes > 0 {
		row.Minutes = p.Number(r.Next.Minutes, 0)
	}
	switch {
	case r.MinutesLeft < 0:
		row.Left, row.Over = p.T("board.over", p.Number(-r.MinutesLeft, 0)), true
	case r.Approved > 0:
		row.Left = p.T("board.left", p.Number(r.MinutesLeft, 0))
	default:
		row.Left = p.T("board.not_asked")
	}
	if r.ApprovalOpen {
		row.Flags = append(row.Flags, p.T("board.asked"))
	}
	for _, items := range r.Disagree {
		row.Clash = append(row.Clash, p.T("board.disagree", items))
	}
	if r.PartHere != "" {
		row.Flags = append(row.Flags, p.T("board.part_here", r.PartHere))
	}
	if r.WaitsForPart != "" {
		row.Waits = true
		row.Flags = append(row.Flags, p.T("board.waits", r.WaitsForPart))
	}
	return row
}

package web

import (
	"strings"

	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

// leftRow is something that could not be used, by the place at which a screen has it:
// its item, a part of the job, or the file that was added. A place in a job file is for
// whoever writes one.
type leftRow struct {
	Item  int
	Place string // in words of the page
	File  string
	Line  int
	Why   string
}

func leftRows(list []shop.LeftOut, p *text.Printer) []leftRow {
	var out []leftRow
	for _, l := range list {
		r := leftRow{Item: l.Item, File: l.File, Line: l.Line, Why: l.Why}
		if l.File == job.Names[0] {
			head, _, _ := strings.Cut(strings.ReplaceAll(l.Path, "[", "."), ".")
			r.File, r.Line = "", 0
			if r.Item == 0 && p.Has("job.place."+head) {
				r.Place = p.T("job.place." + head)
			}
		}
		out = append(out, r)
	}
	return out
}

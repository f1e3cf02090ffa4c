package web

import (
	"net/url"
	"strconv"
	"strings"

	"proveout/job"
	"proveout/text"
)

// partAge is a row of the reception about a part and how long it has been in, as the job
// file writes it under history.parts.
type partAge struct {
	Part     string `json:"part"`
	Fitted   string `json:"fitted,omitempty"`
	Interval string `json:"interval,omitempty"`
}

// partRows are the parts known already and an empty row for one more. The first row of
// a job that knows none is begun with the part that is asked for most.
func partRows(p *text.Printer, have []partAge) []partAge {
	rows := append([]partAge(nil), have...)
	if len(rows) == 0 {
		return []partAge{{Part: p.T("part_age.plugs")}}
	}
	return append(rows, partAge{})
}

// partAges reads the rows of a form. A row without a figure says nothing.
func partAges(f url.Values, system text.System) ([]partAge, error) {
	at := func(name string, i int) string {
		if v := f[name]; i < len(v) {
			return clip(strings.TrimSpace(v[i]), 100)
		}
		return ""
	}
	way := "km"
	if system == text.US {
		way = "mi"
	}
	var out []partAge
	for i := range f["part"] {
		row := partAge{Part: at("part", i)}
		var err error
		if row.Fitted, err = wayOf(at("fitted", i), way); err != nil {
			return nil, badField("fitted")
		}
		if row.Interval, err = wayOf(at("interval", i), way); err != nil {
			return nil, badField("interval")
		}
		switch {
		case row.Fitted == "" && row.Interval == "":
		case row.Part == "":
			return nil, badField("part")
		default:
			out = append(out, row)
		}
	}
	return out, nil
}

// wayOf takes a distance as typed; a bare number is in the shop's own unit.
func wayOf(s, bare string) (string, error) {
	if s == "" || strings.EqualFold(s, "unknown") {
		return strings.ToLower(s), nil
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		s += " " + bare
	}
	metres, err := job.Odometer(s)
	if err != nil {
		return "", err
	}
	if !(metres <= mostOdometer) {
		return "", badField("fitted")
	}
	return s, nil
}

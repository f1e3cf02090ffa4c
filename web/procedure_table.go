package web

import (
	"net/http"
	"strconv"

	"proveout/procedure/runner"
	"proveout/procedure/table"
	"proveout/unit"
)

func init() {
	routes = append(routes, route{pattern: "GET /api/v1/jobs/{id}/procedures/{run}/table", serve: procedureTable})
}

// readingUnit turns a typed value into SI: value * Factor + Shift.
type readingUnit struct {
	Unit   string  `json:"unit"`
	Factor float64 `json:"factor"`
	Shift  float64 `json:"shift"`
}

// runTable is a run as a page goes on with it by itself.
type runTable struct {
	Table    *table.Table           `json:"table,omitempty" doc:"left out where only later entries are asked for"`
	Readings map[string]readingUnit `json:"readings,omitempty"`
	Entries  []runner.Entry         `json:"entries"`
	Now      runner.Stamp           `json:"now"`
}

// procedureTable is what a page needs to go on without the server: the state table,
// the record so far (after a number of entries it has already), and what the clock
// says that the record's stamps are of.
func procedureTable(s *Server, w http.ResponseWriter, r *http.Request) error {
	m, head, entries, now, err := s.bench.ProcedureEntries(r.Context(), r.PathValue("id"), r.PathValue("run"))
	if err != nil {
		return err
	}
	out := runTable{Entries: entries, Now: now}
	after := -1
	if q := r.URL.Query().Get("after"); q != "" {
		if after, err = strconv.Atoi(q); err != nil {
			return &Problem{Status: http.StatusBadRequest, Kind: "bad_request", Detail: "after must be a whole number"}
		}
	}
	if after >= 0 && after <= len(entries) {
		out.Entries = entries[after:]
		return writeJSON(w, out)
	}
	t, err := table.Compile(m, head.SHA256)
	if err != nil {
		return err
	}
	p := s.printer(r)
	texts := map[string]string{}
	for k, v := range t.Texts {
		texts[k] = p.Template(v)
	}
	t.Texts, t.Override = texts, p.T("procedure.override")
	out.Table, out.Readings = &t, map[string]readingUnit{}
	for _, x := range m.File.Readings {
		u, err := unit.Parse(x.Unit)
		if err != nil {
			return err
		}
		out.Readings[x.ID] = readingUnit{Unit: x.Unit, Factor: u.Factor, Shift: u.Offset}
	}
	return writeJSON(w, out)
}

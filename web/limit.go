package web

import (
	"cmp"
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"proveout/job"
	"proveout/shop"
	"proveout/text"
	"proveout/unit"
)

// limitForm asks for the maker's limit of what a test reads, beside the test.
type limitForm struct {
	Job                    string
	Rev                    int64
	Feature, Test, Subject string
	Units                  []unitKey
	Given                  []string // in words
}

// limitsGiven adds the limits that the job has for what a test reads.
func (s *Server) limitsGiven(r *http.Request, id string, form *limitForm, p *text.Printer) error {
	if form == nil {
		return nil
	}
	st, err := s.bench.State(r.Context(), id)
	if err != nil {
		return err
	}
	for _, l := range st.LimitsOf(form.Feature) {
		var parts []string
		for _, part := range []struct{ key, value string }{{"limit.least", l.Min}, {"limit.most", l.Max}, {"limit.nominal", l.Nominal}} {
			if part.value != "" {
				parts = append(parts, p.T(part.key)+" "+part.value)
			}
		}
		form.Given = append(form.Given, strings.Join(append(parts, l.Source), ", "))
	}
	return nil
}

// limitGiven is a limit with where it is from. One that crosses itself is refused here,
// where it can be put right, not left out of the answer.
func limitGiven(f url.Values, _ *shop.JobView) (any, error) {
	form := map[string]string{"feature": cmp.Or(words(f, "feature"), "?"), "source": words(f, "source")}
	symbol := f.Get("unit")
	if _, err := unit.Parse(symbol); err != nil && symbol != "" {
		return nil, badField("unit")
	}
	if form["source"] == "" {
		return nil, badField("source")
	}
	figures := map[string]float64{}
	for _, name := range []string{"min", "max", "nominal"} {
		typed := strings.ReplaceAll(words(f, name), ",", ".")
		if typed == "" {
			continue
		}
		v, err := number(typed)
		if err != nil {
			return nil, err
		}
		figures[name], form[name] = v, strings.TrimSpace(strconv.FormatFloat(v, 'f', -1, 64)+" "+symbol)
	}
	low, isLow := figures["min"]
	high, isHigh := figures["max"]
	usual, isUsual := figures["nominal"]
	switch {
	case len(figures) == 0:
		return nil, &Problem{Status: http.StatusUnprocessableEntity, Kind: "nothing_typed"}
	case isLow && isHigh && low > high, isUsual && isLow && usual < low, isUsual && isHigh && usual > high:
		return nil, &Problem{Status: http.StatusUnprocessableEntity, Kind: "limit_crossed"}
	}
	body, err := json.Marshal(form)
	return job.LimitGiven{Form: body}, err
}

// number reads a figure that a person typed: finite, and short enough to be one.
func number(typed string) (float64, error) {
	n := strings.ReplaceAll(strings.TrimSpace(typed), ",", ".")
	v, err := strconv.ParseFloat(n, 64)
	if err != nil || len(n) > 30 || v-v != 0 {
		return 0, &Problem{Status: http.StatusUnprocessableEntity, Kind: "no_number", Args: []any{clip(typed, 40)}}
	}
	return v, nil
}

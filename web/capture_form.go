package web

import (
	"encoding/json"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/job"
	"proveout/text"
)

func driveOf(q url.Values, t *text.Printer) driveView {
	return driveView{
		Open: q.Get("when") == "after", Episodes: q.Get("episodes"), Road: q.Get("road"),
		As:      ask(t, "as", "capture.drive_as", false, []string{q.Get("as")}, "before", "cause"),
		Watched: ask(t, "watched", "capture.watched", false, []string{q.Get("watched")}, "none", "noticed"),
	}
}

// driveForm is the drive entry of a capture out of the form; nil: nothing was said.
func driveForm(q url.Values) map[string]any {
	d := map[string]any{}
	if as := q.Get("as"); as != "" {
		d["as"] = as
	}
	if road := clip(strings.TrimSpace(q.Get("road")), 40); road != "" {
		d["road"] = road
	}
	times := strings.FieldsFunc(clip(q.Get("episodes"), longest), func(c rune) bool { return c == ',' || c == ';' || c == '\n' })
	for i := range times {
		times[i] = strings.TrimSpace(times[i])
	}
	switch {
	case len(times) > 0:
		d["episodes"] = times // they win over the tap: a fault is never typed away
	case q.Get("watched") == "none":
		d["episodes"] = []string{}
	}
	if len(d) == 0 {
		return nil
	}
	return d
}

// formOf makes the description of a capture, in the job file's form, out of a posted
// or asked form. Where an item is mapped again, what the page does not ask stays as that
// item has it.
func formOf(q url.Values, was json.RawMessage) json.RawMessage {
	form := keptOf(was)
	columnsWas := form["columns"]
	delete(form, "columns")
	set := func(name, v string) {
		if v != "" {
			form[name] = v
		}
	}
	set("kind", q.Get("kind"))
	set("when", q.Get("when"))
	set("sample_rate", strings.TrimSpace(q.Get("rate")))
	set("note", clip(strings.TrimSpace(q.Get("note")), longest))
	if c, err := strconv.Atoi(q.Get("cylinder")); err == nil {
		form["cylinder"] = c
	}
	if st := q.Get("state"); st != "" {
		condition, _ := form["condition"].(map[string]any) // none: only the state is said
		if condition == nil {
			condition = map[string]any{}
		}
		condition["state"] = st
		form["condition"] = condition
	}
	if d := driveForm(q); d != nil {
		form["drive"] = d
	}
	if q.Get("probe") != "" || q.Get("placement") != "" || q.Has("calibrated") {
		probe := map[string]any{"calibrated": q.Get("calibrated") == "yes"}
		if p := clip(strings.TrimSpace(q.Get("probe")), 100); p != "" {
			probe["name"] = p
		}
		if p := clip(strings.TrimSpace(q.Get("placement")), 40); p != "" {
			probe["placement"] = p
		}
		form["probe"] = probe
	}
	var columns []map[string]any
	for _, n := range q["column"] {
		as := q.Get("as " + n)
		if as == "" {
			continue
		}
		c := columnWas(columnsWas, n, q.Get("named "+n))
		c["column"], c["as"] = n, as
		delete(c, "unit")
		if u := q.Get("unit " + n); u != "" && as != "ignore" {
			c["unit"] = u
		}
		columns = append(columns, c)
	}
	switch {
	case columns != nil:
		form["columns"] = columns
	case len(q["column"]) == 0 && columnsWas != nil:
		form["columns"] = columnsWas // a file of messages: none were asked
	}
	body, err := json.Marshal(form)
	if err != nil {
		return json.RawMessage("{}") // strings, numbers and bools always encode
	}
	return body
}

// keptOf is what is said of an item's file and the page does not ask: facts, marks, warm
// or wet, whatever a job folder brought.
func keptOf(was json.RawMessage) map[string]any {
	form := map[string]any{}
	if len(was) == 0 || json.Unmarshal(was, &form) != nil {
		return map[string]any{}
	}
	for _, asked := range []string{"item", "file", "set_aside", "kind", "when", "sample_rate", "note", "cylinder", "drive", "probe"} {
		delete(form, asked)
	}
	switch c := form["condition"].(type) {
	case string:
		delete(form, "condition")
	case map[string]any:
		delete(c, "state")
	}
	return form
}

// columnWas is what else was said of a column: its scale, its cylinder.
func columnWas(was any, n, name string) map[string]any {
	list, _ := was.([]any) // none: nothing was said
	for _, x := range list {
		if c, ok := x.(map[string]any); ok {
			if of := scalar(c["column"]); of == n || name != "" && of == name {
				return c
			}
		}
	}
	return map[string]any{}
}

// scalar is a name or a number of a form as the page writes it.
func scalar(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return ""
}

// askedOf is the form page's answers as an item was said to be: what the page begins
// with when it is mapped again. Its columns are shown as they are read.
func askedOf(was json.RawMessage) url.Values {
	var form map[string]any
	q := url.Values{}
	if json.Unmarshal(was, &form) != nil {
		return q
	}
	at := func(of map[string]any, name, asked string) {
		if v := scalar(of[name]); v != "" {
			q.Set(asked, v)
		}
	}
	at(form, "kind", "kind")
	at(form, "when", "when")
	at(form, "sample_rate", "rate")
	at(form, "note", "note")
	at(form, "cylinder", "cylinder")
	at(form, "condition", "state")
	if c, ok := form["condition"].(map[string]any); ok {
		at(c, "state", "state")
	}
	if p, ok := form["probe"].(map[string]any); ok {
		at(p, "name", "probe")
		at(p, "placement", "placement")
		if yes, _ := p["calibrated"].(bool); yes {
			q.Set("calibrated", "yes")
		}
	}
	if d, ok := form["drive"].(map[string]any); ok {
		at(d, "as", "as")
		at(d, "road", "road")
		switch times, said := d["episodes"].([]any); {
		case said && len(times) == 0:
			q.Set("watched", "none")
		case said:
			q.Set("watched", "noticed")
			var words []string
			for _, x := range times {
				words = append(words, scalar(x))
			}
			q.Set("episodes", strings.Join(words, ", "))
		}
	}
	return q
}

// mappedAgain is the item whose file is read another way; nil: none is.
func mappedAgain(state *job.State, f url.Values) (*job.Item, error) {
	if f.Get("map") == "" {
		return nil, nil
	}
	n, err := strconv.Atoi(f.Get("map"))
	i := slices.IndexFunc(state.Items, func(it job.Item) bool { return it.Number == n && it.Kind == "capture" })
	if err != nil || i < 0 {
		return nil, badField("map")
	}
	return &state.Items[i], nil
}

// formWas is what was said of an item; nothing of none.
func formWas(it *job.Item) json.RawMessage {
	if it == nil {
		return nil
	}
	return json.RawMessage(it.Form())
}

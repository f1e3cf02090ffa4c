package web

import (
	"encoding/json"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/job"
	"proveout/text"
	"proveout/vehicle"
)

// factField is a field for a figure of the vehicle that is typed, not tapped.
type factField struct{ Name, Title, Value, Hint string }

// facts are the facts of "known" of a job file, with an example of each. Those without a
// unit are numbers there.
var facts = []struct {
	name, hint string
	number     bool
}{
	{"supply", "13.8 V", false}, {"driver", "0.6 V", false}, {"ambient", "98 kPa", false}, {"battery_temperature", "8 degC", false},
	{"pulley_ratio", "2.6", true}, {"pole_pairs", "6", true}, {"pump_bars", "8", true}, {"crank_teeth", "60", true}, {"pulsed_order", "1-3-4-2", false},
}

// engineFigures are the figures of the engine that are typed.
func engineFigures(p *text.Printer, order []int, displacement string) []factField {
	return []factField{{"firing_order", p.T("engine.firing_order"), orderWords(order), "1-3-4-2"}, {"displacement", p.T("engine.displacement"), displacement, "1.6 L"}}
}

// factFields set out what is known already.
func factFields(p *text.Printer, form job.Form) []factField {
	var have map[string]json.RawMessage
	_ = json.Unmarshal(form, &have) // what does not read is left as not known; the record keeps it
	var out []factField
	for _, f := range facts {
		v := plainWords(have[f.name])
		if f.name == "pulsed_order" {
			var order []int
			_ = json.Unmarshal(have[f.name], &order)
			v = orderWords(order)
		}
		if f.number && v == "0" {
			v = ""
		}
		out = append(out, factField{"known." + f.name, p.T("known." + f.name), v, f.hint})
	}
	return out
}

// knownForm reads the facts of a form. A field that is not there says nothing; one that
// was emptied takes the fact back, which a later entry can.
func knownForm(f url.Values) (map[string]any, error) {
	out := map[string]any{}
	for _, fact := range facts {
		name := "known." + fact.name
		typed := words(f, name)
		switch {
		case !f.Has(name) || typed == "" && f.Get("had."+name) == "":
		case fact.name == "pulsed_order":
			order, err := orderOf(typed, vehicle.MostCylinders)
			if err != nil {
				return nil, badField(name)
			}
			out[fact.name] = order
		case fact.number:
			n, err := strconv.ParseFloat(strings.ReplaceAll(typed, ",", "."), 64)
			if typed != "" && (err != nil || !(n >= 0 && n < 1e6)) {
				return nil, badField(name)
			}
			out[fact.name] = n
		default:
			out[fact.name] = typed
		}
	}
	return out, nil
}

// orderOf reads cylinders in an order, "1-3-4-2", each named once.
func orderOf(s string, most int) ([]int, error) {
	out := []int{}
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune("-–, ;", r) }) {
		n, err := strconv.Atoi(part)
		if err != nil || n < 1 || n > most || slices.Contains(out, n) {
			return nil, badField("order")
		}
		out = append(out, n)
	}
	return out, nil
}

func orderWords(order []int) string {
	parts := make([]string, len(order))
	for i, c := range order {
		parts[i] = strconv.Itoa(c)
	}
	return strings.Join(parts, "-")
}

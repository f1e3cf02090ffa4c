package web

import (
	"net/url"
	"reflect"
	"testing"

	"proveout/text"
)

// A row of the reception: a bare number is in the shop's own unit, a row without a
// figure says nothing, and what is no distance is named.
func TestPartAges(t *testing.T) {
	row := func(part, fitted, interval string) url.Values {
		return url.Values{"part": {part}, "fitted": {fitted}, "interval": {interval}}
	}
	for _, c := range []struct {
		form   url.Values
		system text.System
		want   []partAge
		bad    bool
	}{
		{form: row("Spark plugs", "90000", "60000 km"), system: text.SI, want: []partAge{{"Spark plugs", "90000 km", "60000 km"}}},
		{form: row("Spark plugs", "56000", ""), system: text.US, want: []partAge{{"Spark plugs", "56000 mi", ""}}},
		{form: row("Spark plugs", "", ""), system: text.SI},
		{form: row("Spark plugs", "Unknown", ""), system: text.SI, want: []partAge{{"Spark plugs", "unknown", ""}}},
		{form: row("", "90000", ""), system: text.SI, bad: true},
		{form: row("Coil", "12 kPa", ""), system: text.SI, bad: true},
		{form: row("Coil", "-3", ""), system: text.SI, bad: true},
		{form: url.Values{"part": {"Coil", "Belt"}, "fitted": {"", "1000"}}, system: text.SI, want: []partAge{{"Belt", "1000 km", ""}}},
		{form: url.Values{}, system: text.SI},
	} {
		got, err := partAges(c.form, c.system)
		if (err != nil) != c.bad || !c.bad && !reflect.DeepEqual(got, c.want) {
			t.Errorf("%v: %v, %v, want %v", c.form, got, err, c.want)
		}
	}
}

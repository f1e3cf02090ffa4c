package job

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proveout/strict"
)

// treeGen makes trees as a form may hold them, with the texts that YAML likes to
// read as something else.
func treeGen(depth int) *rapid.Generator[any] {
	tricky := []string{"", " ", "yes", "No", "null", "~", "1.0", "-1", "0x1f", "1e3", "2026-11-25", "a: b", "a #b", "- x", "[1", "{", "'", "\"", "\\", "a\nb", "\t", "ä\u2028", "&a", "*a", "!t", "%", "@x", "`", "|", ">", "?", "01", "1_000", ".5", "plain words here", "true", "on", "=", "<<"}
	text := rapid.OneOf(rapid.SampledFrom(tricky), rapid.StringMatching(`[a-z0-9 .:#'"\-]{0,12}`))
	scalar := rapid.OneOf(rapid.Map(text, func(s string) any { return s }), rapid.SampledFrom([]any{json.Number("3"), json.Number("-1.5e3"), true, false, nil}))
	if depth == 0 {
		return scalar
	}
	inner := treeGen(depth - 1)
	list := rapid.Map(rapid.SliceOfN(inner, 0, 3), func(v []any) any { return v })
	object := rapid.Custom(func(t *rapid.T) any {
		f := newFields()
		for range rapid.IntRange(0, 3).Draw(t, "fields") {
			f.set(rapid.OneOf(rapid.StringMatching(`[a-z_]{1,8}`), rapid.SampledFrom([]string{"1", "yes", "a b", "null", "1-4"})).Draw(t, "name"), inner.Draw(t, "value"))
		}
		return f
	})
	return rapid.OneOf(scalar, list, object)
}

// What is written as YAML is read back as the same, whatever it is; so the job
// file of a record says what the entries say.
func TestYAMLIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newFields()
		f.set("a", treeGen(3).Draw(t, "tree"))
		f.set("z", "end")
		var b strings.Builder
		writeYAML(&b, f, "")
		doc, problems := strict.Parse("t", []byte(b.String()))
		if errs := strict.Errors(problems); doc == nil || len(errs) > 0 {
			t.Fatalf("%v in\n%s", errs, b.String())
		}
		if want, got := flat(f), flatNode(doc.Root); want != got {
			t.Fatalf("wrote %s\nread  %s\nas\n%s", want, got, b.String())
		}
	})
}

// flat writes a tree down without regard to how scalars are typed: the readers of
// job files go by their text.
func flat(v any) string {
	switch v := v.(type) {
	case *fields:
		parts := []string{}
		for _, n := range v.names {
			parts = append(parts, quoted(n)+":"+flat(v.values[n]))
		}
		return "{" + strings.Join(parts, ",") + "}"
	case []any:
		parts := []string{}
		for _, e := range v {
			parts = append(parts, flat(e))
		}
		return "[" + strings.Join(parts, ",") + "]"
	case nil:
		return "null"
	case string:
		return quoted(v)
	}
	return quoted(scalarText(v))
}

func flatNode(n *strict.Node) string {
	switch n.Kind {
	case strict.Map:
		parts := []string{}
		for _, p := range n.Pairs {
			parts = append(parts, quoted(p.Key)+":"+flatNode(p.Value))
		}
		return "{" + strings.Join(parts, ",") + "}"
	case strict.List:
		parts := []string{}
		for _, e := range n.Items {
			parts = append(parts, flatNode(e))
		}
		return "[" + strings.Join(parts, ",") + "]"
	case strict.Null:
		return "null"
	}
	return quoted(n.Text)
}

func TestPayloadsAreChecked(t *testing.T) {
	sha := strings.Repeat("a", 64)
	for _, c := range []struct{ typ, payload, says string }{
		{NoteType, `{"text":"x"}`, ""},
		{NoteType, `{"text":" "}`, "write the note"},
		{NoteType, `{"text":"x","author":"y"}`, "unknown field"},
		{NoteType, `{"text":"x"}{}`, "more follows"},
		{"noted@1", `{}`, "no entry type"},
		{ReceivedType, `{"vehicle":{"vin":"1M8GDM9AXKP042788"}}`, "does not belong in the record"},
		{ReceivedType, `{"vehicle":{"plate":"KL 1"}}`, "does not belong in the record"},
		{ReceivedType, `{"vehicle":{"engine":{"cilinders":4}}}`, "cilinders"},
		{ReceivedType, `{"kind":"cleaning"}`, "diagnosis or service"},
		{ReceivedType, `{"vehicle":` + wren + `}`, ""},
		{ReadingTypedType, `{"form":{"feature":"plug.gap","value":"1 mm"}}`, ""},
		{ReadingTypedType, `{"form":{"feature":"plug.gap","valeu":"1 mm"}}`, "valeu"},
		{ReadingTypedType, `{"form":[1]}`, "object"},
		{ReadingTypedType, `{"form":{"a":1,"a":2}}`, "twice"},
		{ReadingTypedType, `{"form":` + strings.Repeat(`{"a":`, 40) + `1` + strings.Repeat(`}`, 40) + `}`, "nested"},
		{ReadingTypedType, `{"form":{"note":"` + strings.Repeat("x", MaxPayload) + `"}}`, "at most"},
		{CaptureAddedType, `{"sha256":"` + sha + `","name":"x"}`, ""},
		{CaptureAddedType, `{"sha256":"../etc"}`, "64 hex digits"},
		{CaptureAddedType, `{"sha256":"` + sha + `","item":-1}`, "below zero"},
		{OverruledType, `{"suspect":"a@cyl1","state":"open"}`, "needs its reason"},
		{SuspectAddedType, `{}`, "write the suspect"},
		{TimePunchType, `{"what":"maybe"}`, "in or out"},
		{ClosedType, `{"result":"fixed"}`, "proven, improved or not_proven"},
		{DangerousType, `{"text":""}`, "must not be done"},
		{UndoType, `{}`, "which one"},
		{SettingsChangedType, `{"thresholds":{"supply_stop_v":9}}`, "never looser"},
	} {
		err := CheckPayload(c.typ, []byte(c.payload))
		if (c.says == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %.80s: %v, want %q", c.typ, c.payload, err, c.says)
		}
	}
}

func FuzzForm(f *testing.F) {
	f.Add([]byte(wren))
	f.Add([]byte(`{"a":[1,{"b":null}],"c":"\u2028"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		form, err := parseForm(data)
		if err != nil {
			return
		}
		out, err := form.MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		again, err := parseForm(out)
		if err != nil || flat(again) != flat(form) {
			t.Fatalf("%s came back as %s (%v)", data, out, err)
		}
		for typ := range payloads {
			if err := CheckPayload(typ, data); err != nil && errors.Unwrap(err) == nil && err.Error() == "" {
				t.Fatal("an error that says nothing")
			}
		}
	})
}

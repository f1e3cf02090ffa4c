package job

import (
	"encoding/json"
	"strings"

	"proveout/strict"
)

// Taken is what a job file comes to as entries: how a plain folder gets into the
// record.
type Taken struct {
	Received Received
	Items    []TakenItem // captures first, then readings, in the order of the file
	Private  Private     // VIN and plate: beside the chain
	Customer Customer
	Left     []string // fields that have no place in the record
}

// TakenItem is one entry of captures or readings.
type TakenItem struct {
	Kind     string // capture, reading
	Item     int    // as written; 0: none
	File     string // of a capture, as written; may be a pattern
	SetAside string
	Form     Form
}

// Take turns a job file into what the record holds. The words stay as they were
// written: what is wrong in them is found when the job is answered, as in the
// folder.
func (f *File) Take() Taken {
	var out Taken
	root := treeOfNode(f.doc.Root).(*fields)
	r := &out.Received
	r.Title, r.Technician, r.Opened = f.Job, f.Technician, f.Opened
	for _, n := range root.names {
		v := root.values[n]
		switch n {
		case "schema", "job", "shop", "technician", "opened", "practice":
		case "vehicle":
			r.Vehicle = out.private(v)
		case "complaint":
			r.Complaint = formOf(v, "said")
		case "history":
			r.History = formOf(v, "")
		case "equipment":
			r.Equipment = wordsOf(v)
		case "books":
			r.Books = wordsOf(v)
		case "known":
			r.Known = formOf(v, "")
		case "limits":
			r.Limits = formsOf(v, "")
		case "overrules":
			r.Overrules = formsOf(v, "")
		case "kept":
			r.Kept = formsOf(v, "")
		case "own":
			r.Own = formOf(v, "")
		case "approvals":
			r.Approvals = formsOf(v, "what")
		case "corrections":
			r.Corrections = formsOf(v, "done")
		case "proof":
			r.Proof = formOf(v, "by")
		case "handed_over":
			r.HandedOver = formOf(v, "")
		case "customer":
			if f.Customer != nil {
				out.Customer = *f.Customer
			}
		case "captures":
			out.items("capture", v)
		case "readings":
			out.items("reading", v)
		default:
			out.Left = append(out.Left, n)
		}
	}
	return out
}

// private takes VIN and plate out of a vehicle.
func (t *Taken) private(v any) Form {
	f, ok := v.(*fields)
	if !ok {
		return nil
	}
	t.Private.VIN, t.Private.Plate = scalarOf(f, "vin"), scalarOf(f, "plate")
	f.drop("vin")
	f.drop("plate")
	return formOf(f, "")
}

func scalarOf(f *fields, name string) string {
	switch v := f.values[name].(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	}
	return ""
}

func (t *Taken) items(kind string, v any) {
	list, ok := v.([]any)
	if !ok {
		list = []any{v} // one entry written without its dash
	}
	for _, e := range list {
		f, ok := e.(*fields)
		if !ok {
			continue // a single word is no capture and no reading; the answer says so for the folder
		}
		it := TakenItem{Kind: kind, File: scalarOf(f, "file"), SetAside: scalarOf(f, "set_aside")}
		if n, ok := f.values["item"].(json.Number); ok {
			if i, err := n.Int64(); err == nil && i > 0 && i < 1_000_000 {
				it.Item = int(i)
			}
		}
		f = f.clone()
		for _, n := range []string{"file", "item", "set_aside"} {
			f.drop(n)
		}
		it.Form = formOf(f, "")
		t.Items = append(t.Items, it)
	}
}

// formOf is a form of a tree; alone names the field a single value stands for.
func formOf(v any, alone string) Form {
	f, ok := v.(*fields)
	if !ok {
		if alone == "" || v == nil {
			return nil
		}
		f = newFields()
		f.set(alone, v)
	}
	out, err := f.MarshalJSON()
	if err != nil {
		return nil // cannot be: it came from a parsed file
	}
	return out
}

func formsOf(v any, alone string) []Form {
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	var out []Form
	for _, e := range list {
		if f, ok := e.(*fields); ok {
			out = append(out, formOf(f, ""))
		} else if alone != "" && e != nil { // an approval or a correction in one line
			out = append(out, formOf(e, alone))
		}
	}
	return out
}

func wordsOf(v any) []string {
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	out := []string{}
	for _, e := range list {
		if e != nil {
			out = append(out, strings.TrimSpace(plainText(e)))
		}
	}
	return out
}

func plainText(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	}
	return scalarText(v)
}

// treeOfNode turns a parsed file into a tree. A number stays one, so that it is
// written without quotes again; every other word is text.
func treeOfNode(n *strict.Node) any {
	if n == nil {
		return newFields()
	}
	switch n.Kind {
	case strict.Map:
		f := newFields()
		for _, p := range n.Pairs {
			f.set(p.Key, treeOfNode(p.Value))
		}
		return f
	case strict.List:
		list := make([]any, 0, len(n.Items))
		for _, i := range n.Items {
			list = append(list, treeOfNode(i))
		}
		return list
	case strict.Null:
		return nil
	}
	if num := json.Number(n.Text); !n.Quoted && isJSONNumber(n.Text) {
		return num
	}
	return n.Text
}

func isJSONNumber(s string) bool {
	return s != "" && (s[0] == '-' || s[0] >= '0' && s[0] <= '9') && json.Valid([]byte(s))
}

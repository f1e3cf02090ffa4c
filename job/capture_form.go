package job

import (
	"strings"

	"proveout/book"
	"proveout/vehicle"
)

// ReadCapture reads the description of one capture as a job file's entry, without
// a job around it: for a look at a file before it is added. name stands for the
// file.
func ReadCapture(name string, form Form, v Vocabulary) (CaptureFile, []Problem) {
	f, err := parseForm(form)
	if err != nil {
		return CaptureFile{}, []Problem{{File: name, Text: err.Error()}}
	}
	c := newFields()
	c.set("file", "captures/"+safeName(name))
	for _, n := range f.names {
		if n != "file" && n != "item" && n != "set_aside" {
			c.set(n, f.values[n])
		}
	}
	doc := newFields()
	doc.set("schema", SchemaID)
	doc.set("captures", []any{c})
	var b strings.Builder
	writeYAML(&b, doc, "")
	file, ps := Parse("capture", []byte(b.String()))
	if file == nil {
		return CaptureFile{}, ps
	}
	// An engine that has every cylinder there can be: which ones this vehicle has is
	// asked when the capture is in the job.
	in, err := book.Instantiate(vehicle.Engine{Cylinders: 16})
	if err != nil {
		return CaptureFile{}, []Problem{{File: name, Text: err.Error()}}
	}
	r := file.ResolveWith(in, v)
	if len(r.Captures) != 1 {
		return CaptureFile{}, r.Problems
	}
	out := r.Captures[0]
	out.File = name
	return out, r.Problems
}

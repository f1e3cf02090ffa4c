package shop

import (
	"bytes"
	"io"

	"proveout/intake"
	"proveout/obd"
	"proveout/obd/canlog"
	"proveout/trace"
)

// DecodedFile is what one log of diagnostic messages held.
type DecodedFile struct {
	File    string       `json:"file"`
	SHA256  string       `json:"sha256"`
	Session *obd.Session `json:"session,omitempty"`
	Error   string       `json:"error,omitempty"`
}

// Decode reads logs of diagnostic messages: names are files, patterns, or "-"
// for standard input.
func Decode(names []string, stdin io.Reader, o Options) []DecodedFile {
	var out []DecodedFile
	for _, f := range intake.Files(names, stdin, intake.Options{Limits: o.Limits, Want: trace.KindMessages, Progress: o.Progress}) {
		d := DecodedFile{File: f.Name, SHA256: f.SHA256}
		switch {
		case f.Err != nil:
			d.Error = f.Err.Error()
		case f.Messages == nil:
			d.Error = "holds samples, not diagnostic messages; use \"proveout measure\""
		default:
			log, err := canlog.ReadAll(bytes.NewReader(f.Messages), canlog.Options{})
			if err != nil {
				d.Error = err.Error()
			}
			if log != nil {
				d.Session = obd.Read(log)
			}
			if d.Session != nil && d.Session.Records == 0 {
				d.Session, d.Error = nil, "no diagnostic message was found in it; for samples use \"proveout measure\""
			}
		}
		out = append(out, d)
	}
	return out
}

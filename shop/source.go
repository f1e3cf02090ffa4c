package shop

import (
	"proveout/intake"
	"proveout/job"
)

// source is where the captures of a job lie: in a job folder, or in the store of
// the workbench. The one engine answers both.
type source interface {
	// measured reads and measures the files of one entry of captures, in order.
	measured(w *work, c job.CaptureFile) []measured
}

// inFolder is a job folder on disk.
type inFolder struct{ folder *intake.Folder }

func (s inFolder) measured(w *work, c job.CaptureFile) []measured {
	var out []measured
	for _, f := range s.folder.ReadAll(c.File, w.intakeOptions(c)) {
		out = append(out, w.measure(c, f))
	}
	return out
}

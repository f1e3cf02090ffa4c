package canlog

import (
	"io"
	"slices"
)

// Log is a whole capture in memory.
type Log struct {
	Format  Format
	Records []Record
	Notes   []Note
}

// chunk is the size of the blocks record bytes are copied into.
const chunk = 1 << 16

// arena hands out copies of byte slices from large blocks.
type arena struct{ free []byte }

func (a *arena) copy(b []byte) []byte {
	if len(b) == 0 {
		return nil
	}
	if len(b) > len(a.free) {
		a.free = make([]byte, max(chunk, len(b)))
	}
	out := a.free[:len(b):len(b)]
	a.free = a.free[len(b):]
	copy(out, b)
	return out
}

// ReadAll reads a capture to its end. The records own their bytes. Memory is a
// few times the size of the capture; use a Reader for captures that do not fit.
// The error of a capture that breaks off is returned with what was read before.
func ReadAll(src io.Reader, opt Options) (*Log, error) {
	r, err := NewReader(src, opt)
	if err != nil {
		return nil, err
	}
	l := &Log{Format: r.Format()}
	var a arena
	var rec Record
	for {
		err = r.Next(&rec)
		if err != nil {
			break
		}
		rec.Data, rec.Raw = a.copy(rec.Data), a.copy(rec.Raw)
		if len(l.Records) == cap(l.Records) {
			l.Records = slices.Grow(l.Records, max(64, len(l.Records)))
		}
		l.Records = append(l.Records, rec)
	}
	l.Notes = r.Notes()
	if err == io.EOF {
		err = nil
	}
	return l, err
}

package trace

import (
	"bytes"
	"errors"
	"fmt"
)

// ErrTooMany is what errors about the number of values wrap.
var ErrTooMany = errors.New("too many values")

// tooMany is the error for a file that holds more values than are kept. about says
// that the number is an estimate.
func tooMany(values, limit int64, cols int, about bool) error {
	what := fmt.Sprintf("more than %d values (%d columns)", limit, cols)
	if about {
		what = fmt.Sprintf("about %.3g million values (%d columns), at most %.3g million are read", float64(values)/1e6, cols, float64(limit)/1e6)
	}
	return fmt.Errorf("%w: the file holds %s; cut it into shorter captures, or give --max-values %d (8 bytes each)", ErrTooMany, what, max(values+values/20, limit+limit/4))
}

// probes is at how many places of a file its rows are counted, each over probeSize
// bytes: rows grow longer as time goes on.
const (
	probes    = 8
	probeSize = 64 << 10
	sure      = 1.05 // an estimate must exceed the limit by so much to refuse; else reading counts
)

// refuseTooMany estimates from size and row lengths how many values a file holds,
// and refuses when that is beyond the limit.
func (a *assembly) refuseTooMany(limit int64) error {
	o := a.opts
	if o.At == nil || o.Size <= limit {
		return nil // a value takes at least one byte and a delimiter
	}
	buf := make([]byte, probeSize)
	seen, rows := 0, 0
	for i := range probes {
		n, _ := o.At.ReadAt(buf, o.Size/probes*int64(i))
		seen += n
		rows += bytes.Count(buf[:n], []byte{'\n'})
	}
	if seen == 0 || rows == 0 {
		return nil
	}
	values := int64(float64(o.Size) / float64(seen) * float64(rows) * float64(a.perRow()))
	if float64(values) > sure*float64(limit) {
		return tooMany(values, limit, len(a.cols), true)
	}
	return nil
}

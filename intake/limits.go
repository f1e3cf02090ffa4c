package intake

import (
	"errors"
	"fmt"
	"io"

	"proveout/trace"
)

// Limits bound what one file may cost. Zero fields mean the default.
type Limits struct {
	File     int64 // bytes on disk; default 4 GiB
	Unpacked int64 // bytes out of a gzip file; default 4 GiB
	Ratio    int64 // unpacked bytes for each packed byte, beyond the first 16 MiB; default 200
	Messages int64 // bytes of diagnostic messages kept in memory; default 256 MiB
	Total    int64 // bytes on disk of all files of one call; default 16 GiB
	Files    int   // files one pattern may match; default 1000
	// Values of one recording; default 2^31, all that a file of 4 GiB can hold, or
	// trace.DefaultMaxValues on a system without a scratch.
	Values int64
	// Memory is how many bytes the samples of one recording may take; what has more
	// goes to Scratch, a folder; default 1 GiB, and a folder for temporary files.
	Memory  int64
	Scratch string
}

// The defaults are our choice: a 2 GB capture passes, a disk image does not. A
// log of constant signals packs about 100 to 1; a bomb packs 1000 to 1.
func (l Limits) withDefaults() Limits {
	def := func(v *int64, d int64) {
		if *v <= 0 {
			*v = d
		}
	}
	def(&l.File, 4<<30)
	def(&l.Unpacked, 4<<30)
	def(&l.Ratio, 200)
	def(&l.Messages, 256<<20)
	def(&l.Memory, 1<<30)
	if haveScratch {
		def(&l.Values, 1<<31)
	}
	def(&l.Values, trace.DefaultMaxValues)
	def(&l.Total, 16<<30)
	if l.Files <= 0 {
		l.Files = 1000
	}
	return l
}

// freeRatio is how much a packed file may unpack to before the ratio counts.
const freeRatio = 16 << 20

// ErrTooLarge is what errors about size limits wrap.
var ErrTooLarge = errors.New("too large")

// limitReader fails, and keeps failing, once more than max bytes were read.
type limitReader struct {
	r    io.Reader
	max  int64
	n    int64
	what string
	err  error
}

func (l *limitReader) Read(p []byte) (int, error) {
	if l.err != nil {
		return 0, l.err
	}
	n, err := l.r.Read(p)
	l.n += int64(n)
	if l.n > l.max {
		l.err = fmt.Errorf("%s is longer than %s: %w; cut it into shorter captures", l.what, size(l.max), ErrTooLarge)
		return 0, l.err
	}
	return n, err
}

// ratioReader fails once a packed stream unpacks to much more than it holds.
type ratioReader struct {
	r      io.Reader
	packed *countReader
	ratio  int64
	n      int64
	err    error
}

func (l *ratioReader) Read(p []byte) (int, error) {
	if l.err != nil {
		return 0, l.err
	}
	n, err := l.r.Read(p)
	l.n += int64(n)
	if l.n > freeRatio && l.n/l.ratio > l.packed.n {
		l.err = fmt.Errorf("%d packed bytes unpack to more than %s: %w for a capture; unpack it yourself if you trust it", l.packed.n, size(l.n), ErrTooLarge)
		return 0, l.err
	}
	return n, err
}

// countReader counts the bytes that pass and tells progress.
type countReader struct {
	r    io.Reader
	n    int64
	tell func(int64)
}

func (c *countReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	if c.tell != nil && n > 0 {
		c.tell(c.n)
	}
	return n, err
}

// size writes a number of bytes for people.
func size(n int64) string {
	switch {
	case n >= 1<<30:
		return fmt.Sprintf("%.3g GiB", float64(n)/(1<<30))
	case n >= 1<<20:
		return fmt.Sprintf("%.3g MiB", float64(n)/(1<<20))
	case n >= 1<<10:
		return fmt.Sprintf("%.3g KiB", float64(n)/(1<<10))
	}
	return fmt.Sprintf("%d bytes", n)
}

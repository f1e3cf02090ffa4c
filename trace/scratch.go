package trace

import "unsafe"

// Scratch keeps what is too much for memory. The package opens no file itself:
// whoever reads one may hand over a place for its samples. What is kept there is
// used like any other slice, so that a capture beyond memory is measured by the same
// code, to the same bit.
type Scratch interface {
	Column() (ScratchColumn, error)
}

// ScratchColumn is a run of bytes, written from first to last and then looked at.
type ScratchColumn interface {
	Append(b []byte) error
	// Bytes gives all of it, aligned for values of 8 bytes; it may be changed. Nothing
	// can be appended any more.
	Bytes() ([]byte, error)
}

// Beyond says what happens to a recording that is too much for memory. The zero
// value keeps everything in memory.
type Beyond struct {
	// InMemory is how many values may lie in memory; a recording with more goes to
	// Scratch whole.
	InMemory int64
	Scratch  Scratch
}

// room is how many of at most limit values there is memory for.
func (b Beyond) room(limit int64) int64 {
	if b.Scratch != nil {
		return min(b.InMemory, limit)
	}
	return limit
}

// held is a column while it is read: in memory, or from spill on in the scratch.
type held[T int64 | float64] struct {
	mem []T
	out ScratchColumn
}

func (h *held[T]) append(v []T) error {
	if h.out != nil {
		return h.out.Append(bytesOf(v))
	}
	h.mem = append(h.mem, v...)
	return nil
}

// spill moves the column to the scratch.
func (h *held[T]) spill(s Scratch) (err error) {
	if h.out, err = s.Column(); err != nil {
		return err
	}
	err = h.out.Append(bytesOf(h.mem))
	h.mem = nil
	return err
}

// all ends the column and gives its values.
func (h *held[T]) all() ([]T, error) {
	if h.out == nil {
		return h.mem, nil
	}
	b, err := h.out.Bytes()
	if err != nil || len(b) == 0 {
		return nil, err
	}
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(b))), len(b)/8), nil
}

// bytesOf looks at values as the bytes they lie in.
func bytesOf[T int64 | float64](v []T) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(v))), 8*len(v))
}

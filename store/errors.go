package store

import (
	"errors"
	"fmt"
)

// Errors a store gives; test with errors.Is.
var (
	ErrNotFound = errors.New("not there")
	// ErrChain: the entry does not carry on its device's chain, or its id is taken.
	ErrChain = errors.New("the entry does not follow the last one of its device")
	// ErrKeyUsed: the key of a command was used for another command.
	ErrKeyUsed = errors.New("this key was used for another command")
	// ErrNoCapture: an entry cites a capture that is not in the store.
	ErrNoCapture = errors.New("the capture is not in the store; upload it first")
	// ErrOffset: an upload is continued at the wrong place.
	ErrOffset = errors.New("the upload does not stand there")
	// ErrTooBig: a capture is larger than MaxCapture, or than was announced.
	ErrTooBig = errors.New("the capture is too large")
	// ErrFull: the disk is full. What was acknowledged is safe.
	ErrFull = errors.New("the disk is full: nothing was written, everything acknowledged before is safe; make room")
	// ErrInUse: another program writes to the store.
	ErrInUse = errors.New("another program has the store open for writing; stop it first")
	// ErrNewer: the store was written by a newer program.
	ErrNewer = errors.New("the store was written by a newer program; use that one")
	// ErrErased: the customer's data was erased on request.
	ErrErased = errors.New("erased on request")
	// ErrReadOnly: the store was opened for reading.
	ErrReadOnly = errors.New("the store is open for reading only")
)

// MaxCapture is the most bytes one capture may have where a store is not told another
// limit (our choice): 4 GiB, an hour of one channel at a megasample and a byte a sample.
const MaxCapture = 4 << 30

// Damaged says that a file of the store is damaged, and which.
type Damaged struct {
	File string
	Why  error
}

func (d *Damaged) Error() string {
	return fmt.Sprintf("%s is damaged (%v): do not write to it; restore the last backup beside it and run \"proveout verify\" on both", d.File, d.Why)
}

func (d *Damaged) Unwrap() error { return d.Why }

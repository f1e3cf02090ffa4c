//go:build !unix || solaris || aix

package intake

import (
	"errors"

	"proveout/trace"
)

// haveScratch: on this system a recording must fit into memory.
const haveScratch = false

type scratch struct{}

func newScratch(string) *scratch { return &scratch{} }

func (*scratch) Column() (trace.ScratchColumn, error) { return nil, errors.ErrUnsupported }

func (*scratch) empty() bool { return true }

func (*scratch) Close() error { return nil }

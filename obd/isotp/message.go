package isotp

import (
	"fmt"
	"time"

	"proveout/obd/canlog"
)

// Message is a whole diagnostic message and where it was read.
type Message struct {
	Bus      string
	ID       uint32
	Extended bool // 29-bit id
	NoID     bool // the capture gave no id
	Dir      canlog.Dir
	Data     []byte

	HasTime bool
	Time    int64 // of the first frame, ns
	End     int64 // of the last frame, ns

	First, Last int // records of the capture
	Line        int // first and last line, 0 in binary captures
	LastLine    int
	Byte        int64 // of the first record
	Frames      int   // frames that carried it; 0 for a message written as a hex line
	Doubles     int   // repeated frames skipped
}

// FlowStatus is what a flow control frame says.
type FlowStatus uint8

// Flow states of ISO 15765-2.
const (
	Continue FlowStatus = 0
	Wait     FlowStatus = 1
	Overflow FlowStatus = 2
)

// FlowControl is a decoded flow control frame.
type FlowControl struct {
	Status FlowStatus
	// BlockSize is the number of consecutive frames until the next flow control
	// frame; 0 means all.
	BlockSize uint8
	// SeparationTime is the least time between consecutive frames.
	SeparationTime time.Duration
}

// DecodeFlowControl reads the bytes of a flow control frame: 0x3S, block size,
// separation time. Block size and time count only for Continue.
func DecodeFlowControl(b []byte) (FlowControl, error) {
	if len(b) < 3 || b[0]>>4 != 3 {
		return FlowControl{}, fmt.Errorf("% X is not a flow control frame: 3 bytes that begin with 3", b)
	}
	f := FlowControl{Status: FlowStatus(b[0] & 0x0F)}
	if f.Status > Overflow {
		return f, fmt.Errorf("flow status %X is reserved", b[0]&0x0F)
	}
	if f.Status == Continue {
		f.BlockSize = b[1]
		f.SeparationTime = SeparationTime(b[2])
	}
	return f, nil
}

// SeparationTime decodes STmin: 00-7F milliseconds, F1-F9 hundreds of
// microseconds. Reserved values mean the longest time, 127 ms (from memory of
// ISO 15765-2): never an error, never zero.
func SeparationTime(b byte) time.Duration {
	switch {
	case b <= 0x7F:
		return time.Duration(b) * time.Millisecond
	case b >= 0xF1 && b <= 0xF9:
		return time.Duration(b-0xF0) * 100 * time.Microsecond
	}
	return 127 * time.Millisecond
}

// DiagnosticID reports whether an id is used for diagnosis: 700-7FF (7DF and
// 7E0-7EF by ISO 15765-4, the rest by makers' habit) and the 29-bit ids
// 18DAxxxx, 18DBxxxx. Other ids are the vehicle's own traffic.
func DiagnosticID(id uint32, extended bool) bool {
	if extended {
		return id>>16 == 0x18DA || id>>16 == 0x18DB
	}
	return id >= 0x700 && id <= 0x7FF
}

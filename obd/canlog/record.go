package canlog

// Kind says what a record is.
type Kind uint8

// A Frame is one CAN frame, transport bytes included. A Message is a whole
// diagnostic message without transport bytes, as plain hex lines give it.
const (
	Frame Kind = iota
	Message
)

// Dir is the direction of a record, where the capture says it.
type Dir uint8

// Directions. Tx is from the tester to the vehicle.
const (
	DirUnknown Dir = iota
	Rx
	Tx
)

// Flag is a property of a record.
type Flag uint16

// The properties of a record.
const (
	Extended Flag = 1 << iota // 29-bit id
	Remote                    // remote request, no data
	Error                     // error frame of the controller
	FD                        // CAN FD
	BRS                       // FD bit-rate switch
	ESI                       // FD error state of the sender
	NoID                      // the line gave no CAN id
	HasTime                   // Time is meaningful
)

// Record is one frame or message and where it was read.
type Record struct {
	Kind  Kind
	Dir   Dir
	Flags Flag
	// DLC is the length code: data bytes, or the length a remote frame asks for.
	// 9 to 15 is the raw code of a classic frame with 8 bytes.
	DLC  uint8
	ID   uint32 // CAN id without flag bits
	Bus  string // interface name, or "if" and the number in a pcapng file
	Data []byte
	// Time in nanoseconds, as written: since 1970, since midnight, or since the
	// start of the capture, whichever the capture uses. Only with HasTime.
	Time int64

	Index    int   // 0-based place among the records of the capture
	Line     int   // 1-based first line, 0 in binary captures
	LastLine int   // last line of a message over several lines, else Line
	Byte     int64 // offset of the first byte read for this record
	Raw      []byte
}

// Is reports whether all bits of f are set.
func (r *Record) Is(f Flag) bool { return r.Flags&f == f }

// Note is something found out while reading, with its place.
type Note struct {
	Index int    `json:"record"`         // record it belongs to, or the next one
	Line  int    `json:"line,omitempty"` // 1-based, 0 in binary captures
	Byte  int64  `json:"byte"`
	Text  string `json:"text"`
	// Lost is true when data could not be used because of it.
	Lost bool `json:"lost"`
}

// NoteLimit is how many notes of one capture are kept word for word; further
// ones are counted. Our choice: a person reads no more, and a file of a million
// bad lines must not cost a million strings.
const NoteLimit = 500

// Notes collects notes up to NoteLimit and counts the rest.
type Notes struct {
	list []Note
	more int
	lost bool
	last Note
}

// Add keeps or counts a note.
func (n *Notes) Add(x Note) {
	if len(n.list) < NoteLimit {
		n.list = append(n.list, x)
		return
	}
	n.more++
	n.lost = n.lost || x.Lost
	n.last = x
}

// Full reports whether further notes are only counted.
func (n *Notes) Full() bool { return len(n.list) >= NoteLimit }

// All gives the notes, and one that counts those beyond the limit.
func (n *Notes) All() []Note {
	out := append([]Note(nil), n.list...)
	if n.more > 0 {
		out = append(out, Note{Index: n.last.Index, Line: n.last.Line, Byte: n.last.Byte, Lost: n.lost,
			Text: plural(n.more, "further note is", "further notes are") + " not listed; this is the place of the last"})
	}
	return out
}

package isotp

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"

	"proveout/obd/canlog"
)

// Options of reassembly. The zero value is right for OBD.
type Options struct {
	// MaxLength is the longest message put together, in bytes; 0 means 65,535.
	// OBD needs 4,095. A declared length above it is noted and not followed.
	MaxLength int
	// Accept says which ids carry diagnosis; nil means DiagnosticID.
	Accept func(id uint32, extended bool) bool
	// AddressByte says that the first data byte is an address (extended and
	// mixed addressing) and the transport byte the second.
	AddressByte bool
}

// slow is N_Cr, the longest wait for a consecutive frame (ISO 15765-2: 1000 ms).
const slow = int64(1_000_000_000)

type key struct {
	bus     string
	id      uint32
	ext     bool
	noID    bool
	address byte
}

// reception is the state of one id.
type reception struct {
	msg     Message
	want    int // declared length, 0 when idle
	sn      byte
	prev    []byte // last consecutive frame, to know a double
	prevSet bool
	first   []byte
	orphans canlog.Note // first of a run of consecutive frames without a first frame
	count   int
}

// Reassembler turns records into messages. It is not safe for concurrent use.
type Reassembler struct {
	opt    Options
	by     map[key]*reception
	lastK  key
	lastR  *reception
	notes  canlog.Notes
	other  int // frames of ids that carry no diagnosis
	others map[uint32]struct{}
	at     canlog.Note // place of the first of them
	failed int         // error and remote frames
	failAt canlog.Note
	flow   int
	free   []byte // for the bytes of short messages
}

// New makes a reassembler.
func New(opt Options) *Reassembler {
	if opt.MaxLength <= 0 {
		opt.MaxLength = 65_535
	}
	if opt.Accept == nil {
		opt.Accept = DiagnosticID
	}
	return &Reassembler{opt: opt, by: map[key]*reception{}, others: map[uint32]struct{}{}}
}

// Add takes the next record. It returns the message the record completes, and
// true, or false. The message owns its bytes.
func (a *Reassembler) Add(rec *canlog.Record) (Message, bool) {
	if rec.Kind == canlog.Message {
		m := start(rec)
		m.Data, m.Frames = slices.Clone(rec.Data), 0
		return m, true
	}
	if rec.Flags&(canlog.Error|canlog.Remote) != 0 {
		if a.failed == 0 {
			a.failAt = place(rec)
		}
		a.failed++
		return Message{}, false
	}
	ext, noID := rec.Is(canlog.Extended), rec.Is(canlog.NoID)
	if !noID && !a.opt.Accept(rec.ID, ext) {
		if a.other == 0 {
			a.at = place(rec)
		}
		a.other++
		if len(a.others) < 1<<16 {
			a.others[rec.ID] = struct{}{}
		}
		return Message{}, false
	}
	d := rec.Data
	k := key{bus: rec.Bus, id: rec.ID, ext: ext, noID: noID}
	if a.opt.AddressByte {
		if len(d) == 0 {
			a.note(rec, true, "empty frame: the address byte is missing")
			return Message{}, false
		}
		k.address, d = d[0], d[1:]
	}
	if len(d) == 0 {
		a.note(rec, false, "frame without data")
		return Message{}, false
	}
	r := a.of(k)
	switch d[0] >> 4 {
	case 0:
		return a.single(r, rec, d)
	case 1:
		return a.begin(r, rec, d)
	case 2:
		return a.next(r, rec, d)
	case 3:
		a.control(rec, d)
	default:
		a.note(rec, false, fmt.Sprintf("transport byte %02X is reserved: not a diagnostic frame", d[0]))
	}
	return Message{}, false
}

func (a *Reassembler) of(k key) *reception {
	if a.lastR != nil && a.lastK == k {
		return a.lastR
	}
	r := a.by[k]
	if r == nil {
		r = &reception{}
		a.by[k] = r
	}
	a.lastK, a.lastR = k, r
	return r
}

// single reads a single frame: 0N, or 00 and a length byte in a frame of more
// than 8 bytes (CAN FD).
func (a *Reassembler) single(r *reception, rec *canlog.Record, d []byte) (Message, bool) {
	n, from := int(d[0]&0x0F), 1
	longest := 7
	if a.opt.AddressByte {
		longest = 6
	}
	if len(rec.Data) > 8 {
		longest = 62
		if n == 0 && len(d) > 1 {
			n, from = int(d[1]), 2
		}
	}
	a.endOrphans(r)
	if n == 0 || n > longest || from == 1 && n > 7 {
		a.note(rec, true, fmt.Sprintf("single frame with length %d is not valid and is ignored", n))
		return Message{}, false
	}
	if len(d) < from+n {
		a.note(rec, true, fmt.Sprintf("single frame says %d bytes and holds %d: it is not used", n, len(d)-from))
		return Message{}, false
	}
	a.drop(r, rec, "a new single frame began")
	m := start(rec)
	m.Data = a.own(d[from : from+n])
	return m, true
}

// own copies the bytes of a short message out of the frame, many into one block.
func (a *Reassembler) own(b []byte) []byte {
	if len(a.free) < len(b) {
		a.free = make([]byte, 4096)
	}
	out := a.free[:len(b):len(b)]
	a.free = a.free[len(b):]
	copy(out, b)
	return out
}

// begin reads a first frame: 1L LL, or 10 00 and a 32-bit length.
func (a *Reassembler) begin(r *reception, rec *canlog.Record, d []byte) (Message, bool) {
	a.endOrphans(r)
	if len(d) < 2 {
		a.note(rec, true, "first frame without its length")
		return Message{}, false
	}
	n, from := int64(d[0]&0x0F)<<8|int64(d[1]), 2
	if n == 0 {
		if len(d) < 6 {
			a.note(rec, true, "first frame without its 32-bit length")
			return Message{}, false
		}
		n, from = int64(d[2])<<24|int64(d[3])<<16|int64(d[4])<<8|int64(d[5]), 6
		if n <= 4095 {
			a.note(rec, true, fmt.Sprintf("first frame uses the long form for %d bytes, which is not valid; it is ignored", n))
			return Message{}, false
		}
	}
	least := int64(7) // what a single frame holds; first frames announce more
	if a.opt.AddressByte {
		least = 6
	}
	if len(rec.Data) > 8 {
		least = int64(len(d) - 2)
	}
	if n <= least {
		a.note(rec, true, fmt.Sprintf("first frame announces %d bytes, which fit a single frame; it is ignored", n))
		return Message{}, false
	}
	if len(rec.Data) < 8 {
		a.note(rec, true, fmt.Sprintf("first frame of %d bytes is cut short (8 are due); it is ignored", len(rec.Data)))
		return Message{}, false
	}
	if r.want > 0 && bytes.Equal(r.first, d) && !r.prevSet {
		a.note(rec, false, "first frame repeated; the repeat is skipped")
		r.msg.Doubles++
		return Message{}, false
	}
	a.drop(r, rec, "a new first frame began")
	if n > int64(a.opt.MaxLength) {
		a.note(rec, true, fmt.Sprintf("first frame announces %d bytes, more than the %d that are put together; the message is not used", n, a.opt.MaxLength))
		return Message{}, false
	}
	r.msg = start(rec)
	r.msg.Data = append(make([]byte, 0, min(int(n), 256)), d[from:]...)
	r.want, r.sn, r.prevSet = int(n), 1, false
	r.first = append(r.first[:0], d...)
	return Message{}, false
}

// next reads a consecutive frame: 2N and up to 7 data bytes.
func (a *Reassembler) next(r *reception, rec *canlog.Record, d []byte) (Message, bool) {
	if r.want == 0 {
		if r.prevSet && bytes.Equal(r.prev, d) && r.count == 0 {
			a.note(rec, false, fmt.Sprintf("consecutive frame %X repeated after its message ended; the repeat is skipped", d[0]&0x0F))
			return Message{}, false
		}
		if r.count == 0 {
			r.orphans = place(rec)
		}
		r.count++
		return Message{}, false
	}
	sn := d[0] & 0x0F
	if sn != r.sn {
		if r.prevSet && bytes.Equal(r.prev, d) {
			a.note(rec, false, fmt.Sprintf("consecutive frame %X repeated; the repeat is skipped", sn))
			r.msg.Doubles++
			return Message{}, false
		}
		lost := (sn - r.sn) & 0x0F
		why := fmt.Sprintf("consecutive frame %X came where %X was due: %d lost or out of order", sn, r.sn, lost)
		if r.prevSet && sn == (r.sn-1)&0x0F {
			why = fmt.Sprintf("consecutive frame %X came twice with different bytes", sn)
		}
		a.abandon(r, rec, why)
		// What follows belongs to the broken message and is counted, not noted one by one.
		r.orphans, r.count = place(rec), 1
		return Message{}, false
	}
	if rec.Is(canlog.HasTime) && r.msg.HasTime && rec.Time-r.msg.End > slow {
		a.note(rec, false, fmt.Sprintf("consecutive frame %X came %.1f s after the frame before; the standard allows 1 s", sn, float64(rec.Time-r.msg.End)/1e9))
	}
	r.sn = (r.sn + 1) & 0x0F
	r.prev, r.prevSet = append(r.prev[:0], d...), true
	part := d[1:]
	missing := r.want - len(r.msg.Data)
	if len(part) > missing {
		part = part[:missing]
	} else if len(part) < missing && len(rec.Data) < 8 {
		// A short frame in the middle of a message leaves a hole.
		a.abandon(r, rec, fmt.Sprintf("consecutive frame %X holds %d bytes although %d are still due", sn, len(part), missing))
		return Message{}, false
	}
	r.msg.Data = append(r.msg.Data, part...)
	r.msg.Last, r.msg.LastLine = rec.Index, rec.LastLine
	r.msg.End = rec.Time
	r.msg.Frames++
	if len(r.msg.Data) < r.want {
		return Message{}, false
	}
	m := r.msg
	r.want, r.msg = 0, Message{}
	return m, true
}

func (a *Reassembler) control(rec *canlog.Record, d []byte) {
	a.flow++
	f, err := DecodeFlowControl(d)
	if err != nil {
		a.note(rec, false, err.Error())
		return
	}
	if f.Status == Overflow {
		a.note(rec, false, "flow control says the message is too long for the receiver: it was not sent on")
	}
}

// drop ends a reception that something else interrupts.
func (a *Reassembler) drop(r *reception, rec *canlog.Record, why string) {
	if r.want > 0 {
		a.abandon(r, rec, why)
	}
	r.prevSet = false
}

// abandon notes that the message in reception is not used.
func (a *Reassembler) abandon(r *reception, rec *canlog.Record, why string) {
	a.note(rec, true, fmt.Sprintf("%s; the message that began %s with %d of %d bytes is not used", why, where(&r.msg), len(r.msg.Data), r.want))
	r.want, r.msg, r.prevSet = 0, Message{}, false
}

// endOrphans notes a run of consecutive frames that had no first frame.
func (a *Reassembler) endOrphans(r *reception) {
	if r.count == 0 {
		return
	}
	n := r.orphans
	n.Lost = true
	n.Text = fmt.Sprintf("%d consecutive frame(s) from here on have no first frame in the capture, or follow a broken one, and are not used", r.count)
	a.notes.Add(n)
	r.count = 0
}

// Flush notes messages that never ended. Call it after the last record.
func (a *Reassembler) Flush() {
	open := make([]*reception, 0, len(a.by))
	for _, r := range a.by {
		if r.want > 0 || r.count > 0 {
			open = append(open, r)
		}
	}
	slices.SortFunc(open, func(x, y *reception) int {
		return cmp.Or(cmp.Compare(x.msg.First, y.msg.First), cmp.Compare(x.orphans.Index, y.orphans.Index))
	})
	for _, r := range open {
		a.endOrphans(r)
		if r.want > 0 {
			a.notes.Add(canlog.Note{Index: r.msg.Last, Line: r.msg.LastLine, Byte: r.msg.Byte, Lost: true,
				Text: fmt.Sprintf("the capture ends inside the message that began %s: %d of %d bytes; it is not used", where(&r.msg), len(r.msg.Data), r.want)})
			r.want, r.msg = 0, Message{}
		}
	}
	if a.other > 0 {
		a.at.Text = fmt.Sprintf("%d frame(s) of %d other CAN id(s) are the vehicle's own traffic, not diagnosis; this is the first", a.other, len(a.others))
		a.notes.Add(a.at)
		a.other = 0
	}
	if a.failed > 0 {
		a.failAt.Text = fmt.Sprintf("%d error or remote frame(s) on the bus; this is the first", a.failed)
		a.notes.Add(a.failAt)
		a.failed = 0
	}
}

// Notes gives what was found out, in order of place.
func (a *Reassembler) Notes() []canlog.Note {
	out := a.notes.All()
	slices.SortStableFunc(out, func(x, y canlog.Note) int { return cmp.Compare(x.Index, y.Index) })
	return out
}

// FlowControls is how many flow control frames were seen.
func (a *Reassembler) FlowControls() int { return a.flow }

func (a *Reassembler) note(rec *canlog.Record, lost bool, text string) {
	n := place(rec)
	n.Lost, n.Text = lost, name(rec)+": "+text
	a.notes.Add(n)
}

func place(rec *canlog.Record) canlog.Note {
	return canlog.Note{Index: rec.Index, Line: rec.Line, Byte: rec.Byte}
}

func name(rec *canlog.Record) string {
	switch {
	case rec.Is(canlog.NoID):
		return "frame without id"
	case rec.Is(canlog.Extended):
		return fmt.Sprintf("%08X", rec.ID)
	}
	return fmt.Sprintf("%03X", rec.ID)
}

func where(m *Message) string {
	if m.Line > 0 {
		return fmt.Sprintf("in line %d", m.Line)
	}
	return fmt.Sprintf("at byte %d", m.Byte)
}

func start(rec *canlog.Record) Message {
	return Message{
		Bus: rec.Bus, ID: rec.ID, Extended: rec.Is(canlog.Extended), NoID: rec.Is(canlog.NoID), Dir: rec.Dir,
		HasTime: rec.Is(canlog.HasTime), Time: rec.Time, End: rec.Time,
		First: rec.Index, Last: rec.Index, Line: rec.Line, LastLine: max(rec.Line, rec.LastLine), Byte: rec.Byte, Frames: 1,
	}
}

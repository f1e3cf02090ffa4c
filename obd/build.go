package obd

import (
	"cmp"
	"fmt"
	"slices"

	"proveout/obd/canlog"
	"proveout/obd/isotp"
)

// Builder makes a Session from records or messages, one at a time, so that a
// capture need not be in memory.
type Builder struct {
	s        *Session
	frames   *isotp.Reassembler
	modules  map[moduleKey]*Module
	last     *Module
	notes    canlog.Notes
	asked    map[uint32][]byte // ids asked for, by the CAN id of the answer; 0 for all
	erasing  []*erasure        // clear requests not yet answered by all
	told     map[string]bool   // notes given once
	vins     map[string]bool
	pieces   []piece // used again for every answer
	requests int
	answered [2]byte // service and id of the answer since the last request
	timed    bool
	clock    int64
}

type moduleKey struct {
	bus  string
	id   uint32
	ext  bool
	noID bool
}

// erasure is a request to erase that was seen.
type erasure struct {
	target   string // module address, "" for all
	service  byte
	group    int
	answered int
	source   Source
	hasTime  bool
	time     int64
}

// NewBuilder makes a builder.
func NewBuilder() *Builder {
	return &Builder{s: &Session{HasTime: true}, frames: isotp.New(isotp.Options{}), modules: map[moduleKey]*Module{},
		asked: map[uint32][]byte{}, told: map[string]bool{}, vins: map[string]bool{}}
}

// Read makes the session of a whole capture. The notes of the capture are taken
// over.
func Read(log *canlog.Log) *Session {
	b := NewBuilder()
	for i := range log.Records {
		b.Record(&log.Records[i])
	}
	return b.Session(log.Notes...)
}

// ReadMessages makes a session of messages that are already put together.
func ReadMessages(messages []isotp.Message) *Session {
	b := NewBuilder()
	for _, m := range messages {
		b.Message(m)
	}
	return b.Session()
}

// Record takes the next record of a capture.
func (b *Builder) Record(rec *canlog.Record) {
	b.s.Records++
	if m, ok := b.frames.Add(rec); ok {
		b.Message(m)
	}
}

// Message takes the next message, request or answer.
func (b *Builder) Message(m isotp.Message) {
	if len(m.Data) == 0 {
		return
	}
	b.s.Messages++
	b.watchTime(&m)
	if olderFraming(&m) {
		mod := b.module(&m)
		b.raw(mod, &m, m.Data, "framing of an older bus (three header bytes and a checksum) is not read; record it again without headers")
		return
	}
	if isRequest(&m) {
		b.request(&m)
		return
	}
	mod := b.module(&m)
	if m.NoID {
		b.watchDoubles(mod, &m)
	}
	b.answer(mod, &m)
}

// olderFraming reports whether a line without CAN id looks like a message of an
// older bus with its header: 48 6B and 68 6A (SAE J1850, ISO 9141), or a length
// byte of 81 to BF before or after the tester's address F1 (ISO 14230).
func olderFraming(m *isotp.Message) bool {
	d := m.Data
	if !m.NoID || m.Frames > 0 || len(d) < 5 {
		return false
	}
	switch {
	case d[0] == 0x48 && d[1] == 0x6B, d[0] == 0x68 && d[1] == 0x6A:
		return true
	}
	return d[0]>>6 == 2 && int(d[0]&0x3F) == len(d)-4 && (d[1] == 0xF1 || d[2] == 0xF1)
}

// watchDoubles notes when one request without ids got two like answers: then two
// modules answered and the capture cannot tell them apart.
func (b *Builder) watchDoubles(mod *Module, m *isotp.Message) {
	if m.Data[0] == 0x7F || len(m.Data) < 2 {
		return
	}
	what := [2]byte{m.Data[0], m.Data[1]}
	if m.Data[0] == 0x43 || m.Data[0] == 0x47 || m.Data[0] == 0x4A {
		what[1] = 0 // the count may differ
	}
	if b.requests > 0 && b.answered == what && !(what[0] == 0x49 && len(m.Data) == 7) {
		b.noteOnce(mod, m, "two answers to one request and no CAN ids: more than one module answered, and they cannot be told apart; record with ids")
	}
	b.answered = what
}

func (b *Builder) watchTime(m *isotp.Message) {
	if !m.HasTime {
		b.s.HasTime = false
		return
	}
	if b.timed && m.Time < b.clock {
		b.note(m, false, fmt.Sprintf("time runs back by %.3f s here; times are kept as written", float64(b.clock-m.Time)/1e9))
	}
	if !b.timed || m.Time < b.s.First {
		b.s.First = m.Time
	}
	if !b.timed || m.End > b.s.Last {
		b.s.Last = m.End
	}
	b.timed, b.clock = true, m.Time
}

// isRequest tells requests from answers: by the ids of ISO 15765-4, else by bit
// 6 of the service byte, which every answer has.
func isRequest(m *isotp.Message) bool {
	switch {
	case m.NoID:
	case m.Extended && (m.ID>>16 == 0x18DB || m.ID>>16 == 0x18DA && m.ID&0xFF == 0xF1):
		return true
	case m.Extended && m.ID>>8 == 0x18DAF1:
		return false
	case !m.Extended && m.ID >= 0x7DF && m.ID <= 0x7E7:
		return true
	case !m.Extended && m.ID >= 0x7E8 && m.ID <= 0x7EF:
		return false
	}
	return m.Data[0]&0x40 == 0
}

// target is the CAN id that the module a request goes to answers with, 0 for
// all modules.
func target(m *isotp.Message) uint32 {
	switch {
	case m.NoID || !m.Extended && m.ID == 0x7DF || m.Extended && m.ID>>16 == 0x18DB:
		return 0
	case m.Extended:
		return 0x18DAF100 | m.ID>>8&0xFF
	}
	return m.ID + 8
}

func address(id uint32, extended bool) string {
	switch {
	case id == 0:
		return ""
	case extended:
		return fmt.Sprintf("%08X", id)
	}
	return fmt.Sprintf("%03X", id)
}

func (b *Builder) module(m *isotp.Message) *Module {
	k := moduleKey{m.Bus, m.ID, m.Extended, m.NoID}
	if k.noID {
		k.id, k.ext = 0, false
	}
	if b.last != nil && b.last.key == k {
		return b.last
	}
	mod := b.modules[k]
	if mod == nil {
		mod = &Module{Bus: m.Bus, key: k, waiting: map[byte]Source{}, lastClear: -1}
		if !m.NoID {
			mod.Address = address(m.ID, m.Extended)
		}
		b.modules[k] = mod
		b.s.Modules = append(b.s.Modules, mod)
	}
	b.last = mod
	return mod
}

func (b *Builder) note(m *isotp.Message, lost bool, text string) {
	b.notes.Add(canlog.Note{Index: m.First, Line: m.Line, Byte: m.Byte, Lost: lost, Text: text})
}

// noteOnce gives a note the first time only; polling repeats everything.
func (b *Builder) noteOnce(mod *Module, m *isotp.Message, text string) {
	k := mod.Bus + "\x00" + mod.Address + "\x00" + text
	if !b.told[k] {
		b.told[k] = true
		b.note(m, false, mod.label()+": "+text)
	}
}

func (m *Module) label() string {
	if m.Address == "" {
		return "module without id"
	}
	return m.Address
}

func source(m *isotp.Message) Source {
	return Source{Record: m.First, Last: m.Last, Line: m.Line, LastLine: m.LastLine, Byte: m.Byte}
}

// request looks at what the tester asked: the ids, to cut answers rightly, and
// requests to erase.
func (b *Builder) request(m *isotp.Message) {
	b.requests++
	b.answered = [2]byte{}
	to := target(m)
	if to == 0 {
		clear(b.asked)
	}
	var ids []byte
	switch d := m.Data; d[0] {
	case 0x01:
		ids = d[1:]
	case 0x02:
		for i := 1; i < len(d); i += 2 {
			ids = append(ids, d[i])
		}
	case 0x04, 0x14:
		e := &erasure{target: address(to, m.Extended), service: d[0], group: AllGroups, source: source(m), hasTime: m.HasTime, time: m.Time}
		if d[0] == 0x14 && len(d) >= 4 {
			e.group = int(d[1])<<16 | int(d[2])<<8 | int(d[3])
		}
		b.erase(e)
	case 0x03, 0x06, 0x07, 0x09, 0x0A, 0x19:
	default:
		b.s.Raw = append(b.s.Raw, Raw{Address: address(to, m.Extended), Data: m.Data, Why: fmt.Sprintf("request of service %02X is not decoded", d[0]), HasTime: m.HasTime, Time: m.Time, Source: source(m)})
	}
	b.asked[to] = ids
}

// erase remembers a request to erase. Only the latest of a service and target
// can still be answered.
func (b *Builder) erase(e *erasure) {
	for i, old := range b.erasing {
		if old.service == e.service && old.target == e.target {
			b.unanswered(old)
			b.erasing[i] = e
			return
		}
	}
	b.erasing = append(b.erasing, e)
}

func (b *Builder) unanswered(e *erasure) {
	if e.answered == 0 {
		b.s.Clears = append(b.s.Clears, &Clear{Module: e.target, Service: e.service, Group: e.group, Outcome: Unanswered, HasTime: e.hasTime, Time: e.time, Source: e.source})
	}
}

// askedOf gives the ids last asked of a module.
func (b *Builder) askedOf(mod *Module) []byte {
	if ids, ok := b.asked[mod.key.id]; ok {
		return ids
	}
	return b.asked[0]
}

// Session finishes the reading and gives the session. Notes of the capture are
// merged in, in order of place.
func (b *Builder) Session(captured ...canlog.Note) *Session {
	b.frames.Flush()
	for _, e := range b.erasing {
		b.unanswered(e)
	}
	slices.SortStableFunc(b.s.Clears, func(x, y *Clear) int { return cmp.Compare(x.Source.Record, y.Source.Record) })
	for _, m := range b.s.Modules {
		b.finish(m)
	}
	if b.s.MixedVehicles = len(b.s.VINs) > 1; b.s.MixedVehicles {
		b.notes.Add(canlog.Note{Text: fmt.Sprintf("%d different VINs in one capture (%v): it mixes vehicles; split it before judging it", len(b.s.VINs), b.s.VINs[:min(len(b.s.VINs), 4)])})
	}
	b.s.HasTime = b.s.HasTime && b.timed
	b.s.Notes = slices.Concat(captured, b.frames.Notes(), b.notes.All())
	slices.SortStableFunc(b.s.Notes, func(x, y canlog.Note) int { return cmp.Compare(x.Index, y.Index) })
	return b.s
}

// finish puts a module's parameters in order, gives oxygen sensors their place
// and notes what stayed open.
func (b *Builder) finish(m *Module) {
	slices.SortFunc(m.Parameters, func(x, y *Series) int {
		return cmp.Or(cmp.Compare(x.PID, y.PID), cmp.Compare(x.Signal.at, y.Signal.at), cmp.Compare(x.Signal.low, y.Signal.low), cmp.Compare(x.ID, y.ID))
	})
	for _, s := range m.Parameters {
		if n := sensorNumber(s.PID); n > 0 && m.sensors != 0 {
			s.Place = sensorAt(m.sensors, n)
		}
		if max := m.Series(s.Signal.scaledBy); max != nil {
			got := max.Signal.Unit.FromSI(max.Samples[len(max.Samples)-1].Value)
			if got != 0 && got != s.Signal.defaultMaximum {
				s.Factor = got / s.Signal.defaultMaximum
				s.Hint = fmt.Sprintf("the module gives %g %s as the maximum (PID %02X) where %g is usual: the values may have to be multiplied by %.4g, which has not been done", got, max.Unit, max.PID, s.Signal.defaultMaximum, s.Factor)
			}
		}
	}
	open := make([]byte, 0, len(m.waiting))
	for sid := range m.waiting {
		open = append(open, sid)
	}
	slices.Sort(open)
	for _, sid := range open {
		w := m.waiting[sid]
		b.notes.Add(canlog.Note{Index: w.Record, Line: w.Line, Byte: w.Byte,
			Text: fmt.Sprintf("%s said that the answer to service %02X takes longer (78), and no final answer is in the capture", m.label(), sid)})
	}
}

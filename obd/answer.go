package obd

import (
	"fmt"
	"slices"

	"proveout/obd/isotp"
)

// answer takes one answer of a module.
func (b *Builder) answer(mod *Module, m *isotp.Message) {
	d := m.Data
	if d[0] == 0x7F {
		b.refusal(mod, m)
		return
	}
	delete(mod.waiting, d[0]&^0x40)
	switch d[0] {
	case 0x41:
		b.current(mod, m)
	case 0x42:
		b.frame(mod, m)
	case 0x43, 0x47, 0x4A:
		kinds := map[byte]CodeKind{0x43: Confirmed, 0x47: Pending, 0x4A: Permanent}
		codes, count, note := decodeCodes(d[1:], !m.NoID || m.Frames > 0)
		b.codes(mod, m, CodeList{Kind: kinds[d[0]], Codes: codes, Count: count}, note)
	case 0x44:
		b.erased(mod, m, 0x04)
	case 0x46:
		b.monitors(mod, m)
	case 0x49:
		b.info(mod, m)
	case 0x54:
		b.erased(mod, m, 0x14)
	case 0x59:
		if len(d) < 3 || d[1] != 0x02 {
			b.raw(mod, m, d, "this report of service 19 is not decoded")
			return
		}
		codes, note := decodeStatusCodes(d[3:])
		b.codes(mod, m, CodeList{Kind: ByStatus, Codes: codes, Count: -1, Mask: Status(d[2])}, note)
	default:
		b.raw(mod, m, d, fmt.Sprintf("answer %02X is not decoded", d[0]))
	}
}

// raw keeps bytes that are not decoded.
func (b *Builder) raw(mod *Module, m *isotp.Message, data []byte, why string) {
	mod.Raw = append(mod.Raw, Raw{Address: mod.Address, Data: data, Why: why, HasTime: m.HasTime, Time: m.Time, Source: source(m)})
	b.noteOnce(mod, m, why+"; the bytes are kept")
}

// refusal reads 7F, service, code.
func (b *Builder) refusal(mod *Module, m *isotp.Message) {
	d := m.Data
	if len(d) < 3 {
		b.raw(mod, m, d, "negative response is cut short")
		return
	}
	text, _ := NegativeText(d[2])
	n := Negative{Service: d[1], Code: d[2], Text: text, Pending: d[2] == 0x78, Source: source(m)}
	mod.Negative = append(mod.Negative, n)
	if n.Pending {
		mod.waiting[n.Service] = n.Source
		return
	}
	delete(mod.waiting, n.Service)
	if n.Service == 0x04 || n.Service == 0x14 {
		c := b.cleared(mod, m, n.Service)
		c.Outcome = Refused
		c.Reason = fmt.Sprintf("%s (%02X)", text, n.Code)
	}
}

// current reads the answer of service 01: one or more parameter ids.
func (b *Builder) current(mod *Module, m *isotp.Message) {
	src := source(m)
	pieces, rest := split(b.pieces[:0], m.Data[1:], 1, b.askedOf(mod))
	b.pieces = pieces
	for _, p := range pieces {
		switch {
		case p.pid%0x20 == 0:
			mod.SupportedPIDs = addIDs(mod.SupportedPIDs, Supported(p.pid, p.data))
		case p.pid == 0x01 || p.pid == 0x41:
			if r, err := DecodeReadiness(p.pid, p.data); err == nil {
				mod.Readiness = append(mod.Readiness, ReadinessReading{Readiness: r, HasTime: m.HasTime, Time: m.Time, Source: src, Clears: mod.Clears})
			}
		case p.pid == 0x13 || p.pid == 0x1D:
			if mod.sensors != 0 && mod.sensors != p.pid {
				b.noteOnce(mod, m, "PID 13 and 1D were both answered; they count oxygen sensors differently and a module should answer one: the first is used")
				break
			}
			mod.sensors, mod.Sensors, mod.SensorsFrom = p.pid, Sensors(p.pid, p.data[0]), src
		default:
			for _, s := range Signals(p.pid) {
				if v, ok := s.decode(p.data); ok {
					mod.sample(v, m, src)
				}
			}
		}
	}
	b.rest(mod, m, rest)
}

// rest keeps what could not be cut into parameter ids.
func (b *Builder) rest(mod *Module, m *isotp.Message, rest []byte) {
	if len(rest) == 0 || m.Frames == 0 && len(rest) < len(m.Data)-1 && filler(rest) {
		return // the fill of a frame, in a line that was written without its length byte
	}
	why := fmt.Sprintf("parameter %02X is not in our tables", rest[0])
	if name, ok := PIDName(rest[0]); ok {
		why = fmt.Sprintf("%d byte(s) left over: too few for parameter %02X (%s)", len(rest), rest[0], name)
	}
	b.raw(mod, m, rest, why)
}

// sample adds a value to its series.
func (m *Module) sample(v Value, msg *isotp.Message, src Source) {
	if m.bySignal == nil {
		m.bySignal = make([]*Series, len(signalsByID()))
	}
	s := m.bySignal[v.Signal.number]
	if s == nil {
		s = &Series{Signal: v.Signal, ID: v.Signal.ID, Name: v.Signal.Name, PID: v.Signal.PID, Unit: v.Signal.Unit.Symbol, SIUnit: v.Signal.siSymbol(), HasTime: true}
		m.bySignal[v.Signal.number] = s
	}
	if v.NotUsed {
		s.NotUsed++
		return
	}
	if len(s.Samples) == 0 {
		m.Parameters = append(m.Parameters, s)
	}
	s.HasTime = s.HasTime && msg.HasTime
	s.Samples = append(s.Samples, Sample{Time: msg.Time, Value: v.SI(), Text: v.Text, Source: src})
}

// frame reads the answer of service 02: parameter id, frame number, data.
func (b *Builder) frame(mod *Module, m *isotp.Message) {
	src := source(m)
	pieces, rest := split(b.pieces[:0], m.Data[1:], 2, b.askedOf(mod))
	b.pieces = pieces
	for _, p := range pieces {
		f := mod.freezeFrame(p.frame)
		switch {
		case p.pid%0x20 == 0:
			f.Supported = addIDs(f.Supported, Supported(p.pid, p.data))
		case p.pid == 0x02:
			f.Code, f.CodeRead = Code{Raw: uint16(p.data[0])<<8 | uint16(p.data[1])}, true
			f.CodeSource = src
		default:
			for _, v := range DecodePID(p.pid, p.data) {
				if !v.NotUsed {
					f.Values = append(f.Values, FrameValue{v, src})
				}
			}
			if len(Signals(p.pid)) == 0 {
				f.Unknown = append(f.Unknown, RawParam{p.pid, p.data, src})
			}
		}
	}
	if len(rest) > 2 && pids()[rest[0]] == nil {
		f := mod.freezeFrame(rest[1])
		f.Unknown = append(f.Unknown, RawParam{rest[0], rest[2:], src})
	}
	b.rest(mod, m, rest)
}

// freezeFrame finds or makes the frame of a number read since the last clear.
func (m *Module) freezeFrame(n byte) *FreezeFrame {
	for i := len(m.FreezeFrames) - 1; i >= 0 && m.FreezeFrames[i].Clears == m.Clears; i-- {
		if f := m.FreezeFrames[i]; f.Number == n {
			return f
		}
	}
	f := &FreezeFrame{Number: n, Clears: m.Clears}
	m.FreezeFrames = append(m.FreezeFrames, f)
	return f
}

func (b *Builder) codes(mod *Module, m *isotp.Message, l CodeList, note string) {
	l.HasTime, l.Time, l.Source, l.Clears = m.HasTime, m.Time, source(m), mod.Clears
	if l.Codes == nil {
		l.Codes = []Code{} // read, and none: not the same as not read
	}
	mod.Codes = append(mod.Codes, l)
	if note != "" {
		b.note(m, false, mod.label()+": "+note)
	}
}

func (b *Builder) monitors(mod *Module, m *isotp.Message) {
	results, supported, asked, rest := decodeMonitors(m.Data[1:])
	if asked {
		mod.SupportedMonitors = addIDs(mod.SupportedMonitors, supported)
	}
	for _, r := range results {
		mod.Monitors = append(mod.Monitors, MonitorReading{r, source(m), mod.Clears})
		if !r.Scaled {
			b.noteOnce(mod, m, fmt.Sprintf("scaling id %02X is reserved: monitor %02X test %02X is shown raw", r.UASID, r.MID, r.TID))
		}
	}
	if len(rest) > 0 && !filler(rest) {
		b.raw(mod, m, rest, "a test result of service 06 is cut short (9 bytes are due)")
	}
}

func (b *Builder) info(mod *Module, m *isotp.Message) {
	body := m.Data[1:]
	if m.NoID && m.Frames == 0 && len(body) == 6 && body[0] == 0x02 {
		// Older buses send the VIN in five messages of four characters.
		if body = mod.vin.add(body); body == nil {
			return
		}
	}
	in, supported, note := decodeInfo(body)
	if note != "" {
		b.note(m, false, fmt.Sprintf("%s: info type %02X: %s", mod.label(), in.Type, note))
	}
	if supported != nil {
		mod.SupportedInfo = addIDs(mod.SupportedInfo, supported)
		return
	}
	in.Source, in.Clears = source(m), mod.Clears
	mod.Info = append(mod.Info, in)
	if in.Type == 0x0A && len(in.Values) > 0 {
		mod.Name = in.Values[len(in.Values)-1]
	}
	if in.VIN != "" && !b.vins[string(in.VIN)] {
		b.vins[string(in.VIN)] = true
		b.s.VINs = append(b.s.VINs, in.VIN)
		if in.Hint != "" {
			b.note(m, false, in.Hint)
		}
	}
}

// legacyVIN collects the five messages of a VIN on older buses.
type legacyVIN struct {
	next byte
	text []byte
}

// add takes "02 number c c c c" and returns a whole item when the fifth came.
func (v *legacyVIN) add(b []byte) []byte {
	if b[1] == 1 {
		*v = legacyVIN{next: 1}
	}
	if b[1] != v.next || v.next == 0 {
		*v = legacyVIN{}
		return b // out of order: shown as it is, with a note that it is no VIN
	}
	v.text = append(v.text, b[2:]...)
	v.next++
	if v.next <= 5 {
		return nil
	}
	whole := append([]byte{0x02, 0x01}, v.text...)
	*v = legacyVIN{}
	return whole
}

// erased takes a positive answer to a clear.
func (b *Builder) erased(mod *Module, m *isotp.Message, service byte) {
	c := b.cleared(mod, m, service)
	c.Outcome = Accepted
	c.Items = mod.destroyed(c.Group == AllGroups || c.Group < 0 || service == 0x04)
	mod.Clears++
	mod.lastClear = m.First
}

// cleared makes the record of an answer to a clear, with the group from its
// request when that was seen.
func (b *Builder) cleared(mod *Module, m *isotp.Message, service byte) *Clear {
	c := &Clear{Module: mod.Address, Service: service, Group: -1, HasTime: m.HasTime, Time: m.Time, Source: source(m)}
	if service == 0x04 {
		c.Group = AllGroups
	}
	var asked *erasure // the latest request this can be the answer to
	for _, e := range b.erasing {
		if e.service == service && (e.target == "" || e.target == mod.Address) && (asked == nil || e.source.Record > asked.source.Record) {
			asked = e
		}
	}
	if asked != nil {
		c.Group = asked.group
		asked.answered++
	}
	b.s.Clears = append(b.s.Clears, c)
	return c
}

func addIDs(have, more []byte) []byte {
	for _, id := range more {
		if !slices.Contains(have, id) {
			have = append(have, id)
		}
	}
	slices.Sort(have)
	return have
}

package canlog

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"
)

// iface is one interface of a pcapng section.
type iface struct {
	link  uint32
	perS  uint64 // time units in a second
	known bool
}

// Block types of pcapng (IETF draft-ietf-opsawg-pcapng).
const (
	blockSection   = 0x0A0D0D0A
	blockInterface = 1
	blockSimple    = 3
	blockEnhanced  = 6
)

// openPCAPNG checks the section header; blocks are read one by one.
func (r *Reader) openPCAPNG() error {
	head, _ := r.br.Peek(12)
	if len(head) < 12 {
		return errors.New("pcapng file ends in its first block")
	}
	switch {
	case binary.LittleEndian.Uint32(head[8:]) == 0x1A2B3C4D:
		r.packet.order = binary.LittleEndian
	case binary.BigEndian.Uint32(head[8:]) == 0x1A2B3C4D:
		r.packet.order = binary.BigEndian
	default:
		return errors.New("pcapng file has no byte-order mark at byte 8: it is damaged")
	}
	return nil
}

// block reads one block; ok when it held a CAN frame.
func (r *Reader) block(rec *Record) (ok bool, err error) {
	p := &r.packet
	start := r.byte
	if head, _ := r.br.Peek(12); len(head) == 12 && binary.LittleEndian.Uint32(head) == blockSection {
		p.order = binary.LittleEndian // a new section may have the other byte order
		if binary.BigEndian.Uint32(head[8:]) == 0x1A2B3C4D {
			p.order = binary.BigEndian
		}
		p.ifaces = nil
	}
	if !r.fill(8, "block header", true) {
		return false, nil
	}
	kind, total := p.order.Uint32(p.buf), p.order.Uint32(p.buf[4:])
	if total < 12 || total > maxPacket || total%4 != 0 {
		p.ended = true
		r.note(0, start, true, fmt.Sprintf("block at byte %d says it has %d bytes: the file is damaged from here on", start, total))
		return false, nil
	}
	if !r.fill(int(total)-8, "block", false) {
		return false, nil
	}
	body := p.buf[:total-12]
	switch kind {
	case blockInterface:
		p.ifaces = append(p.ifaces, readInterface(body, p.order))
	case blockEnhanced:
		if len(body) < 20 {
			r.note(0, start, true, fmt.Sprintf("packet block at byte %d is too short", start))
			return false, nil
		}
		n := p.order.Uint32(body[12:])
		if uint64(n) > uint64(len(body)-20) {
			r.note(0, start, true, fmt.Sprintf("packet at byte %d is longer than its block", start))
			return false, nil
		}
		return r.ngFrame(rec, start, int(p.order.Uint32(body)), body[20:20+n], int(p.order.Uint32(body[16:])),
			uint64(p.order.Uint32(body[4:]))<<32|uint64(p.order.Uint32(body[8:])), true), nil
	case blockSimple:
		if len(body) < 4 {
			r.note(0, start, true, fmt.Sprintf("packet block at byte %d is too short", start))
			return false, nil
		}
		orig := p.order.Uint32(body)
		return r.ngFrame(rec, start, 0, body[4:], int(orig), 0, false), nil
	}
	return false, nil
}

func (r *Reader) ngFrame(rec *Record, start int64, n int, b []byte, orig int, stamp uint64, timed bool) bool {
	if n < 0 || n >= len(r.packet.ifaces) {
		r.note(0, start, true, fmt.Sprintf("packet at byte %d names interface %d, which the file does not describe", start, n))
		return false
	}
	f := r.packet.ifaces[n]
	*rec = Record{Byte: start, Raw: b, Bus: r.intern([]byte("if" + strconv.Itoa(n)))}
	if timed {
		sec, rest := stamp/f.perS, stamp%f.perS
		if sec < math.MaxInt64/1_000_000_000-1 {
			rec.Time = int64(sec)*1_000_000_000 + int64(float64(rest)/float64(f.perS)*1e9)
			rec.Flags |= HasTime
		}
	}
	return r.canFrame(rec, f.link, b, orig, r.packet.order)
}

// readInterface reads link type and time resolution (option 9: bit 7 clear, a
// power of ten; set, a power of two; microseconds without it).
func readInterface(b []byte, o binary.ByteOrder) iface {
	f := iface{perS: 1_000_000}
	if len(b) < 8 {
		return f
	}
	f.link, f.known = uint32(o.Uint16(b)), true
	for b = b[8:]; len(b) >= 4; {
		code, n := o.Uint16(b), int(o.Uint16(b[2:]))
		if code == 0 || len(b) < 4+n {
			break
		}
		if code == 9 && n == 1 {
			e := b[4]
			switch {
			case e&0x80 != 0 && e&0x7F < 63:
				f.perS = 1 << (e & 0x7F)
			case e <= 18:
				f.perS = 1
				for ; e > 0; e-- {
					f.perS *= 10
				}
			}
		}
		b = b[min(len(b), 4+(n+3)&^3):]
	}
	return f
}

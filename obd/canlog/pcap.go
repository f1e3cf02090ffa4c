package canlog

import (
	"encoding/binary"
	"fmt"
	"io"
)

// Link types (tcpdump.org link-layer list).
const (
	linkSLL  = 113 // Linux cooked capture: CAN fields in host byte order
	linkCAN  = 227 // SocketCAN: CAN id big-endian, whatever the file is
	linkSLL2 = 276
)

func readable(link uint32) bool { return link == linkSLL || link == linkCAN || link == linkSLL2 }

// maxPacket bounds one packet: a CAN XL frame is 2 kB; libpcap's own limit is 256 kB.
const maxPacket = 1 << 18

func isMagic(v uint32) bool { return v == 0xA1B2C3D4 || v == 0xA1B23C4D }

// packetFile is the state of a pcap or pcapng file.
type packetFile struct {
	order  binary.ByteOrder
	nanos  bool
	link   uint32
	ifaces []iface // pcapng
	buf    []byte
	ended  bool
}

// openPCAP reads the 24-byte file header (pcap-savefile(5)).
func (r *Reader) openPCAP() error {
	var h [24]byte
	if n, err := io.ReadFull(r.br, h[:]); err != nil {
		return fmt.Errorf("pcap file ends in its header after %d of 24 bytes", n)
	}
	r.byte = 24
	p := &r.packet
	p.order = binary.LittleEndian
	if !isMagic(p.order.Uint32(h[:])) {
		p.order = binary.BigEndian
	}
	p.nanos = p.order.Uint32(h[:]) == 0xA1B23C4D
	p.link = p.order.Uint32(h[20:]) & 0xFFFF
	if !readable(p.link) {
		return fmt.Errorf("pcap file holds link type %d; CAN captures have 227, or 113 and 276 for a cooked capture: record on the CAN interface", p.link)
	}
	return nil
}

// nextPacket gives the next CAN frame of either packet format.
func (r *Reader) nextPacket(rec *Record) error {
	for !r.packet.ended {
		var ok bool
		var err error
		if r.format == PCAP {
			ok, err = r.pcapPacket(rec)
		} else {
			ok, err = r.block(rec)
		}
		if err != nil || ok {
			return err
		}
	}
	return io.EOF
}

// fill reads n bytes of a packet. A file that ends inside is noted, not an error.
func (r *Reader) fill(n int, what string, begins bool) bool {
	if cap(r.packet.buf) < n {
		r.packet.buf = make([]byte, n, max(n, 4096))
	}
	r.packet.buf = r.packet.buf[:n]
	got, err := io.ReadFull(r.br, r.packet.buf)
	r.byte += int64(got)
	if err == nil {
		return true
	}
	r.packet.ended = true
	if err != io.EOF || !begins { // the end is only clean between two packets
		r.note(0, r.byte, true, fmt.Sprintf("the file ends inside a %s at byte %d (%d of %d bytes); what came before is read", what, r.byte, got, n))
	}
	return false
}

func (r *Reader) pcapPacket(rec *Record) (bool, error) {
	p := &r.packet
	start := r.byte
	if !r.fill(16, "packet header", true) {
		return false, nil
	}
	sec, frac := int64(p.order.Uint32(p.buf)), int64(p.order.Uint32(p.buf[4:]))
	n, orig := p.order.Uint32(p.buf[8:]), p.order.Uint32(p.buf[12:])
	if n > maxPacket {
		p.ended = true
		r.note(0, start, true, fmt.Sprintf("packet at byte %d says it has %d bytes, which no CAN frame has: the file is damaged from here on", start, n))
		return false, nil
	}
	if !r.fill(int(n), "packet", false) {
		return false, nil
	}
	if !p.nanos {
		frac *= 1000
	}
	*rec = Record{Byte: start, Raw: p.buf, Time: sec*1_000_000_000 + frac, Flags: HasTime}
	return r.canFrame(rec, p.link, p.buf, int(orig), p.order), nil
}

// canFrame decodes the CAN fields of a packet into rec.
//
// Link type 227: id and flags big-endian, length, FD flags, reserved, raw DLC,
// payload. Cooked captures carry the same behind their own header, with the id
// in the byte order of the machine that recorded it, taken as that of the file.
func (r *Reader) canFrame(rec *Record, link uint32, b []byte, orig int, host binary.ByteOrder) bool {
	order := binary.ByteOrder(binary.BigEndian)
	refuse := func(format string, args ...any) bool {
		r.note(0, rec.Byte, true, fmt.Sprintf("packet at byte %d not read: ", rec.Byte)+fmt.Sprintf(format, args...))
		return false
	}
	fd := false
	switch link {
	case linkSLL, linkSLL2:
		head, proto := 16, 14
		if link == linkSLL2 {
			head, proto = 20, 0
		}
		if len(b) < head {
			return refuse("%d bytes are less than the header of a cooked capture", len(b))
		}
		switch kind := binary.BigEndian.Uint16(b[proto:]); kind {
		case 0x000C:
		case 0x000D:
			fd = true
		default:
			return refuse("protocol %04X is not CAN", kind)
		}
		sent := binary.BigEndian.Uint16(b) // packet type 4: sent by us
		if link == linkSLL2 {
			sent = uint16(b[10])
		}
		if sent == 4 {
			rec.Dir = Tx
		}
		b, orig, order = b[head:], orig-head, host
	case linkCAN:
	default:
		return refuse("link type %d is not CAN", link)
	}
	if len(b) < 8 {
		return refuse("%d bytes are less than a CAN header", len(b))
	}
	id, n := order.Uint32(b), int(b[4])
	if n&0x80 != 0 {
		return refuse("CAN XL frames are not read")
	}
	fd = fd || orig == 72 || b[5]&4 != 0
	if fd {
		rec.Flags |= FD
		if b[5]&1 != 0 {
			rec.Flags |= BRS
		}
		if b[5]&2 != 0 {
			rec.Flags |= ESI
		}
	}
	if limit := map[bool]int{false: maxClassic, true: maxFD}[fd]; n > limit {
		return refuse("length %d is more than the %d bytes of this kind of frame", n, limit)
	}
	rec.DLC = b[4]
	if !fd && n == maxClassic && b[7] >= 9 && b[7] <= 15 {
		rec.DLC = b[7]
	}
	switch {
	case id&0x20000000 != 0:
		rec.Flags |= Error
	case id&0x80000000 != 0:
		rec.Flags |= Extended
	}
	rec.ID = id & 0x1FFFFFFF
	if !rec.Is(Extended) && !rec.Is(Error) {
		rec.ID &= 0x7FF
	}
	if id&0x40000000 != 0 {
		rec.Flags |= Remote
		return true
	}
	if len(b) < 8+n {
		return refuse("the packet was cut at %d of %d data bytes (snap length too small)", len(b)-8, n)
	}
	rec.Data = b[8 : 8+n]
	return true
}

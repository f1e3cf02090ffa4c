package canlog

import (
	"bytes"
	"slices"
)

// field is a piece of a line and its place in it.
type field struct {
	s  []byte
	at int
}

// fields splits a line at blanks, commas and semicolons. A time stamp in round
// brackets stays one field even with a blank inside.
func fields(line []byte, out []field) []field {
	for i := 0; i < len(line); {
		c := line[i]
		if c <= ' ' || c == ',' || c == ';' {
			i++
			continue
		}
		start := i
		if c == '(' {
			for i < len(line) && line[i] != ')' {
				i++
			}
		}
		for i < len(line) && line[i] > ' ' && line[i] != ',' && line[i] != ';' {
			i++
		}
		out = append(out, field{line[start:i], start})
	}
	return out
}

// known are the services a hex line may start with: SAE J1979 services and the
// ISO 14229-1 services a diagnosis uses. An answer has bit 6 set.
var known = func() (t [256]bool) {
	for _, s := range []byte{1, 2, 3, 4, 6, 7, 8, 9, 0x0A, 0x10, 0x11, 0x14, 0x19, 0x22, 0x27, 0x28, 0x2E, 0x2F, 0x31, 0x3E, 0x85} {
		t[s], t[s|0x40] = true, true
	}
	t[0x7F] = true
	return t
}()

func isAnswer(sid byte) bool { return known[sid] && sid&0x40 != 0 }

// hexLine is what one hex line held.
type hexLine struct {
	group    int  // number of a numbered line ("0:"), -1 if none
	declared int  // length of a message over numbered lines, -1 if none
	text     bool // not a message at all: prompt, status text
}

// parseHex reads a plain hex line: optional direction, time stamp and CAN id,
// then bytes with or without blanks.
func (r *Reader) parseHex(t []field, rec *Record) (hexLine, *badLine) {
	h := hexLine{group: -1, declared: -1}
	rec.Flags |= NoID
	t, prefixed := r.prefixes(t, rec)
	t = plainDigits(t)
	if len(t) == 0 {
		h.text = true // a prompt alone
		return h, nil
	}
	if s := t[0].s; len(s) >= 2 && s[1] == ':' && nibble[s[0]] != 0xFF {
		h.group = int(nibble[s[0]])
		t = slices.Clone(t)
		t[0] = field{s[2:], t[0].at + 2}
		if len(t[0].s) == 0 {
			t = t[1:]
		}
		return h, r.bytesOf(t, rec)
	}
	if !slices.ContainsFunc(t, func(f field) bool { return len(f.s) >= 2 && isHex(f.s) }) && (len(t) != 1 || !isHex(t[0].s)) {
		h.text = true
		return h, nil
	}
	if len(t) == 1 && len(t[0].s) == 3 && isHex(t[0].s) && !prefixed {
		h.declared = int(hexValue(t[0].s))
		return h, nil
	}
	t = r.canID(t, rec)
	if b := r.bytesOf(t, rec); b != nil {
		if !slices.ContainsFunc(t, func(f field) bool { return isHex(f.s) }) {
			h.text = true
			return h, nil
		}
		return h, b
	}
	return h, r.shape(rec)
}

// plainDigits takes 0x off every field and a colon off the end of a CAN id.
func plainDigits(t []field) []field {
	plain := true
	for i, f := range t {
		if len(f.s) > 2 && (f.s[1] == 'x' || f.s[1] == 'X' || i == 0 && f.s[len(f.s)-1] == ':') {
			plain = false
			break
		}
	}
	if plain {
		return t
	}
	t = slices.Clone(t)
	for i, f := range t {
		if len(f.s) > 2 && f.s[0] == '0' && (f.s[1] == 'x' || f.s[1] == 'X') {
			f = field{f.s[2:], f.at + 2}
		}
		if n := len(f.s) - 1; i == 0 && (n == 3 || n == 8) && f.s[n] == ':' {
			f.s = f.s[:n]
		}
		t[i] = f
	}
	return t
}

// prefixes takes direction marks, time stamps and interface names off the front.
func (r *Reader) prefixes(t []field, rec *Record) ([]field, bool) {
	any := false
	for len(t) > 0 {
		f := t[0]
		switch {
		case wordDir(f.s) != DirUnknown:
			rec.Dir = wordDir(f.s)
		case f.s[0] == '>' || f.s[0] == '<':
			rec.Dir = Tx
			if f.s[0] == '<' {
				rec.Dir = Rx
			}
			if f.s = bytes.TrimLeft(f.s, "<>"); len(f.s) > 0 {
				t = slices.Clone(t)
				t[0] = field{f.s, f.at + 1}
				any = true
				continue
			}
		default:
			s := f.s
			if n := len(s); n > 2 && (s[0] == '(' && s[n-1] == ')' || s[0] == '[' && s[n-1] == ']') {
				s = s[1 : n-1]
			}
			ns, ok := parseTime(s)
			if !ok && len(t) > 1 && len(s) == 10 && s[4] == '-' { // date and time in two fields
				both := append(append(append([]byte{}, s...), ' '), t[1].s...)
				if ns, ok = parseClock(both); ok {
					t = t[1:]
				}
			}
			if ok {
				rec.Time, rec.Flags = ns, rec.Flags|HasTime
				break
			}
			if len(t) > 1 && len(s) >= 4 && bytes.Contains(s, []byte("can")) && s[len(s)-1] >= '0' && s[len(s)-1] <= '9' {
				rec.Bus = r.intern(s)
				break
			}
			return t, any
		}
		t, any = t[1:], true
	}
	return t, any
}

func wordDir(s []byte) Dir {
	if n := len(s); n > 2 && s[n-1] == ':' {
		s = s[:n-1]
	}
	if len(s) > 8 {
		return DirUnknown
	}
	switch string(bytes.ToLower(s)) {
	case "rx", "rcv", "recv", "received", "rsp", "resp", "response", "reply", "<-", "<--", "<=", "in", "ans", "answer":
		return Rx
	case "tx", "snd", "send", "sent", "req", "request", "->", "-->", "=>", "out":
		return Tx
	}
	return DirUnknown
}

// canID takes a CAN id off the front if there is one: a field of 3 digits, a
// field of 8 digits before further fields, "18 DA F1 10" spelt in bytes, or the
// start of one long run of digits (an odd number of digits, or 18DA.., 18DB..).
func (r *Reader) canID(t []field, rec *Record) []field {
	s := t[0].s
	set := func(id uint32, ext bool) {
		rec.ID = id
		rec.Flags &^= NoID
		if ext {
			rec.Flags |= Extended
		}
	}
	cut := func(n int) []field {
		out := slices.Clone(t)
		out[0] = field{s[n:], t[0].at + n}
		return out
	}
	if !isHex(s) {
		return t
	}
	diag29 := len(s) >= 4 && (hexValue(s[:4]) == 0x18DA || hexValue(s[:4]) == 0x18DB)
	switch {
	case len(t) > 1 && len(s) == 3 && hexValue(s) <= 0x7FF:
		set(hexValue(s), false)
		t = t[1:]
	case len(t) > 1 && len(s) == 8 && hexValue(s) <= 0x7FF && diagnosticID(hexValue(s), false):
		set(hexValue(s), false)
		if !r.padded {
			r.padded = true
			r.note(rec.Line, rec.Byte, false, "CAN ids below 800 written with 8 digits are read as 11-bit ids, from here on")
		}
		t = t[1:]
	case len(t) > 1 && len(s) == 8 && hexValue(s) <= 0x1FFFFFFF && (diag29 || len(t[1].s) <= 2):
		set(hexValue(s), true)
		t = t[1:]
	case len(t) >= 5 && len(s) == 2 && hexValue(s) == 0x18 && len(t[1].s) == 2 && isHex(t[1].s) && hexValue(t[1].s)|1 == 0xDB && all2(t[2:4]):
		set(0x18<<24|hexValue(t[1].s)<<16|hexValue(t[2].s)<<8|hexValue(t[3].s), true)
		return t[4:]
	case len(t) == 1 && len(s)%2 == 1 && len(s) >= 5 && hexValue(s[:3]) <= 0x7FF:
		set(hexValue(s[:3]), false)
		return cut(3)
	case len(t) == 1 && diag29 && len(s) >= 10 && len(s)%2 == 0:
		set(hexValue(s[:8]), true)
		return cut(8)
	default:
		return t
	}
	// Some interfaces put the number of data bytes between id and data.
	if len(t) > 1 && len(t[0].s) == 1 && isHex(t[0].s) && int(nibble[t[0].s[0]]) == len(t)-1 {
		t = t[1:]
	}
	return t
}

func all2(t []field) bool {
	for _, f := range t {
		if len(f.s) != 2 || !isHex(f.s) {
			return false
		}
	}
	return true
}

// maxMessage is the longest message a hex line may hold: the 12-bit length of
// ISO 15765-2.
const maxMessage = 4095

// bytesOf reads the data fields, each an even number of hex digits.
func (r *Reader) bytesOf(t []field, rec *Record) *badLine {
	for _, f := range t {
		for i, c := range f.s {
			if nibble[c] == 0xFF {
				return bad(f.at+i, "%q is not a hex digit", clip(f.s[i:min(i+1, len(f.s))]))
			}
		}
		if len(f.s)%2 != 0 {
			return bad(f.at, "%q has an odd number of hex digits: half a byte is missing", clip(f.s))
		}
		if len(rec.Data)+len(f.s)/2 > maxMessage {
			return bad(f.at, "more than %d bytes in one message", maxMessage)
		}
		rec.Data = appendHex(rec.Data, f.s)
	}
	return nil
}

// shape decides whether the bytes are a CAN frame with its transport byte or a
// whole message. A frame's first byte must make sense as transport byte and
// what it announces must start with a service we know; otherwise a first byte
// that is itself such a service makes the line a message.
func (r *Reader) shape(rec *Record) *badLine {
	d := rec.Data
	if len(d) == 0 {
		return bad(0, "no data bytes")
	}
	rec.Kind = Message
	n := int(d[0])
	single := n >= 1 && n <= 7 && len(d) > n && len(d) <= maxClassic
	if rec.Is(NoID) {
		switch {
		case single && isAnswer(d[1]) && !isAnswer(d[0]):
			rec.Kind = Frame
		case single && len(d) == maxClassic && known[d[1]]:
			rec.Kind = Frame // padded to 8 bytes: no request is that long
		case len(d) == maxClassic && d[0]>>4 == 1 && isAnswer(d[2]):
			rec.Kind = Frame
			r.due = int(d[0]&15)<<8 | int(d[1]) - 6
		case r.due > 0 && d[0]>>4 == 2 && len(d) <= maxClassic:
			rec.Kind = Frame // 22 37 .. is a consecutive frame here, elsewhere service 22
			r.due -= len(d) - 1
		default:
			if isAnswer(d[0]) {
				r.due = 0
			}
		}
	} else {
		rec.Kind = Frame
		if !(single && known[d[1]]) && known[d[0]] && (d[0]>>4 == 0 || d[0]>>4 >= 4) || len(d) > maxFD {
			rec.Kind = Message
		}
	}
	if rec.Kind == Frame {
		rec.DLC = uint8(len(d))
	}
	return nil
}

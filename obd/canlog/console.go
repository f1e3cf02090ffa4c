package canlog

// parseConsole reads " [(time)] IF [RX|TX flags] ID [n] B0 B1 .. ['ascii']".
// t are the fields of the line; mark is the index of the [n] field.
func (r *Reader) parseConsole(t []field, mark int, rec *Record) *badLine {
	if mark == 0 {
		return bad(t[0].at, "no CAN id before the length %s", clip(t[0].s))
	}
	id := t[mark-1]
	if !isHex(id.s) || len(id.s) != 3 && len(id.s) != 8 {
		return bad(id.at, "CAN id %q must be 3 or 8 hex digits", clip(id.s))
	}
	for _, f := range t[:mark-1] {
		switch {
		case len(f.s) == 2 && (f.s[0] == 'R' || f.s[0] == 'T') && f.s[1] == 'X':
			rec.Dir = Rx
			if f.s[0] == 'T' {
				rec.Dir = Tx
			}
		case len(f.s) == 1: // B, E or -: rate switch and error state
			switch f.s[0] {
			case 'B':
				rec.Flags |= BRS
			case 'E':
				rec.Flags |= ESI
			}
		case f.s[0] == '(':
			inner := f.s[1:]
			if n := len(inner); n > 0 && inner[n-1] == ')' {
				inner = inner[:n-1]
			}
			ns, ok := parseSeconds(inner)
			if !ok {
				ns, ok = parseClock(inner)
			}
			if !ok {
				return bad(f.at, "time stamp %q is not seconds with decimals or a date", clip(f.s))
			}
			rec.Time, rec.Flags = ns, rec.Flags|HasTime
		default:
			rec.Bus = r.intern(f.s)
		}
	}
	n, ok := bracketed(t[mark].s)
	if !ok {
		return bad(t[mark].at, "length %q is not a number in brackets", clip(t[mark].s))
	}
	v := hexValue(id.s)
	switch {
	case len(id.s) == 3 && v > 0x7FF:
		return bad(id.at, "CAN id %03X is more than 11 bits", v)
	case len(id.s) == 8 && v&0x20000000 != 0:
		rec.Flags |= Error
	case len(id.s) == 8 && v > 0x1FFFFFFF:
		return bad(id.at, "CAN id %08X is more than 29 bits", v)
	case len(id.s) == 8:
		rec.Flags |= Extended
	}
	rec.ID = v & 0x1FFFFFFF
	rec.DLC = uint8(n)
	if t[mark].s[0] == '{' { // raw length code of a classic frame: 8 bytes
		n = min(n, maxClassic)
	}
	if n > maxFD {
		return bad(t[mark].at, "%d data bytes: CAN XL frames are not read", n)
	}
	if n > maxClassic || len(t[mark].s) == 4 { // FD lengths are written with two digits
		rec.Flags |= FD
	}
	rest := t[mark+1:]
	if len(rest) > 0 && string(rest[0].s) == "remote" {
		rec.Flags |= Remote
		return nil
	}
	if len(rest) < n {
		return bad(t[mark].at, "the line says %d data bytes and holds %d: it is cut short", n, len(rest))
	}
	for _, f := range rest[:n] {
		if len(f.s) != 2 || !isHex(f.s) {
			return bad(f.at, "%q is not a data byte", clip(f.s))
		}
		rec.Data = appendHex(rec.Data, f.s)
	}
	return nil
}

// bracketed reads the decimal in [8], [08] or the hex digit in {F}.
func bracketed(s []byte) (int, bool) {
	if len(s) < 3 || len(s) > 6 {
		return 0, false
	}
	in, v := s[1:len(s)-1], 0
	if s[0] == '{' {
		if len(in) != 1 || nibble[in[0]] == 0xFF {
			return 0, false
		}
		return int(nibble[in[0]]), true
	}
	for _, c := range in {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + int(c-'0')
	}
	return v, true
}

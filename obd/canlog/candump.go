package canlog

import "fmt"

// badLine is what is wrong with a line and at which byte of it.
type badLine struct {
	at   int
	text string
}

func bad(at int, format string, args ...any) *badLine {
	return &badLine{at, fmt.Sprintf(format, args...)}
}

// maxClassic and maxFD are the data bytes of a frame (ISO 11898-1).
const (
	maxClassic = 8
	maxFD      = 64
)

// parseFrameSpec reads ID#DATA, ID#R, ID##FLAGS DATA as can-utils lib.h gives
// them, from s. Data is appended to rec.Data[:0]. at is the place of s in its
// line, for messages. It returns the bytes of s used.
func parseFrameSpec(s []byte, at int, rec *Record) (int, *badLine) {
	h := 0
	for h < len(s) && s[h] != '#' {
		h++
	}
	if !isHex(s[:h]) || h != 3 && h != 8 {
		if h == 5 && isHex(s[:h]) {
			return 0, bad(at, "CAN XL frames are not read")
		}
		return 0, bad(at, "CAN id %q must be 3 or 8 hex digits", clip(s[:h]))
	}
	id := hexValue(s[:h])
	if h == 3 {
		if id > 0x7FF {
			return 0, bad(at, "CAN id %03X is more than 11 bits; write it with 8 digits", id)
		}
	} else if id&0x20000000 != 0 {
		rec.Flags |= Error
		id &= 0x1FFFFFFF
	} else if id > 0x1FFFFFFF {
		return 0, bad(at, "CAN id %08X is more than 29 bits", id)
	} else {
		rec.Flags |= Extended
	}
	rec.ID = id
	i := h + 1
	limit := maxClassic
	if i < len(s) && s[i] == 'R' {
		rec.Flags |= Remote
		i++
		if i < len(s) && s[i] >= '0' && s[i] <= '8' {
			rec.DLC = s[i] - '0'
			i++
		}
		return rawDLC(s, i, at, rec)
	}
	if i < len(s) && s[i] == '#' {
		i++
		if i >= len(s) || nibble[s[i]] == 0xFF {
			return 0, bad(at+i, "CAN FD frame lacks its flag digit after ##")
		}
		f := nibble[s[i]]
		rec.Flags |= FD
		if f&1 != 0 {
			rec.Flags |= BRS
		}
		if f&2 != 0 {
			rec.Flags |= ESI
		}
		limit = maxFD
		i++
	}
	for i < len(s) {
		if s[i] == '.' {
			i++
			continue
		}
		hi := nibble[s[i]]
		if hi == 0xFF {
			break
		}
		if i+1 >= len(s) || nibble[s[i+1]] == 0xFF {
			return 0, bad(at+i, "odd number of hex digits: the last data byte is half")
		}
		if len(rec.Data) == limit {
			return 0, bad(at+i, "more than %d data bytes in one frame", limit)
		}
		rec.Data = append(rec.Data, hi<<4|nibble[s[i+1]])
		i += 2
	}
	rec.DLC = uint8(len(rec.Data))
	return rawDLC(s, i, at, rec)
}

// rawDLC reads the optional _X (9 to F) and checks that the frame ends there.
func rawDLC(s []byte, i, at int, rec *Record) (int, *badLine) {
	if i+1 < len(s) && s[i] == '_' && nibble[s[i+1]] >= 9 && nibble[s[i+1]] != 0xFF && rec.DLC == 8 && !rec.Is(FD) {
		rec.DLC = nibble[s[i+1]]
		i += 2
	}
	if i < len(s) && s[i] != ' ' && s[i] != '\t' {
		return 0, bad(at+i, "%q is not a hex digit", clip(s[i:]))
	}
	return i, nil
}

// parseLogLine reads "(seconds) interface ID#DATA [R|T]". ok is false when the
// line does not have this shape at all and another form should be tried.
func (r *Reader) parseLogLine(line []byte, rec *Record) (ok bool, b *badLine) {
	end := 1
	for end < len(line) && line[end] != ')' {
		end++
	}
	if end >= len(line)-1 {
		return false, nil
	}
	i := skipBlank(line, end+1)
	w := i
	for i < len(line) && line[i] > ' ' {
		if line[i] == '#' || line[i] == '[' {
			return false, nil
		}
		i++
	}
	bus := line[w:i]
	i = skipBlank(line, i)
	hash := i
	for hash < len(line) && line[hash] > ' ' && line[hash] != '#' {
		hash++
	}
	if hash == i || hash >= len(line) || line[hash] != '#' {
		return false, nil
	}
	t, good := parseSeconds(line[1:end])
	if !good {
		if t, good = parseClock(line[1:end]); !good {
			return true, bad(1, "time stamp %q is not seconds with decimals", clip(line[1:end]))
		}
	}
	rec.Time = t
	rec.Flags |= HasTime
	rec.Bus = r.intern(bus)
	n, b := parseFrameSpec(line[i:], i, rec)
	if b != nil {
		return true, b
	}
	i = skipBlank(line, i+n)
	if i < len(line) {
		rec.Dir = trailingDir(line[i:])
		if rec.Dir == DirUnknown {
			r.note(rec.Line, rec.Byte+int64(i), false, fmt.Sprintf("text %q after the frame is not understood; the frame is kept", clip(line[i:])))
		}
	}
	return true, nil
}

func trailingDir(s []byte) Dir {
	if len(s) == 1 || s[1] <= ' ' {
		switch s[0] {
		case 'R':
			return Rx
		case 'T':
			return Tx
		}
	}
	return DirUnknown
}

func skipBlank(s []byte, i int) int {
	for i < len(s) && (s[i] == ' ' || s[i] == '\t') {
		i++
	}
	return i
}

// clip shortens a piece of a line for a message.
func clip(s []byte) string {
	if len(s) > 40 {
		return string(s[:40]) + "…"
	}
	return string(s)
}

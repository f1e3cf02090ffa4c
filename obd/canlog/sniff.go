package canlog

import (
	"bytes"
	"encoding/binary"
)

// Format is the form of a capture.
type Format string

// The forms. Text files may mix the three text forms; Format is the most
// frequent one at the head.
const (
	Unknown Format = ""
	LogLine Format = "candump log"
	Console Format = "candump console"
	Hex     Format = "hex lines"
	PCAP    Format = "pcap"
	PCAPNG  Format = "pcapng"
)

// Sniff looks at the first bytes of a file (a few kB are enough) and says which
// form it has and how sure that is, from 0 to 1: for text the share of lines
// that hold a frame or a known diagnostic service. A table of small numbers can
// look like requests, so bare requests count little.
func Sniff(head []byte) (Format, float64) {
	head = bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))
	if len(head) >= 4 {
		switch le := binary.LittleEndian.Uint32(head); {
		case le == 0x0A0D0D0A:
			return PCAPNG, confidencePacket(head, 8, 12)
		case isMagic(le):
			return PCAP, confidenceLink(head, binary.LittleEndian)
		case isMagic(binary.BigEndian.Uint32(head)):
			return PCAP, confidenceLink(head, binary.BigEndian)
		}
	}
	if len(head) == 0 || bytes.IndexByte(head, 0) >= 0 {
		return Unknown, 0
	}
	return sniffText(head)
}

func confidencePacket(head []byte, from, to int) float64 {
	if len(head) >= to && (binary.LittleEndian.Uint32(head[from:to]) == 0x1A2B3C4D || binary.BigEndian.Uint32(head[from:to]) == 0x1A2B3C4D) {
		return 0.8 // which link types it holds is said further on
	}
	return 0.3
}

func confidenceLink(head []byte, o binary.ByteOrder) float64 {
	if len(head) >= 24 && readable(o.Uint32(head[20:24])&0xFFFF) {
		return 1
	}
	return 0.2
}

func sniffText(head []byte) (Format, float64) {
	r := &Reader{}
	var lines, logs, consoles, hexes float64
	for n := 0; n < 200 && len(head) > 0; n++ {
		end := lineEnd(head, true)
		if end == 0 {
			if n > 0 {
				break // the last line may be cut
			}
			end = len(head)
		}
		raw := head[:end]
		head = head[end:]
		line := bytes.TrimRight(raw, "\r\n \t")
		i := skipBlank(line, 0)
		if i == len(line) || line[i] == '#' || line[i] == ';' || bytes.HasPrefix(line[i:], []byte("//")) {
			continue
		}
		lines++
		rec := Record{Raw: line, Data: r.data[:0]}
		if line[0] == '(' {
			if ok, b := r.parseLogLine(line, &rec); ok && b == nil {
				logs++
				continue
			}
			rec = Record{Raw: line, Data: r.data[:0]}
		}
		numbered := r.group.pending()
		lost := len(r.notes.list)
		got := r.otherLine(line[i:], i, &rec)
		switch {
		case got == haveNothing && len(r.notes.list) > lost && !r.notes.list[lost].Lost:
			lines -= 0.7 // status text of an interface, "NO DATA": says little either way
		case bytes.IndexByte(line, '#') > 0 && got == haveRecord && !rec.Is(NoID) && rec.Kind == Frame:
			logs++
		case bytes.IndexByte(line, ']') > 0 && got == haveRecord && rec.Kind == Frame:
			consoles++
		case got == haveRecord:
			hexes += weight(&rec)
		case r.group.pending() && (numbered || r.group.lines > 0):
			hexes += 0.95
			if r.group.length && r.group.lines == 1 {
				hexes += 0.95 // the length line before it
			}
		}
	}
	if lines == 0 {
		return Unknown, 0
	}
	c := (logs + consoles + hexes) / lines
	switch m := max(logs, consoles, hexes); {
	case m == 0:
		return Unknown, 0
	case m == logs:
		return LogLine, c
	case m == consoles:
		return Console, c
	}
	return Hex, c
}

// weight is how much a hex line speaks for a diagnostic capture.
func weight(rec *Record) float64 {
	d := rec.Data
	switch {
	case len(d) == 0:
		return 0
	case !rec.Is(NoID) && diagnosticID(rec.ID, rec.Is(Extended)):
		return 1
	case !rec.Is(NoID):
		return 0.3 // "100,80,12" looks like one
	case rec.Kind == Frame:
		return 0.95
	case isAnswer(d[0]) && len(d) >= 2:
		return 0.95
	case rec.Dir != DirUnknown && known[d[0]]:
		return 0.95
	case known[d[0]]:
		return 0.3
	}
	return 0
}

// diagnosticID reports whether an id belongs to the ranges of ISO 15765-4.
func diagnosticID(id uint32, ext bool) bool {
	if ext {
		return id>>16 == 0x18DA || id>>16 == 0x18DB
	}
	return id == 0x7DF || id >= 0x7E0 && id <= 0x7EF
}

package trace

import (
	"bytes"
	"encoding/binary"
)

// Kind is what the first bytes of a file say it is.
type Kind string

// The kinds of file.
const (
	KindEmpty    Kind = "empty"
	KindText     Kind = "delimited text"
	KindWAV      Kind = "WAV"
	KindGzip     Kind = "gzip"
	KindPcap     Kind = "packet capture"
	KindMessages Kind = "diagnostic messages"
	KindBinary   Kind = "binary"
)

// SniffSize is how many bytes Sniff likes to see.
const SniffSize = 64 << 10

// Sniff tells from the first bytes, and the size of the whole file where it is
// known (-1 otherwise), what a file is. hint says what a binary file probably
// is and what to do about it; it is empty for what can be read.
func Sniff(head []byte, size int64) (kind Kind, hint string) {
	if size == 0 || len(head) == 0 {
		return KindEmpty, ""
	}
	for _, m := range magics {
		if len(head) >= m.at+len(m.magic) && string(head[m.at:m.at+len(m.magic)]) == m.magic {
			return m.kind, m.hint
		}
	}
	enc := findEncoding(head)
	if enc.utf16 || enc.bom > 0 {
		return KindText, ""
	}
	if len(bytes.TrimSpace(head)) == 0 {
		return KindEmpty, ""
	}
	if n := control(head); n > 0 {
		return KindBinary, "not text and no format known here; export the capture as CSV or WAV"
	}
	if looksLikeMessages(head) {
		return KindMessages, ""
	}
	return KindText, ""
}

// magics are the marks at the start of files (the formats' own documents).
var magics = []struct {
	at    int
	magic string
	kind  Kind
	hint  string
}{
	{0, "\x1f\x8b", KindGzip, ""},
	{8, "WAVE", KindWAV, ""},
	{0, "\xd4\xc3\xb2\xa1", KindPcap, ""}, {0, "\xa1\xb2\xc3\xd4", KindPcap, ""},
	{0, "\x4d\x3c\xb2\xa1", KindPcap, ""}, {0, "\xa1\xb2\x3c\x4d", KindPcap, ""},
	{0, "\x0a\x0d\x0d\x0a", KindPcap, ""},
	{0, "PK\x03\x04", KindBinary, "a ZIP archive (spreadsheets are ZIP files too); unpack it, or save the sheet as CSV"},
	{0, "%PDF", KindBinary, "a PDF document; a capture is needed, exported as CSV or WAV"},
	{0, "\x89PNG", KindBinary, "a picture (PNG); a capture is needed, exported as CSV or WAV"},
	{0, "\xff\xd8\xff", KindBinary, "a picture (JPEG); a capture is needed, exported as CSV or WAV"},
	{0, "\xd0\xcf\x11\xe0", KindBinary, "an old spreadsheet or document; save it as CSV"},
	{0, "\x28\xb5\x2f\xfd", KindBinary, "packed with zstd; unpack it"},
	{0, "BZh", KindBinary, "packed with bzip2; unpack it"},
	{0, "\xfd7zXZ", KindBinary, "packed with xz; unpack it"},
	{0, "\x89HDF", KindBinary, "an HDF5 file; export as CSV"},
	{0, "MDF     ", KindBinary, "a measurement data file (MDF); export as CSV"},
}

// control counts bytes that text does not have.
func control(head []byte) int {
	n := 0
	for _, c := range head {
		if c < 0x20 && c != '\n' && c != '\r' && c != '\t' && c != '\f' && c != 0x1b && c != 0x1a || c == 0x7f {
			n++
		}
	}
	return n
}

// looksLikeMessages tells lines of diagnostic messages from rows of samples:
// most lines are a log line "(stamp) bus id#data" or a run of hex byte pairs,
// and at least one of the hex lines cannot be a row of decimal numbers.
func looksLikeMessages(head []byte) bool {
	lines, logs, hex, sure, rows := 0, 0, 0, 0, 0
	for _, l := range sampleLines(head, false, 200) {
		text := bytes.TrimSpace(l.text)
		if len(text) == 0 || isComment(text) {
			continue
		}
		lines++
		switch h := hexLine(text); {
		case logLine(text):
			logs++
		case h == hexSure:
			sure++
			hex++
		case h == hexMaybe:
			hex++
		case text[0] >= '0' && text[0] <= '9' || text[0] == '-' || text[0] == '+':
			rows++
		}
	}
	// Log lines among rubbish, and nothing that could be a row of numbers, are a
	// damaged log, not a table.
	return lines > 0 && 2*(logs+hex) > lines && (logs > 0 || sure > 0) || logs > 0 && rows == 0
}

// logLine: "id#data" with a hex id of 3 or 8 digits somewhere in the line.
func logLine(text []byte) bool {
	for _, w := range bytes.Fields(text) {
		id, data, ok := bytes.Cut(w, []byte("#"))
		if ok && (len(id) == 3 || len(id) == 8) && allHex(id) {
			data = bytes.TrimPrefix(data, []byte("#"))
			if len(data) == 0 || data[0] == 'R' || allHex(bytes.ReplaceAll(data[:min(len(data), 16)], []byte("."), nil)) {
				return true
			}
		}
	}
	return false
}

type hexness uint8

const (
	hexNot   hexness = iota
	hexMaybe         // could be decimal numbers too
	hexSure
)

// hexLine: words of two hex digits (a first word of 3 or 8 is an id, "[8]" and
// "(stamp)" are passed over), or one run of at least 4 pairs. Prompts and line
// numbers ("0:") are passed over.
func hexLine(text []byte) hexness {
	text = bytes.TrimLeft(text, "> \t")
	pairs, letters, ids := 0, false, 0
	for i, w := range bytes.Fields(text) {
		w = bytes.TrimSuffix(w, []byte(","))
		switch {
		case len(w) > 2 && (w[0] == '[' || w[0] == '(') || len(w) <= 3 && bytes.HasSuffix(w, []byte(":")):
			continue
		case i <= 2 && pairs == 0 && (len(w) == 3 || len(w) == 8) && allHex(w):
			ids++
		case i <= 1 && pairs == 0 && (bytes.HasPrefix(w, []byte("can")) || bytes.HasPrefix(w, []byte("vcan"))):
			ids++
		case len(w)%2 == 0 && allHex(w) && (len(w) == 2 || len(w) >= 4 && len(w) <= 128):
			pairs += len(w) / 2
			ids += len(w)/2 - 1
		default:
			return hexNot
		}
		letters = letters || bytes.IndexFunc(w, func(r rune) bool { return r >= 'A' && r <= 'F' || r >= 'a' && r <= 'f' }) >= 0
	}
	switch {
	case pairs == 0:
		return hexNot
	case letters && pairs >= 2:
		return hexSure
	case ids > 0 && pairs >= 2:
		return hexMaybe
	}
	return hexMaybe
}

func allHex(b []byte) bool {
	for _, c := range b {
		if !(c >= '0' && c <= '9' || c >= 'A' && c <= 'F' || c >= 'a' && c <= 'f') {
			return false
		}
	}
	return len(b) > 0
}

// le16, le32 and le64 read little-endian fields of WAV.
func le16(b []byte) int    { return int(binary.LittleEndian.Uint16(b)) }
func le32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }

package trace

import (
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// textEncoding says how the bytes of a text file are to be read.
type textEncoding struct {
	name    string // for the note; empty for plain UTF-8 or ASCII without a mark
	bom     int    // bytes of the byte-order mark
	utf16   bool
	bigEnd  bool
	guessed bool // UTF-16 without a mark, told by its zero bytes
}

// findEncoding looks at the byte-order mark, and without one for the zero
// bytes that UTF-16 puts beside each ASCII character.
func findEncoding(head []byte) textEncoding {
	switch {
	case len(head) >= 3 && head[0] == 0xef && head[1] == 0xbb && head[2] == 0xbf:
		return textEncoding{name: "UTF-8 with byte-order mark", bom: 3}
	case len(head) >= 2 && head[0] == 0xff && head[1] == 0xfe:
		return textEncoding{name: "UTF-16, low byte first", bom: 2, utf16: true}
	case len(head) >= 2 && head[0] == 0xfe && head[1] == 0xff:
		return textEncoding{name: "UTF-16, high byte first", bom: 2, utf16: true, bigEnd: true}
	}
	n := min(len(head), 512) &^ 1
	var zero [2]int
	for i := 0; i < n; i++ {
		if head[i] == 0 {
			zero[i&1]++
		}
	}
	switch {
	case n >= 8 && zero[0] == 0 && zero[1] > n/2*8/10:
		return textEncoding{name: "UTF-16, low byte first, without byte-order mark", utf16: true, guessed: true}
	case n >= 8 && zero[1] == 0 && zero[0] > n/2*8/10:
		return textEncoding{name: "UTF-16, high byte first, without byte-order mark", utf16: true, bigEnd: true, guessed: true}
	}
	return textEncoding{}
}

// utf16Reader turns UTF-16 into UTF-8 as it is read. Unpaired surrogates become
// U+FFFD; odd counts them and a byte left over at the end.
type utf16Reader struct {
	r      io.Reader
	bigEnd bool
	in     []byte // not yet converted
	out    []byte // converted, not yet handed out
	buf    [1 << 15]byte
	err    error
	odd    int
}

func (u *utf16Reader) Read(p []byte) (int, error) {
	for len(u.out) == 0 {
		if u.err != nil {
			return 0, u.err
		}
		n, err := u.r.Read(u.buf[:])
		u.in = append(u.in, u.buf[:n]...)
		u.err = err
		u.convert(err != nil)
	}
	n := copy(p, u.out)
	u.out = u.out[n:]
	return n, nil
}

func (u *utf16Reader) convert(last bool) {
	u.out = u.out[:0]
	i := 0
	for ; i+1 < len(u.in); i += 2 {
		c := u.unit(i)
		if c < 0xd800 || c > 0xdfff {
			u.out = utf8.AppendRune(u.out, rune(c))
			continue
		}
		if i+3 >= len(u.in) && !last {
			break // its other half is still to come
		}
		r := utf8.RuneError
		if i+3 < len(u.in) {
			r = utf16.DecodeRune(rune(c), rune(u.unit(i+2)))
		}
		if r == utf8.RuneError {
			u.odd++
		} else {
			i += 2
		}
		u.out = utf8.AppendRune(u.out, r)
	}
	u.in = append(u.in[:0], u.in[min(i, len(u.in)):]...)
	if last && len(u.in) > 0 {
		u.odd++
		u.in = u.in[:0]
	}
}

func (u *utf16Reader) unit(i int) uint16 {
	if u.bigEnd {
		return uint16(u.in[i])<<8 | uint16(u.in[i+1])
	}
	return uint16(u.in[i+1])<<8 | uint16(u.in[i])
}

// crReader turns a lone carriage return, the line end of some old loggers, into
// a line feed; lengths do not change.
type crReader struct{ r io.Reader }

func (c crReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	for i, b := range p[:n] {
		if b == '\r' {
			p[i] = '\n'
		}
	}
	return n, err
}

// repair is how the letters of a header had to be read.
type repair uint8

const (
	asUTF8      repair = iota
	asLatin1           // not UTF-8: taken as Windows-1252, of which Latin-1 is a part
	undoneTwice        // UTF-8 that had been read as Windows-1252 and encoded again
)

// readableText gives the text of header or preamble bytes.
func readableText(b []byte) (string, repair) {
	if !utf8.Valid(b) {
		out := make([]rune, 0, len(b))
		for _, c := range b {
			out = append(out, fromCP1252(c))
		}
		return string(out), asLatin1
	}
	s := string(b)
	how := asUTF8
	for range 3 { // some files went through it more than once
		t, ok := undoDouble(s)
		if !ok {
			break
		}
		s, how = t, undoneTwice
	}
	return s, how
}

// undoDouble reverses one round of "UTF-8 bytes taken for Windows-1252":
// "Â°C" becomes "°C". It acts only when every character fits Windows-1252 and
// the bytes are valid UTF-8 again, which correct text practically never is.
func undoDouble(s string) (string, bool) {
	b := make([]byte, 0, len(s))
	high := false
	for _, r := range s {
		c, ok := toCP1252(r)
		if !ok {
			return s, false
		}
		high = high || c >= 0x80
		b = append(b, c)
	}
	if !high || !utf8.Valid(b) {
		return s, false
	}
	return string(b), true
}

// cp1252 holds the code points of bytes 0x80 to 0x9F (Unicode Consortium,
// mapping table CP1252); the five unused bytes map to themselves.
var cp1252 = [32]rune{0x20AC, 0x81, 0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0x8D, 0x017D, 0x8F,
	0x90, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0x9D, 0x017E, 0x0178}

func fromCP1252(c byte) rune {
	if c >= 0x80 && c <= 0x9f {
		return cp1252[c-0x80]
	}
	return rune(c)
}

func toCP1252(r rune) (byte, bool) {
	if r < 0x80 || (r >= 0xa0 && r <= 0xff) {
		return byte(r), true
	}
	for i, c := range cp1252 {
		if c == r {
			return byte(0x80 + i), true
		}
	}
	return 0, false
}

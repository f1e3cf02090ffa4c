package canlog

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
)

// Options of reading. The zero value is right for captures as they come.
type Options struct {
	// Deltas says that time stamps are differences to the record before (candump
	// -td). They are summed up.
	Deltas bool
}

// maxLine is the longest line read: a message of 4095 bytes with blanks is 12 kB.
const maxLine = 1 << 16

// Reader gives the records of a capture one after the other.
type Reader struct {
	br      *bufio.Reader
	opt     Options
	format  Format
	notes   Notes
	buses   []string
	index   int
	clock   int64 // running time with Options.Deltas
	line    int
	byte    int64
	fields  []field
	data    [maxMessage]byte
	group   group
	held    Record // read, but to be handed out after the group before it
	hasHeld bool
	padded  bool // the note on padded ids was given
	due     int  // bytes that frames without ids still owe after a first frame
	packet  packetFile
}

// NewReader looks at the head of the stream and reads text lines or packets.
// The error says that the stream is empty, binary of another kind, or cannot
// be read.
func NewReader(src io.Reader, opt Options) (*Reader, error) {
	r := &Reader{br: bufio.NewReaderSize(src, maxLine), opt: opt}
	head, err := r.br.Peek(4096)
	if err != nil && err != io.EOF && !errors.Is(err, bufio.ErrBufferFull) {
		return nil, fmt.Errorf("read capture: %w", err)
	}
	if len(head) == 0 {
		return nil, errors.New("the capture is empty (0 bytes); record it again")
	}
	if bytes.HasPrefix(head, []byte("\xEF\xBB\xBF")) {
		r.skip(3)
		head = head[3:]
	}
	r.format, _ = Sniff(head)
	switch r.format {
	case PCAP:
		return r, r.openPCAP()
	case PCAPNG:
		return r, r.openPCAPNG()
	}
	if i := bytes.IndexByte(head, 0); i >= 0 {
		return nil, fmt.Errorf("byte %d is 0: this is not text, and not a pcap or pcapng file; save the log as UTF-8 text", i)
	}
	return r, nil
}

// Format is the form found at the head of the capture.
func (r *Reader) Format() Format { return r.format }

// Notes are what was found out so far.
func (r *Reader) Notes() []Note { return r.notes.All() }

// Next reads the next record into rec. Data and Raw are valid until the next
// call. It returns io.EOF at the end; any other error ends the reading, and
// what came before it stands.
func (r *Reader) Next(rec *Record) error {
	var err error
	if r.format == PCAP || r.format == PCAPNG {
		err = r.nextPacket(rec)
	} else {
		err = r.nextLine(rec)
	}
	if err != nil {
		return err
	}
	rec.Index = r.index
	r.index++
	if r.opt.Deltas && rec.Is(HasTime) {
		r.clock += rec.Time
		rec.Time = r.clock
	}
	return nil
}

func (r *Reader) skip(n int) {
	d, _ := r.br.Discard(n)
	r.byte += int64(d)
}

func (r *Reader) note(line int, at int64, lost bool, text string) {
	r.notes.Add(Note{Index: r.index, Line: line, Byte: at, Text: text, Lost: lost})
}

// intern keeps one string for each interface name; captures hold a few.
func (r *Reader) intern(b []byte) string {
	for _, s := range r.buses {
		if s == string(b) {
			return s
		}
	}
	if len(r.buses) >= 64 { // no machine has so many; a damaged file must not cost a string a line
		return "other"
	}
	s := clip(b)
	r.buses = append(r.buses, s)
	return s
}

// readLine gives the next line with its end, and where it starts. A line ends
// with LF, CR LF, or CR alone: interfaces answer with bare CRs. Lines longer
// than maxLine are noted and skipped. The line is valid until the next call.
func (r *Reader) readLine() (line []byte, start int64, err error) {
	skipped := false
	start = r.byte
	for {
		b, _ := r.br.Peek(r.br.Buffered())
		n := lineEnd(b, false)
		if n == 0 && len(b) < maxLine {
			more, err := r.br.Peek(len(b) + 1)
			if err == nil {
				continue // there is more to look at
			}
			if err != io.EOF {
				return nil, start, fmt.Errorf("read capture at byte %d: %w", r.byte+int64(len(more)), err)
			}
			if len(more) == 0 {
				if skipped {
					r.line++
					r.longLine(start)
				}
				return nil, r.byte, io.EOF
			}
			if n = lineEnd(more, true); n == 0 {
				n = len(more)
			}
			b = more
		}
		if n == 0 { // a full buffer without an end
			skipped = true
			r.skip(len(b))
			continue
		}
		r.skip(n)
		r.line++
		if !skipped {
			return b[:n], start, nil
		}
		r.longLine(start)
		skipped, start = false, r.byte
	}
}

func (r *Reader) longLine(start int64) {
	r.note(r.line, start, true, fmt.Sprintf("line of %d bytes is longer than any message and is not read", r.byte-start))
}

// lineEnd is the length of the first line of b with its end, 0 if b does not
// hold the end. A CR as the last byte may be half of CR LF, unless it is the
// last of the file.
func lineEnd(b []byte, last bool) int {
	lf := bytes.IndexByte(b, '\n')
	part := b
	if lf >= 0 {
		part = b[:lf]
	}
	cr := bytes.IndexByte(part, '\r')
	switch {
	case cr < 0 || cr == lf-1:
		return lf + 1
	case cr < len(b)-1 || last:
		return cr + 1
	}
	return 0
}

// nextLine reads lines until one holds a record. A record that ends a message
// over numbered lines is held back until that message was handed out.
func (r *Reader) nextLine(rec *Record) error {
	if r.hasHeld {
		*rec, r.hasHeld = r.held, false
		return nil
	}
	for {
		raw, start, err := r.readLine()
		if err != nil {
			if err == io.EOF && r.group.take(r, rec) {
				return nil
			}
			return err
		}
		line := bytes.TrimRight(raw, "\r\n \t")
		i := skipBlank(line, 0)
		if i == len(line) {
			continue
		}
		*rec = Record{Line: r.line, LastLine: r.line, Byte: start, Raw: line, Data: r.data[:0]}
		got := haveNothing
		if line[i] == '(' && i == 0 {
			if ok, b := r.parseLogLine(line, rec); b != nil {
				r.refuse(rec, b)
				continue
			} else if ok {
				got = haveRecord
			} else {
				*rec = Record{Line: r.line, LastLine: r.line, Byte: start, Raw: line, Data: r.data[:0]}
			}
		}
		if got == haveNothing {
			got = r.otherLine(line[i:], i, rec)
		}
		switch got {
		case haveGroup:
			return nil
		case haveRecord:
			if r.group.pending() {
				var g Record
				if r.group.take(r, &g) {
					r.held, r.hasHeld = *rec, true
					*rec = g
				}
			}
			return nil
		}
	}
}

// refuse notes a line that could not be read.
func (r *Reader) refuse(rec *Record, b *badLine) {
	if r.notes.Full() {
		r.notes.Add(Note{Index: r.index, Line: rec.Line, Byte: rec.Byte + int64(b.at), Lost: true})
		return
	}
	r.note(rec.Line, rec.Byte+int64(b.at), true, fmt.Sprintf("line not read: %s, in %q", b.text, clip(rec.Raw)))
}

type outcome uint8

const (
	haveNothing outcome = iota
	haveRecord
	haveGroup // a finished message over numbered lines is in the record
)

// otherLine reads every text form but the log line with a time stamp.
func (r *Reader) otherLine(line []byte, at int, rec *Record) outcome {
	if line[0] == '#' || line[0] == ';' || bytes.HasPrefix(line, []byte("//")) {
		return haveNothing // a comment
	}
	if i := bytes.Index(line, []byte("//")); i > 0 {
		line = line[:i]
	}
	hash := -1
	for i := 1; i < len(line); i++ {
		if line[i] != '#' {
			continue
		}
		if line[i-1] <= ' ' { // a comment after the bytes
			line = line[:i]
		} else {
			hash = i
		}
		break
	}
	r.fields = fields(line, r.fields[:0])
	t := r.fields
	for i := range t {
		t[i].at += at
	}
	if len(t) == 0 {
		return haveNothing
	}
	if hash >= 0 {
		return r.bareSpec(t, rec)
	}
	for i, f := range t {
		if n := len(f.s); i > 0 && n >= 3 && (f.s[0] == '[' && f.s[n-1] == ']' || f.s[0] == '{' && f.s[n-1] == '}') {
			if _, ok := bracketed(f.s); ok {
				if b := r.parseConsole(t, i, rec); b != nil {
					r.refuse(rec, b)
					return haveNothing
				}
				return haveRecord
			}
		}
	}
	h, b := r.parseHex(t, rec)
	switch {
	case b != nil:
		r.refuse(rec, b)
		return haveNothing
	case h.text:
		if len(bytes.Trim(rec.Raw, "<> \t")) > 0 {
			r.note(rec.Line, rec.Byte, false, fmt.Sprintf("text, not a message: %q", clip(rec.Raw)))
		}
		return haveNothing
	case h.declared >= 0, h.group == 0 && r.group.lines > 0:
		var g Record
		got := haveNothing
		if r.group.take(r, &g) {
			got = haveGroup
		}
		if h.declared >= 0 {
			r.group.declare(h.declared, rec)
		} else {
			r.group.add(r, h.group, rec)
		}
		if got == haveGroup {
			*rec = g
		}
		return got
	case h.group >= 0:
		r.group.add(r, h.group, rec)
		return haveNothing
	}
	return haveRecord
}

// bareSpec reads ID#DATA without a time stamp in front, after an optional
// interface name or direction.
func (r *Reader) bareSpec(t []field, rec *Record) outcome {
	i := 0
	for i < len(t) && bytes.IndexByte(t[i].s, '#') < 0 {
		i++
	}
	before, _ := r.prefixes(t[:i], rec)
	for _, f := range before {
		rec.Bus = r.intern(f.s)
	}
	rec.Flags &^= NoID
	if _, b := parseFrameSpec(t[i].s, t[i].at, rec); b != nil {
		r.refuse(rec, b)
		return haveNothing
	}
	if i+1 < len(t) {
		rec.Dir = trailingDir(t[i+1].s)
		if rec.Dir == DirUnknown {
			r.note(rec.Line, rec.Byte+int64(t[i+1].at), false, fmt.Sprintf("text %q after the frame is not understood; the frame is kept", clip(t[i+1].s)))
		}
	}
	return haveRecord
}

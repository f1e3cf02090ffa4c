package canlog

import "fmt"

// group is a message written over numbered lines:
//
//	014
//	0: 49 02 01 31 47 31
//	1: 4A 43 35 34 34 34 52
//	2: 37 32 35 32 33 36 37
//
// The number is one hex digit and goes on from F to 0. The length line may be
// missing; then all bytes of the lines are the message, fill bytes included.
type group struct {
	rec      Record
	data     []byte
	raw      []byte
	declared int // -1 when no length line was given
	length   bool
	lines    int
	broken   bool
}

func (g *group) pending() bool { return g.lines > 0 || g.length }

// declare remembers the length line.
func (g *group) declare(n int, rec *Record) {
	*g = group{declared: n, length: true, rec: *rec, raw: append(g.raw[:0], rec.Raw...), data: g.data[:0]}
}

// add appends one numbered line.
func (g *group) add(r *Reader, number int, rec *Record) {
	if !g.pending() {
		*g = group{declared: -1, rec: *rec, raw: g.raw[:0], data: g.data[:0]}
	} else if !g.broken {
		g.raw = append(g.raw, '\n')
	}
	if !g.broken {
		g.raw = append(g.raw, rec.Raw...)
	}
	if rec.Is(HasTime) && !g.rec.Is(HasTime) {
		g.rec.Time, g.rec.Flags = rec.Time, g.rec.Flags|HasTime
	}
	if rec.Dir != DirUnknown {
		g.rec.Dir = rec.Dir
	}
	if want := g.lines & 0x0F; number != want && !g.broken {
		g.broken = true
		r.note(rec.Line, rec.Byte, true, fmt.Sprintf("numbered line %X where %X was due: a line is missing, repeated, or two modules answered without ids; the message that began in line %d is not used", number, want, g.rec.Line))
	}
	g.lines++
	g.rec.LastLine = rec.Line
	if len(g.data)+len(rec.Data) > maxMessage {
		if !g.broken {
			g.broken = true
			r.note(rec.Line, rec.Byte, true, fmt.Sprintf("more than %d bytes over numbered lines; the message that began in line %d is not used", maxMessage, g.rec.Line))
		}
		return
	}
	g.data = append(g.data, rec.Data...)
}

// take hands the collected message out, or notes why it cannot and reports false.
func (g *group) take(r *Reader, rec *Record) bool {
	if !g.pending() {
		return false
	}
	done := *g
	*g = group{raw: nil, data: nil}
	switch {
	case done.lines == 0:
		r.note(done.rec.Line, done.rec.Byte, true, fmt.Sprintf("%q stands alone: neither a whole number of bytes nor the length of numbered lines", clip(done.raw)))
	case done.broken:
	case done.declared >= 0 && len(done.data) < done.declared:
		r.note(done.rec.LastLine, done.rec.Byte, true, fmt.Sprintf("the message of lines %d to %d should have %d bytes and has %d: a line is missing; it is not used", done.rec.Line, done.rec.LastLine, done.declared, len(done.data)))
	case len(done.data) == 0:
		r.note(done.rec.Line, done.rec.Byte, true, "numbered lines without bytes")
	default:
		*rec = done.rec
		rec.Kind = Message
		rec.Flags |= NoID
		rec.Raw = done.raw
		rec.Data = done.data
		if done.declared >= 0 {
			rec.Data = done.data[:done.declared]
		}
		return true
	}
	return false
}

package obd

import "slices"

// piece is the data of one parameter id inside an answer.
type piece struct {
	pid   byte
	frame byte // service 02
	data  []byte
}

// split cuts the bytes after the service byte into parameter ids. head is 1 for
// service 01 (the id) and 2 for service 02 (id and frame number).
//
// Most ids have one length. Some answers are a byte longer or shorter (trims of
// banks 3 and 4), so lengths are chosen such that the whole answer comes out
// even; asked, when known, are the ids the tester asked for and binds the
// choice. What cannot be cut is returned as rest.
//
// The pieces are appended to out.
func split(out []piece, b []byte, head int, asked []byte) (pieces []piece, rest []byte) {
	if p := known(b); p != nil && len(b) == head+p.lengths[0] { // one id of the usual length: nearly every answer
		return append(out, newPiece(b, head)), nil
	}
	for _, bound := range [][]byte{asked, nil} {
		if fits := chain(b, head, bound); fits[0] {
			return walk(out, b, head, func(pid byte, at int) int {
				for _, n := range pids()[pid].lengths {
					if next := at + head + n; next <= len(b) && fits[next] {
						return n
					}
				}
				return 0
			})
		}
		if len(bound) == 0 {
			break
		}
	}
	return walk(out, b, head, func(pid byte, at int) int {
		for _, n := range pids()[pid].lengths {
			if at+head+n <= len(b) {
				return n
			}
		}
		return 0
	})
}

// chain says from which places the rest of b divides evenly.
func chain(b []byte, head int, asked []byte) []bool {
	fits := make([]bool, len(b)+1)
	fits[len(b)] = true
	for at := len(b) - head - 1; at >= 0; at-- {
		p := pids()[b[at]]
		if p == nil || len(asked) > 0 && !slices.Contains(asked, b[at]) {
			continue
		}
		for _, n := range p.lengths {
			if next := at + head + n; next <= len(b) && fits[next] {
				fits[at] = true
			}
		}
	}
	return fits
}

// known gives what is known of the id at the start of b.
func known(b []byte) *pidInfo {
	if len(b) == 0 {
		return nil
	}
	return pids()[b[0]]
}

func newPiece(b []byte, head int) piece {
	p := piece{pid: b[0], data: b[head:]}
	if head == 2 {
		p.frame = b[1]
	}
	return p
}

func walk(out []piece, b []byte, head int, length func(pid byte, at int) int) (pieces []piece, rest []byte) {
	at := 0
	for at+head < len(b) {
		if pids()[b[at]] == nil {
			break
		}
		n := length(b[at], at)
		if n == 0 {
			break
		}
		out = append(out, newPiece(b[at:at+head+n], head))
		at += head + n
	}
	return out, b[at:]
}

// filler reports whether bytes are the fill of a frame: all alike, of the values
// in use.
func filler(b []byte) bool {
	for _, c := range b {
		if c != b[0] || c != 0 && c != 0xAA && c != 0x55 && c != 0xCC && c != 0xFF {
			return false
		}
	}
	return len(b) > 0
}

// Supported lists the ids a support mask names: bit 7 of the first byte is base+1.
func Supported(base byte, mask []byte) []byte {
	var out []byte
	for i := range 8 * min(len(mask), 4) {
		if mask[i/8]>>(7-i%8)&1 != 0 {
			out = append(out, base+byte(i)+1)
		}
	}
	return out
}

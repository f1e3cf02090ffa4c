package trace

import "fmt"

// oddity is one kind of thing that may be wrong with a row.
type oddity uint8

const (
	oddShort oddity = iota
	oddCut
	oddLong
	oddTime
	oddCell
	oddInf
	oddText
	oddBlank
	oddComment
	oddHeader
	oddBack
	oddRepeat
	oddDead
	nOddities
)

// listEach is how many notes of one kind are listed; the rest is counted.
const listEach = 5

// tail says what the counted rest of each kind is.
var tail = [nOddities]string{
	oddShort:   "rows have fewer values than columns; the missing ones are left empty",
	oddCut:     "rows are cut off",
	oddLong:    "rows have more values than columns; the surplus is not used",
	oddTime:    "rows have no readable time and are not used",
	oddCell:    "cells are not numbers and are left empty",
	oddInf:     "cells hold an infinity or an overload and are left empty",
	oddText:    "lines are not rows of numbers and are not used",
	oddBlank:   "blank lines",
	oddComment: "comment lines among the rows",
	oddHeader:  "repeated header lines",
	oddBack:    "times the clock runs backwards; each starts a new segment",
	oddRepeat:  "rows repeat the time of the row before",
	oddDead:    "pauses in the recording; nothing was measured in them",
}

// lost says which kinds mean that data could not be used.
var lost = [nOddities]bool{oddCut: true, oddLong: true, oddTime: true, oddCell: true, oddInf: true, oddText: true, oddBack: true}

// noteBook collects notes, lists the first few of each kind and counts the rest.
type noteBook struct {
	first [nOddities][]Note
	n     [nOddities]int
	last  [nOddities]int // line of the last one
}

// add notes one oddity; text is made only for those that are listed.
func (nb *noteBook) add(k oddity, line int, off int64, text func() string) {
	nb.n[k]++
	nb.last[k] = line
	if len(nb.first[k]) < listEach {
		nb.first[k] = append(nb.first[k], Note{Line: line, Byte: off, Text: text(), Lost: lost[k]})
	}
}

// merge adds the notes of a later part of the file, whose lines and bytes
// count from the given ones.
func (nb *noteBook) merge(o *noteBook, line int, off int64) {
	for k := range nOddities {
		for _, n := range o.first[k] {
			if len(nb.first[k]) >= listEach {
				break
			}
			n.Line += line
			n.Byte += off
			nb.first[k] = append(nb.first[k], n)
		}
		nb.n[k] += o.n[k]
		if o.n[k] > 0 {
			nb.last[k] = o.last[k] + line
		}
	}
}

// notes gives them all: kind by kind, each kind in the order of the file.
func (nb *noteBook) notes(bytesKnown bool) []Note {
	var out []Note
	for k := range nOddities {
		if k == oddBlank || k == oddComment {
			switch {
			case nb.n[k] == 1 && k == oddBlank:
				out = append(out, Note{Line: nb.last[k], Text: "a blank line"})
			case nb.n[k] == 1:
				out = append(out, Note{Line: nb.last[k], Text: "a comment line among the rows"})
			case nb.n[k] > 1:
				out = append(out, Note{Line: nb.first[k][0].Line, Text: fmt.Sprintf("%d %s, the first here", nb.n[k], tail[k])})
			}
			continue
		}
		for _, n := range nb.first[k] {
			if !bytesKnown {
				n.Byte = 0
			}
			out = append(out, n)
		}
		if rest := nb.n[k] - len(nb.first[k]); rest > 0 {
			out = append(out, Note{Line: nb.last[k], Text: fmt.Sprintf("%d more %s; the last is line %d", rest, tail[k], nb.last[k]), Lost: lost[k]})
		}
	}
	return out
}

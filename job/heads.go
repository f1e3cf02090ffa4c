package job

import (
	"fmt"
	"maps"
	"slices"

	"proveout/strict"
)

// VerifyHeads holds a record against heads its chains are known to have had, by
// device: printed, or signed at some time. Later entries may follow; the chain
// must pass through the head. A chain that was hashed anew from any entry up to the
// head, cut before it, or taken away fails here, however well it fits together.
func VerifyHeads(lines [][]byte, heads map[string]Head) []Problem {
	type at struct {
		digest string
		line   int
	}
	have := map[string]map[int]at{}
	last := map[string]int{}
	for i, line := range lines {
		e, err := ParseEntry(line)
		if err != nil {
			continue // VerifyRecord names it
		}
		if have[e.Device] == nil {
			have[e.Device] = map[int]at{}
		}
		have[e.Device][e.Sequence] = at{Digest(line), i + 1}
		last[e.Device] = max(last[e.Device], e.Sequence)
	}
	var out []Problem
	bad := func(line int, format string, args ...any) {
		out = append(out, Problem{File: "record", Line: line, Severity: strict.Error, Text: fmt.Sprintf(format, args...)})
	}
	for _, d := range slices.Sorted(maps.Keys(heads)) {
		want := heads[d]
		got, ok := have[d][want.Sequence]
		switch {
		case have[d] == nil:
			bad(len(lines), "device %s has a signed head and no entry: its chain was taken away", d)
		case !ok:
			bad(len(lines), "device %s ends at entry %d, its signed head is entry %d: entries were taken away", d, last[d], want.Sequence)
		case got.digest != want.Digest:
			bad(got.line, "entry %d of device %s is not the one that was signed: it, or one before it, was changed and the chain hashed anew", want.Sequence, d)
		}
	}
	return out
}

// HeadsOf gives the ends of the chains of a record.
func HeadsOf(lines []Line) map[string]Head {
	out := map[string]Head{}
	for i := range lines {
		e := &lines[i].Entry
		out[e.Device] = Head{e.Sequence, Digest(lines[i].Bytes)}
	}
	return out
}

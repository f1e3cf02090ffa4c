package job

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// EntrySchemaID is the value of the "schema" field of an entry of the record.
const EntrySchemaID = "proveout/entry/1"

// Entry is one entry of a job's record: one line of JSON in record/, written
// once and never changed. What is hashed are the stored bytes of the line, so an
// entry is never encoded anew: an unknown type is kept, shown and exported as it
// is.
//
// Entries form one chain for each device, since an entry made offline cannot know
// the shop's last hash; the server orders the chains.
type Entry struct {
	Schema string `json:"schema"`
	ID     string `json:"id"`     // opaque, unique
	Shop   string `json:"shop"`   // opaque ids: names and other personal data stay beside the chain
	Job    string `json:"job"`    //
	Author string `json:"author"` //
	Device string `json:"device"` //
	// Sequence counts the entries of the device in this job from 1; Previous is the
	// digest of the device's entry before, empty for the first.
	Sequence int    `json:"device_sequence"`
	Previous string `json:"previous"`
	// Wall is RFC 3339 with its offset. MonotonicNS counts from the device's start,
	// which BootID names: two stamps of one boot may be subtracted.
	Wall        string `json:"wall"`
	MonotonicNS int64  `json:"monotonic_ns"`
	BootID      string `json:"boot_id"`
	// Type is name@version: reading_typed@1, set_aside@1, undo@1, ...
	Type    string   `json:"type"`
	Parents []string `json:"parents"` // ids of entries this one is about
	// Seen is the newest entry of the job the author had on the screen, where that is
	// known: what others set after it, the author did not know.
	Seen string `json:"seen,omitempty"`
	// Attested is what the author showed, and when: pin (within the last minutes), or
	// in words; empty: nothing.
	Attested string `json:"attested,omitempty"`
	Practice bool   `json:"practice,omitempty"`
	// Payload is kept as bytes.
	Payload json.RawMessage `json:"payload"`
}

// ParseEntry reads one stored line. The line itself, not the entry, is what
// Digest and VerifyRecord work on.
func ParseEntry(line []byte) (Entry, error) {
	var e Entry
	if len(line) > MaxBytes {
		return e, fmt.Errorf("the line has %d bytes, an entry at most %d", len(line), MaxBytes)
	}
	if err := json.Unmarshal(line, &e); err != nil {
		return e, fmt.Errorf("not an entry of the record: %w", err)
	}
	name, version, ok := strings.Cut(e.Type, "@")
	_, wallErr := time.Parse(time.RFC3339Nano, e.Wall)
	switch {
	case !strings.HasPrefix(e.Schema, "proveout/entry/"):
		return e, fmt.Errorf("schema is %q; this program reads %q", e.Schema, EntrySchemaID)
	case e.Schema != EntrySchemaID:
		return e, fmt.Errorf("schema is %q, newer than this program (%q); use a newer program", e.Schema, EntrySchemaID)
	case e.ID == "" || e.Job == "" || e.Device == "" || e.Author == "":
		return e, fmt.Errorf("id, job, device and author must all be given")
	case !ok || name == "" || version == "":
		return e, fmt.Errorf("type is %q; write name@version", e.Type)
	case e.Sequence < 1:
		return e, fmt.Errorf("device_sequence is %d; it counts from 1", e.Sequence)
	case wallErr != nil:
		return e, fmt.Errorf("wall is %q; write RFC 3339 with an offset", e.Wall)
	}
	return e, nil
}

// Digest is the SHA-256 of a stored line without its line end, in hex.
func Digest(line []byte) string {
	sum := sha256.Sum256(bytes.TrimRight(line, "\r\n"))
	return hex.EncodeToString(sum[:])
}

// VerifyRecord checks the chains of a record: each device's entries follow each
// other without a gap, and each carries the digest of the stored bytes before.
// heads, where known (printed or signed), are the digests each chain must end
// with: a chain that somebody hashed anew from its first entry on fails only
// there. The problems name the line.
func VerifyRecord(lines [][]byte, heads map[string]string) []Problem {
	type link struct {
		sequence int
		digest   string
		line     int
	}
	last, ids := map[string]link{}, map[string]int{}
	var order []string
	var out []Problem
	bad := func(line int, format string, args ...any) {
		out = append(out, Problem{File: "record", Line: line, Text: fmt.Sprintf(format, args...)})
	}
	for i, line := range lines {
		n := i + 1
		e, err := ParseEntry(line)
		if err != nil {
			bad(n, "%v", err)
			continue
		}
		if at := ids[e.ID]; at > 0 {
			bad(n, "entry %s stands twice, first in line %d", e.ID, at)
		}
		ids[e.ID] = n
		before, seen := last[e.Device]
		if !seen {
			order = append(order, e.Device)
		}
		switch {
		case e.Sequence != before.sequence+1:
			bad(n, "device %s goes from entry %d to %d: an entry is missing or out of order", e.Device, before.sequence, e.Sequence)
		case e.Previous != before.digest:
			bad(n, "the entry before it on device %s (line %d) is not the one it was written after: changed or replaced", e.Device, before.line)
		}
		last[e.Device] = link{e.Sequence, Digest(line), n}
	}
	for _, d := range order {
		if want, ok := heads[d]; ok && want != last[d].digest {
			bad(last[d].line, "device %s does not end with the signed head: entries were added, taken away or hashed anew", d)
		}
	}
	for _, d := range slices.Sorted(maps.Keys(heads)) {
		if _, ok := last[d]; !ok {
			bad(len(lines), "device %s has a signed head and no entry: its chain was taken away", d)
		}
	}
	return out
}

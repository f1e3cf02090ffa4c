package runner

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"proveout/procedure"
)

// A record of a run is lines of text, each "hash<space>JSON<newline>". The hash is
// SHA-256 over the hash of the line before (64 hex digits, "" for the first) and the
// JSON bytes as stored. The first line is the Header, the others are entries.

// Header opens a record: what runs, and exactly which text of it.
type Header struct {
	Format    string `json:"format"` // RecordFormat
	Procedure string `json:"procedure"`
	Version   int    `json:"version"`
	SHA256    string `json:"sha256"` // of the procedure file as it was read
	Job       string `json:"job,omitempty"`
	Practice  bool   `json:"practice,omitempty"`
}

// RecordFormat names the format of a record.
const RecordFormat = "proveout/procedure-run/1"

// MaxRecord is the largest record that is read.
const MaxRecord = 64 << 20

// Line makes one line of a record and the hash to pass to the next.
func Line(prev string, v any) (line []byte, hash string, err error) {
	body, err := json.Marshal(v)
	if err != nil {
		return nil, "", fmt.Errorf("write entry: %w", err)
	}
	hash = sum(prev, body)
	line = append([]byte(hash), ' ')
	line = append(line, body...)
	return append(line, '\n'), hash, nil
}

func sum(prev string, body []byte) string {
	h := sha256.New()
	h.Write([]byte(prev))
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}

// Read reads a record. torn is the number of bytes of a last line that never got
// its end: it was cut off while being written, so it was never acknowledged. Any
// other fault is an error with its line.
func Read(data []byte) (head Header, entries []Entry, last string, torn int, err error) {
	if len(data) > MaxRecord {
		return head, nil, "", 0, fmt.Errorf("the record has %d bytes; at most %d are read", len(data), MaxRecord)
	}
	n := 0
	for len(data) > 0 {
		i := bytes.IndexByte(data, '\n')
		if i < 0 {
			return head, entries, last, len(data), nil
		}
		line := data[:i]
		data = data[i+1:]
		n++
		if len(line) < 66 || line[64] != ' ' {
			return head, entries, last, 0, fmt.Errorf("line %d of the record is no hash and entry", n)
		}
		body := line[65:]
		if got := sum(last, body); got != string(line[:64]) {
			return head, entries, last, 0, fmt.Errorf("line %d of the record does not follow from the line before: it was changed, or a line is missing", n)
		}
		last = string(line[:64])
		if n == 1 {
			if err := json.Unmarshal(body, &head); err != nil || head.Format != RecordFormat {
				return head, nil, last, 0, fmt.Errorf("line 1 of the record is no %s header", RecordFormat)
			}
			continue
		}
		var e Entry
		if err := json.Unmarshal(body, &e); err != nil {
			return head, entries, last, 0, fmt.Errorf("line %d of the record: %w", n, err)
		}
		if e.Seq != len(entries)+1 {
			return head, entries, last, 0, fmt.Errorf("line %d of the record has number %d, expected %d", n, e.Seq, len(entries)+1)
		}
		entries = append(entries, e)
	}
	return head, entries, last, 0, nil
}

// Store keeps lines of a record. Append returns only when the line is durable.
type Store interface{ Append(line []byte) error }

// Session joins a run with its store: an entry is stored before it is acknowledged.
type Session struct {
	Run  *Run
	to   Store
	last string
	dead error // the store failed: nothing more is accepted
}

// Open makes a session on a record. A new record (data empty) gets its header. The
// caller has cut a torn last line off the store before.
func Open(m *procedure.Machine, head Header, data []byte, to Store) (*Session, error) {
	if len(data) == 0 {
		line, hash, err := Line("", head)
		if err != nil {
			return nil, err
		}
		if err := to.Append(line); err != nil {
			return nil, err
		}
		return &Session{Run: New(m), to: to, last: hash}, nil
	}
	was, entries, last, torn, err := Read(data)
	if err != nil {
		return nil, err
	}
	if torn > 0 {
		return nil, fmt.Errorf("the record ends in %d bytes of a line that was cut off; cut them off the store first", torn)
	}
	if was.Procedure != head.Procedure || was.SHA256 != head.SHA256 {
		return nil, fmt.Errorf("the record was begun with procedure %s (%s), now it is %s (%s): a run goes on only with the very text it began with", was.Procedure, short(was.SHA256), head.Procedure, short(head.SHA256))
	}
	r, err := Replay(m, entries)
	if err != nil {
		return nil, err
	}
	return &Session{Run: r, to: to, last: last}, nil
}

func short(s string) string { return s[:min(len(s), 12)] }

// Put numbers, tries, stores and then takes an entry. When it returns nil the entry
// is durable and counts. A refusal leaves record and run as they were. When the
// store fails the session accepts nothing more: what is on disk is not known.
func (s *Session) Put(e Entry) error {
	if s.dead != nil {
		return fmt.Errorf("nothing more is accepted since the record could not be written: %w", s.dead)
	}
	e.Seq = s.Run.Next()
	next := s.Run.Clone()
	if err := next.Take(e); err != nil {
		return err
	}
	if now := append([]string{}, next.Dangers()...); !slices.Equal(now, s.Run.Dangers()) {
		e.Standing = &now
	}
	line, hash, err := Line(s.last, e)
	if err != nil {
		return err
	}
	if err := s.to.Append(line); err != nil {
		s.dead = err
		return fmt.Errorf("the entry could not be stored and does not count: %w", err)
	}
	s.Run, s.last = next, hash
	return nil
}

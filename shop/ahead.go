package shop

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"proveout/intake"
)

// A capture is decoded while it arrives, so that its picture is there when the upload
// ends: reading ten million rows takes a second, and nobody at a fender waits a second
// twice. What is decoded ahead is only kept if the capture turns out to have the hash
// of the very bytes that were decoded; otherwise it is thrown away, and the capture is
// read again when it is asked for.

// aheadMost bounds the size of a file that is decoded ahead and how many are at once
// (our choice: two phones, each with the largest file whose values fit the limit).
const (
	aheadMost  = 1 << 30
	aheadCount = 2
)

// aheads are the uploads that are being decoded.
type aheads struct {
	mu sync.Mutex
	by map[string]*ahead
}

// ahead is one upload on its way through the decoder.
type ahead struct {
	name string
	w    *io.PipeWriter
	at   int64 // bytes handed to the decoder
	done chan struct{}
	file intake.File
}

// begin starts decoding an upload, if there is room for it.
func (s *aheads) begin(b *Bench, id, name string, size int64) {
	if size <= 0 || size > aheadMost {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.by) >= aheadCount {
		return
	}
	r, w := io.Pipe()
	a := &ahead{name: name, w: w, done: make(chan struct{})}
	if s.by == nil {
		s.by = map[string]*ahead{}
	}
	s.by[id] = a
	m, _ := readMapping(name, nil)
	go func() {
		a.file = intake.Read(name, r, size, m.options(b.o.Limits))
		r.CloseWithError(io.ErrClosedPipe) // a decoder that gave up must not hold up the upload
		close(a.done)
	}()
}

// tap gives the bytes of a piece to the decoder as they are read. A piece that does
// not go on where the last ended ends the decoding ahead.
func (s *aheads) tap(id string, offset int64, r io.Reader) io.Reader {
	s.mu.Lock()
	a := s.by[id]
	s.mu.Unlock()
	switch {
	case a == nil:
		return r
	case a.at != offset:
		s.drop(id)
		return r
	}
	return &tap{r: r, a: a}
}

type tap struct {
	r io.Reader
	a *ahead
}

func (t *tap) Read(p []byte) (int, error) {
	n, err := t.r.Read(p)
	if n > 0 {
		t.a.at += int64(n)
		_, _ = t.a.w.Write(p[:n]) // the decoder may have given up: the upload goes on
	}
	return n, err
}

// drop ends the decoding of an upload and forgets it.
func (s *aheads) drop(id string) {
	if a := s.take(id); a != nil {
		a.abandon()
	}
}

// abandon ends a decoder; what it has kept so far is let go.
func (a *ahead) abandon() {
	a.w.CloseWithError(io.ErrUnexpectedEOF)
	go func() {
		<-a.done
		_ = a.file.Close()
	}()
}

func (s *aheads) take(id string) *ahead {
	s.mu.Lock()
	defer s.mu.Unlock()
	a := s.by[id]
	delete(s.by, id)
	return a
}

// finish keeps what was decoded, when it is of the bytes that were sealed.
func (b *Bench) finishAhead(id, sha string, size int64) {
	a := b.ahead.take(id)
	if a == nil {
		return
	}
	if a.at != size {
		a.abandon()
		return
	}
	a.w.Close()
	<-a.done
	defer a.file.Close()
	if a.file.Err != nil || a.file.Recording == nil || a.file.SHA256 != sha {
		return
	}
	m, _ := readMapping(a.name, nil)
	key := traceKey(sha, m)
	path := filepath.Join(b.traces.dir, sha[:2], key)
	if _, err := os.Stat(path); err == nil {
		return
	}
	if a.file.BeyondMemory() {
		_ = b.traces.keep(path, a.file)
		return
	}
	_ = b.traces.shelve(key, path, a.file) // it is decoded again when it is asked for
}

// traceKey names the decoded form of a capture: which bytes, with which mapping, by
// which decoder.
func traceKey(sha string, m mapping) string {
	return strings.Join([]string{sha, m.digest()[:16], "v" + DecoderVersion}, "-")
}

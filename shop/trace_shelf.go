package shop

import (
	"bytes"
	"container/list"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"proveout/intake"
	"proveout/store"
	"proveout/unit"
)

// traceShelf keeps trace files on disk, and those drawn from last open.
type traceShelf struct {
	b   *Bench
	dir string

	mu    sync.Mutex
	open  map[string]*list.Element // of *shelvedTrace
	order *list.List
	bytes int64

	writing sync.WaitGroup // trace files on their way to the disk
}

type shelvedTrace struct {
	key  string
	once sync.Once
	t    *traceFile
	err  error
	uses int // views under way
}

// traceMemory bounds the block ranges kept in memory (our choice: with the rest an
// open job stays under 100 MB).
const traceMemory = 48 << 20

func newTraceShelf(b *Bench) *traceShelf {
	dir := b.o.CacheDir
	if dir == "" {
		dir = filepath.Join(b.store.Path(), "cache")
	}
	return &traceShelf{b: b, dir: dir, open: map[string]*list.Element{}, order: list.New()}
}

// use gives a capture's trace, decoding it the first time; call release when done.
func (s *traceShelf) use(sha string, m mapping) (t *traceFile, release func(), err error) {
	key := traceKey(sha, m)
	s.mu.Lock()
	e, ok := s.open[key]
	if ok {
		s.order.MoveToFront(e)
	} else {
		e = s.order.PushFront(&shelvedTrace{key: key})
		s.open[key] = e
	}
	st := e.Value.(*shelvedTrace)
	st.uses++
	s.mu.Unlock()
	st.once.Do(func() {
		st.t, st.err = s.make(key, sha, m)
		if st.err == nil {
			s.mu.Lock()
			s.bytes += st.t.bytes
			s.mu.Unlock()
		}
	})
	if st.err != nil {
		s.mu.Lock()
		if s.open[key] == e { // what failed is tried again the next time
			delete(s.open, key)
			s.order.Remove(e)
		}
		s.mu.Unlock()
		return nil, nil, st.err
	}
	s.trim()
	return st.t, func() {
		s.mu.Lock()
		st.uses--
		s.mu.Unlock()
	}, nil
}

// trim closes the traces that were not drawn from for longest.
func (s *traceShelf) trim() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for e := s.order.Back(); e != nil && (s.bytes > traceMemory || s.order.Len() > 64); {
		st, before := e.Value.(*shelvedTrace), e.Prev()
		if st.uses == 0 && st.t != nil {
			s.order.Remove(e)
			delete(s.open, st.key)
			s.bytes -= st.t.bytes
			st.t.f.Close()
		}
		e = before
	}
}

// make opens the trace file of a capture, after writing it if it is not there.
func (s *traceShelf) make(key, sha string, m mapping) (*traceFile, error) {
	path := filepath.Join(s.dir, sha[:2], key)
	if t, err := openTrace(path); err == nil {
		return t, nil
	}
	f := s.b.readCapture(m.name, sha, m.options(s.b.o.Limits))
	switch {
	case f.Err != nil:
		var disk *fs.PathError
		if errors.As(f.Err, &disk) || errors.Is(f.Err, store.ErrNotFound) {
			return nil, f.Err
		}
		return nil, unreadable{f.Err}
	case f.Recording == nil:
		return nil, errMessages
	}
	defer f.Close()
	if err := s.keep(path, f); err != nil {
		return nil, err
	}
	return openTrace(path)
}

// shelve puts what was decoded elsewhere on the shelf, to be drawn from at once, and
// writes its file meanwhile.
func (s *traceShelf) shelve(key, path string, f intake.File) error {
	var image bytes.Buffer
	image.Grow(4 * f.Recording.Time.N * (len(f.Recording.Channels) + 1))
	if err := imageTrace(&image, f.Recording, f.Kind); err != nil {
		return err
	}
	t, err := readTrace(memoryBytes{bytes.NewReader(image.Bytes())}, f.Name)
	if err != nil {
		return err
	}
	st := &shelvedTrace{key: key, t: t}
	st.once.Do(func() {})
	t.bytes += int64(image.Len())
	s.mu.Lock()
	if _, ok := s.open[key]; ok {
		s.mu.Unlock()
		return nil // asked for and decoded in the meantime
	}
	e := s.order.PushFront(st)
	s.open[key] = e
	s.bytes += t.bytes
	s.writing.Add(1)
	s.mu.Unlock()
	go func() {
		defer s.writing.Done()
		err := os.MkdirAll(filepath.Dir(path), 0o755)
		if err == nil {
			err = inPlace(path, func(w io.Writer) error { _, err := w.Write(image.Bytes()); return err })
		}
		// From now on the file is drawn from; if it could not be written, the capture is
		// decoded anew when the memory is needed.
		s.mu.Lock()
		defer s.mu.Unlock()
		if err == nil && st.uses == 0 && s.open[key] == e {
			delete(s.open, key)
			s.order.Remove(e)
			s.bytes -= t.bytes
		}
	}()
	return nil
}

// memoryBytes is a trace that is not on disk yet.
type memoryBytes struct{ *bytes.Reader }

func (memoryBytes) Close() error { return nil }

// errMessages is a capture that has no samples to draw.
var errMessages = fmt.Errorf("%w: the capture holds diagnostic messages, not samples", ErrBadCommand)

// unreadable is a file that cannot be read as a capture. Its words are its own; nothing
// of the workbench has failed.
type unreadable struct{ error }

func (u unreadable) Is(target error) bool { return target == ErrBadCommand }
func (u unreadable) Unwrap() error        { return u.error }

func (s *traceShelf) keep(path string, f intake.File) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	if err := writeTrace(path, f.Recording, f.Kind); err != nil {
		return fmt.Errorf("the view of %s cannot be kept: %w", f.Name, err)
	}
	return nil
}

// siSymbol is the unit the values of a channel are in.
func siSymbol(u unit.Unit) string {
	for _, v := range unit.Of(u.Dim) {
		if v.Factor == 1 && v.Offset == 0 {
			return v.Symbol
		}
	}
	return ""
}

// close lets go of the trace files on the shelf.
func (s *traceShelf) close() {
	s.writing.Wait()
	s.mu.Lock()
	defer s.mu.Unlock()
	for e := s.order.Front(); e != nil; e = e.Next() {
		if st := e.Value.(*shelvedTrace); st.t != nil && st.uses == 0 {
			st.t.f.Close()
		}
	}
}

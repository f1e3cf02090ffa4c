package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"
	"time"

	"proveout/procedure"
	"proveout/procedure/watch"
)

// feedSource is one feed as asked for on the command line: "supply=meter.csv", a path
// alone for the first watch, or "-" for standard input.
type feedSource struct {
	watch int
	path  string
}

func feedSources(m *procedure.Machine, feeds []string) ([]feedSource, error) {
	var out []feedSource
	taken := map[int]bool{}
	for _, f := range feeds {
		s := feedSource{path: f}
		if id, path, named := strings.Cut(f, "="); named {
			s = feedSource{-1, path}
			for i := range m.Watches {
				if m.Watches[i].ID == id {
					s.watch = i
				}
			}
		}
		switch {
		case len(m.Watches) == 0:
			return nil, fmt.Errorf("procedure %s watches nothing: leave --feed out", m.File.ID)
		case s.watch < 0:
			return nil, fmt.Errorf("--feed %s: procedure %s has no such watch; it has: %s", f, m.File.ID, watchIDs(m))
		case s.path == "":
			return nil, fmt.Errorf("--feed %s names no file", f)
		case taken[s.watch]:
			return nil, fmt.Errorf("--feed %s: watch %s has a feed already", f, m.Watches[s.watch].ID)
		}
		taken[s.watch] = true
		out = append(out, s)
	}
	return out, nil
}

func watchIDs(m *procedure.Machine) string {
	var ids []string
	for i := range m.Watches {
		ids = append(ids, m.Watches[i].ID)
	}
	return strings.Join(ids, ", ")
}

// tailFile follows a file that another program is still writing, or a named pipe. What
// is in a file when the run begins is old and is skipped, all but its heading. A file
// that is begun anew is read from its beginning.
func tailFile(ctx context.Context, path string, w int, out chan<- row) error {
	st, err := os.Stat(path)
	if err != nil {
		return err
	}
	flag := os.O_RDONLY
	if st.Mode()&os.ModeNamedPipe != 0 {
		flag |= syscall.O_NONBLOCK // a pipe that nobody writes to yet must not hold up the run
	}
	f, err := os.OpenFile(path, flag, 0)
	if err != nil {
		return err
	}
	t := &tail{f: f, w: w, regular: st.Mode().IsRegular()}
	if t.regular {
		if err := t.skipOld(st.Size()); err != nil {
			f.Close()
			return err
		}
	}
	go t.follow(ctx, out)
	return nil
}

// tail follows one open file.
type tail struct {
	f       *os.File
	w       int
	regular bool
	at      int64 // bytes read
	lines   watch.Lines
	clock   stamper
}

// skipOld reads the heading, which tells the columns, and goes to the beginning of the
// last line: it may be half written, and half a number would look like a low sample.
func (t *tail) skipOld(size int64) error {
	head := make([]byte, min(size, watch.MaxLine))
	if _, err := t.f.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	end := make([]byte, min(size, watch.MaxLine))
	if _, err := t.f.ReadAt(end, size-int64(len(end))); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if i := bytes.IndexByte(head, '\n'); i >= 0 {
		t.lines.Write(head[:i+1]) // its row, if it is one, is old
		t.at = size - int64(len(end)) + int64(bytes.LastIndexByte(end, '\n')) + 1
	}
	_, err := t.f.Seek(t.at, io.SeekStart)
	return err
}

func (t *tail) follow(ctx context.Context, out chan<- row) {
	defer t.f.Close()
	buf := make([]byte, 32<<10)
	for ctx.Err() == nil {
		n, err := t.f.Read(buf)
		t.at += int64(n)
		send(ctx, &t.clock, t.w, t.lines.Write(buf[:n]), out)
		if n > 0 && err == nil {
			continue
		}
		if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, syscall.EAGAIN) {
			return // the feed is over: it grows stale and says "not watched"
		}
		if st, err := t.f.Stat(); t.regular && err == nil && st.Size() < t.at {
			// Begun anew by its writer, with its heading and its clock.
			if _, err := t.f.Seek(0, io.SeekStart); err != nil {
				return
			}
			t.at, t.lines, t.clock = 0, watch.Lines{}, stamper{}
			continue
		}
		select {
		case <-ctx.Done():
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// readFeed takes samples from a stream, such as standard input.
func readFeed(ctx context.Context, in io.Reader, w int, out chan<- row) {
	var lines watch.Lines
	var clock stamper
	buf := make([]byte, 32<<10)
	for ctx.Err() == nil {
		n, err := in.Read(buf)
		send(ctx, &clock, w, lines.Write(buf[:n]), out)
		if err != nil {
			return
		}
	}
}

// answersFrom opens where the answers are typed when standard input carries samples:
// a named file, or the terminal.
func answersFrom(path string) (io.ReadCloser, error) {
	if path != "" {
		return os.Open(path)
	}
	for _, tty := range []string{"/dev/tty", "CONIN$"} {
		if f, err := os.Open(tty); err == nil {
			return f, nil
		}
	}
	return nil, errors.New("samples come on standard input and there is no terminal to answer on: say --answers FILE, or give the samples as a file, a named pipe or posts")
}

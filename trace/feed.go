package trace

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"sync"
)

const (
	chunkSize = 1 << 20
	// maxLine: a longer line is not a row of any recorder (our choice).
	maxLine = 4 << 20
)

// feeder cuts a stream into chunks of whole lines.
type feeder struct {
	r     io.Reader
	size  int    // of a chunk
	carry []byte // start of the line the last chunk ended in
	off   int64  // of carry[0] in the text
	eof   bool
	// early is the error with which the stream ended before its end.
	early error
	taken int64
	tell  func(int64)
}

var errLongLine = errors.New("a line is longer than 4 MiB: this is not a file of delimited text")

// next fills c with whole lines; false at the end of the stream.
func (f *feeder) next(c *chunk) (bool, error) {
	if f.eof {
		return false, nil
	}
	buf := append(c.buf[:0], f.carry...)
	if room := len(f.carry) + f.size + 1; cap(buf) < room { // one byte is kept for a last newline
		buf = append(make([]byte, 0, room+1024), buf...)
	}
	f.carry = f.carry[:0]
	for {
		n, err := io.ReadFull(f.r, buf[len(buf):cap(buf)-1])
		buf = buf[:len(buf)+n]
		f.taken += int64(n)
		if f.tell != nil && n > 0 {
			f.tell(f.taken)
		}
		c.off, c.cut, c.early = f.off, false, false
		nl := bytes.LastIndexByte(buf, '\n')
		if len(buf) >= maxLine && nl < 0 {
			return false, fmt.Errorf("byte %d: %w", f.off, errLongLine)
		}
		if err != nil {
			f.eof = true
			if err != io.EOF && err != io.ErrUnexpectedEOF || errors.Is(f.underlying(), io.ErrUnexpectedEOF) {
				f.early, c.early = err, true
			}
			if len(buf) > 0 && buf[len(buf)-1] != '\n' {
				buf = append(buf, '\n')
				c.cut = true
			}
			c.buf = buf
			f.off += int64(len(buf))
			return len(buf) > 0, nil
		}
		if nl >= 0 {
			f.carry = append(f.carry, buf[nl+1:]...)
			c.buf = buf[:nl+1]
			f.off += int64(nl + 1)
			return true, nil
		}
		buf = append(make([]byte, 0, 2*cap(buf)), buf...)
	}
}

// lastError remembers the error its reader ended with: io.ReadFull turns a
// short read at the end and a truncated stream into the same error.
type lastError struct {
	r   io.Reader
	err error
}

func (l *lastError) Read(p []byte) (int, error) {
	n, err := l.r.Read(p)
	if err != nil {
		l.err = err
	}
	return n, err
}

func (f *feeder) underlying() error {
	if l, ok := f.r.(*lastError); ok {
		return l.err
	}
	return nil
}

// pump reads all chunks, scans them with the given number of workers, and hands
// them to sink in the order of the file.
func pump(f *feeder, p *plan, workers int, sink func(*chunk) error) error {
	if workers <= 1 {
		s, c := newScanner(p), &chunk{}
		for {
			more, err := f.next(c)
			if err != nil || !more {
				return err
			}
			s.scan(c)
			if err := sink(c); err != nil {
				return err
			}
		}
	}
	free := make(chan *chunk, workers+2)
	for range workers + 2 {
		free <- &chunk{done: make(chan struct{}, 1)}
	}
	work := make(chan *chunk, workers+2)
	order := make(chan *chunk, workers+2)
	stop := make(chan struct{})
	var readErr error
	var wg sync.WaitGroup
	wg.Add(1)
	go func() {
		defer wg.Done()
		defer close(order)
		defer close(work)
		for {
			var c *chunk
			select {
			case c = <-free:
			case <-stop:
				return
			}
			more, err := f.next(c)
			if err != nil || !more {
				readErr = err
				return
			}
			work <- c
			order <- c
		}
	}()
	for range workers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			s := newScanner(p)
			for c := range work {
				s.scan(c)
				c.done <- struct{}{}
			}
		}()
	}
	var sinkErr error
	for c := range order {
		<-c.done
		if sinkErr == nil {
			if sinkErr = sink(c); sinkErr != nil {
				close(stop)
			}
		}
		free <- c
	}
	wg.Wait()
	if sinkErr != nil {
		return sinkErr
	}
	return readErr
}

package cli

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"sync"
	"time"

	"proveout/procedure/watch"
)

// row is one line of a feed, and when it was measured as far as can be told.
type row struct {
	at int64 // Unix time in ns
	v  float64
}

// tailFile follows a file that another program is still writing: what is in it when
// the run begins is old and is skipped.
func tailFile(ctx context.Context, path string, out chan<- row) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	st, err := f.Stat()
	if err != nil {
		f.Close()
		return err
	}
	if st.Mode().IsRegular() {
		if _, err := f.Seek(0, io.SeekEnd); err != nil {
			f.Close()
			return err
		}
	}
	go func() {
		defer f.Close()
		var lines watch.Lines
		var clock stamper
		buf := make([]byte, 32<<10)
		for ctx.Err() == nil {
			n, err := f.Read(buf)
			send(ctx, &clock, lines.Write(buf[:n]), out)
			if err != nil || n == 0 {
				if err != nil && !errors.Is(err, io.EOF) {
					return // the feed is over: it grows stale and says "not watched"
				}
				select {
				case <-ctx.Done():
				case <-time.After(50 * time.Millisecond):
				}
			}
		}
	}()
	return nil
}

// stamper turns the times of a feed's own clock into times of this machine.
//
// A row cannot arrive before it was measured: the smallest difference seen between
// arrival and the feed's clock is the best guess of the offset between the two.
// Rows that arrive in one piece so keep the time between them (a sag of a second
// stays a second), and rows that arrive late, or are sent again, keep their age and
// count as old. A feed whose clock starts anew is old as well, and the step says
// "not watched": that is the safe way to be wrong.
type stamper struct {
	mu     sync.Mutex
	offset int64 // ns, this machine minus the feed
	at     int64
	have   bool
}

func (s *stamper) stamp(r watch.Row, now int64) int64 {
	if !r.HasTime {
		return now
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if off := now - int64(r.Seconds*1e9); !s.have || off < s.offset {
		s.offset, s.have = off, true
	}
	s.at = max(s.at, int64(r.Seconds*1e9)+s.offset)
	return s.at
}

// send stamps the rows of one piece, newest first so that the whole piece has the
// offset of its freshest row, and hands them on in order.
func send(ctx context.Context, s *stamper, rows []watch.Row, out chan<- row) {
	now := time.Now().UnixNano()
	if n := len(rows); n > 0 && rows[n-1].HasTime {
		s.learn(rows[n-1].Seconds, now)
	}
	for _, r := range rows {
		select {
		case out <- row{s.stamp(r, now), r.Value}:
		case <-ctx.Done():
			return
		}
	}
}

// learn takes the newest row of a piece into the offset before the others are
// stamped.
func (s *stamper) learn(seconds float64, now int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if off := now - int64(seconds*1e9); !s.have || off < s.offset {
		s.offset, s.have = off, true
	}
}

// maxPost is the largest body of posted samples.
const maxPost = 1 << 20

// sampleHandler takes samples posted as CSV or JSON lines. A post needs the token,
// which is bound to this run and its measuring point.
func sampleHandler(ctx context.Context, token string, out chan<- row) http.Handler {
	var clock stamper // one clock for all posts of the run
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		want := "Bearer " + token
		switch {
		case r.Method != http.MethodPost:
			http.Error(w, "post samples here", http.StatusMethodNotAllowed)
			return
		case subtle.ConstantTimeCompare([]byte(r.Header.Get("Authorization")), []byte(want)) != 1:
			http.Error(w, "the token of this run is needed", http.StatusUnauthorized)
			return
		case r.Header.Get("Origin") != "":
			http.Error(w, "not from a page of another site", http.StatusForbidden)
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxPost))
		if err != nil {
			http.Error(w, "the body is too long or was cut off", http.StatusRequestEntityTooLarge)
			return
		}
		var lines watch.Lines
		rows := append(lines.Write(body), lines.Close()...)
		send(ctx, &clock, rows, out)
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		fmt.Fprintf(w, "%d samples, %d lines not understood\n", len(rows), lines.Bad)
	})
}

// listenSamples serves the handler on an address of this machine.
func listenSamples(ctx context.Context, address, token string, out chan<- row) (string, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return "", err
	}
	srv := &http.Server{Handler: sampleHandler(ctx, token, out), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, MaxHeaderBytes: 8 << 10}
	go srv.Serve(l)
	go func() { <-ctx.Done(); srv.Close() }()
	return l.Addr().String(), nil
}

package cli

import (
	"context"
	"sync"
	"time"

	"proveout/procedure/watch"
)

// row is one line of a feed: of which watch it is, and when it was measured as far as
// can be told.
type row struct {
	watch int
	at    int64 // Unix time in ns
	v     float64
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
func send(ctx context.Context, s *stamper, w int, rows []watch.Row, out chan<- row) {
	now := time.Now().UnixNano()
	if n := len(rows); n > 0 && rows[n-1].HasTime {
		s.learn(rows[n-1].Seconds, now)
	}
	for _, r := range rows {
		select {
		case out <- row{w, s.stamp(r, now), r.Value}:
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

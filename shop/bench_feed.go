package shop

import (
	"sync"
)

// feed tells those who look at a job or the board that something is new. A slow
// reader loses nothing it needs: changes of one job fold into the newest.
type feed struct {
	mu     sync.Mutex
	closed bool
	subs   map[*subscriber]bool
}

type subscriber struct {
	job  string // "" = every job
	out  chan Change
	wake chan struct{}
	quit chan struct{}
	mu   sync.Mutex
	wait map[string]Change // newest by job and what, not yet sent
	line []string          // their order
}

func newFeed() *feed { return &feed{subs: map[*subscriber]bool{}} }

// Changes tells of changes to a job, or with "" to any. The function ends it; the
// channel is closed then.
func (b *Bench) Changes(jobID string) (<-chan Change, func()) {
	s := &subscriber{job: jobID, out: make(chan Change, 8), wake: make(chan struct{}, 1), quit: make(chan struct{}), wait: map[string]Change{}}
	b.feed.mu.Lock()
	if b.feed.closed {
		close(s.out)
		b.feed.mu.Unlock()
		return s.out, func() {}
	}
	b.feed.subs[s] = true
	b.feed.mu.Unlock()
	go s.run()
	var once sync.Once
	return s.out, func() {
		once.Do(func() {
			b.feed.mu.Lock()
			_, there := b.feed.subs[s]
			delete(b.feed.subs, s)
			b.feed.mu.Unlock()
			if there {
				close(s.quit)
			}
		})
	}
}

func (f *feed) tell(c Change) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for s := range f.subs {
		if s.job == "" || s.job == c.Job || c.Job == ShopJob {
			s.add(c)
		}
	}
}

func (f *feed) closeAll() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.closed = true
	for s := range f.subs {
		close(s.quit)
		delete(f.subs, s)
	}
}

func (s *subscriber) add(c Change) {
	key := c.Job + "\x00" + c.What
	s.mu.Lock()
	if _, ok := s.wait[key]; !ok {
		s.line = append(s.line, key)
	}
	s.wait[key] = c
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *subscriber) run() {
	defer close(s.out)
	for {
		select {
		case <-s.quit:
			return
		case <-s.wake:
		}
		for {
			s.mu.Lock()
			if len(s.line) == 0 {
				s.mu.Unlock()
				break
			}
			key := s.line[0]
			c := s.wait[key]
			s.line = s.line[1:]
			delete(s.wait, key)
			s.mu.Unlock()
			select {
			case s.out <- c:
			case <-s.quit:
				return
			}
		}
	}
}

package play

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"proveout/evidence"
	"proveout/shop"
	"proveout/sim"
)

// Options say how many vehicles are played and how.
type Options struct {
	Jobs     int
	Seed     uint64
	MaxTests int    // tests after reception before giving up; 0 = 12
	Dir      string // where job folders are made; a folder of its own for each job
	Shop     shop.Options
	Workers  int // games at once; 0 = one for each processor
	// Ended, if set, is told each game as it ends, one at a time, in the order in
	// which they end; done counts them.
	Ended func(g Game, done int)
}

// Game is one vehicle played to the end.
type Game struct {
	Job   int
	Truth []string // in the simulator's words
	// Listed is false when a fault of the truth is in no book.
	Listed bool
	Top    string // leading suspect at the end
	Chance float64
	// First: the leading suspect is one of the true faults (or, for a sound vehicle,
	// "nothing wrong" or "something not listed" leads).
	First        bool
	Shown        []string
	WronglyShown []string // a sound part shown
	OtherWay     []string // the right part, another way of failing
	RightlyShown bool
	// RuledOut are true faults that the tool ruled out: must stay empty.
	RuledOut  []string
	Stopped   bool
	Minutes   float64
	Tests     []string
	Conflicts int
	Chances   []Chance // of all suspects at the end
	Err       string
}

// Chance is one chance told at the end, and whether it was true.
type Chance struct {
	Told float64
	True bool
}

// All plays o.Jobs vehicles, several at once, and gives the games in the order of
// their numbers. Each draws from a source of its own, so that the number of workers
// changes nothing but the time.
func All(o Options) []Game {
	games := make([]Game, o.Jobs)
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var all errgroup.Group
	all.SetLimit(workers)
	var ending sync.Mutex
	done := 0
	for j := range o.Jobs {
		all.Go(func() error {
			games[j] = Play(j, o)
			ending.Lock()
			defer ending.Unlock()
			if done++; o.Ended != nil {
				o.Ended(games[j], done)
			}
			return nil
		})
	}
	_ = all.Wait() // a game carries its own error
	return games
}

// Play runs one game. The same seed and job give the same game.
func Play(job int, o Options) Game {
	rng := rand.New(rand.NewPCG(o.Seed, uint64(job)))
	v := sim.Draw(rng)
	g := Game{Job: job, Listed: true}
	for _, f := range v.Faults {
		g.Truth = append(g.Truth, f.String())
		g.Listed = g.Listed && len(inBook[f.Name]) > 0
	}
	dir := filepath.Join(o.Dir, fmt.Sprintf("job%d", job))
	defer os.RemoveAll(dir)
	b, err := newBench(dir, v, rng)
	if err != nil {
		g.Err = err.Error()
		return g
	}
	g.run(b, o)
	return g
}

func (g *Game) run(b *bench, o Options) {
	limit := o.MaxTests
	if limit == 0 {
		limit = 12
	}
	refused := map[string]bool{}
	for {
		a, err := shop.Diagnose(b.dir, o.Shop)
		if err != nil {
			g.Err = err.Error()
			return
		}
		g.look(b, a)
		if g.Stopped || len(g.Tests) >= limit {
			return
		}
		done := false
		for _, n := range a.Next {
			key := n.Test
			if n.Repeat == 0 && refused[key] {
				continue
			}
			feature := n.Feature
			if err := b.do(n.Test, feature); err != nil {
				if !errors.Is(err, errNoWay) && !errors.Is(err, sim.ErrNothingToSee) && !strings.Contains(err.Error(), "cannot be done") {
					g.Err = err.Error()
					return
				}
				refused[key] = true
				continue
			}
			refused[key] = true
			g.Tests = append(g.Tests, n.Test)
			g.Minutes += n.Minutes
			done = true
			break
		}
		if !done {
			return // nothing left that the simulator can answer
		}
	}
}

// look scores the answer as it stands.
func (g *Game) look(b *bench, a *shop.Answer) {
	g.Shown, g.WronglyShown, g.OtherWay, g.RightlyShown, g.Chances = nil, nil, nil, false, nil
	is := func(s shop.SuspectAnswer) bool {
		for _, f := range b.v.Faults {
			if right(f, s.Fault, evidence.Subject{Kind: evidence.Kind(s.Subject.Kind), Number: s.Subject.Number, Second: s.Subject.Second}, b.v.Engine) {
				return true
			}
		}
		return false
	}
	type part struct {
		component string
		subject   shop.SubjectAnswer
	}
	bad := map[part]bool{}
	for _, s := range a.Suspects {
		if is(s) {
			bad[part{s.Component, s.Subject}] = true
		}
	}
	for i, s := range a.Suspects {
		ok := is(s)
		g.Chances = append(g.Chances, Chance{s.Chance, ok})
		if i == 0 {
			g.Top, g.Chance = s.ID, s.Chance
			g.First = ok
			if max(a.NothingWrong, a.NotListed) > s.Chance {
				g.Top, g.Chance = "nothing wrong", a.NothingWrong
				g.First = len(b.v.Faults) == 0
				if a.NotListed > a.NothingWrong {
					g.Top, g.Chance = "something not listed", a.NotListed
					g.First = !g.Listed
				}
			}
		}
		switch s.State {
		case "shown":
			g.Shown = append(g.Shown, s.ID)
			switch {
			case ok:
				g.RightlyShown = true
			case bad[part{s.Component, s.Subject}]:
				g.OtherWay = append(g.OtherWay, s.ID)
			default:
				g.WronglyShown = append(g.WronglyShown, s.ID)
			}
		case "ruled_out":
			if ok && !contains(g.RuledOut, s.ID) {
				g.RuledOut = append(g.RuledOut, s.ID)
			}
		}
	}
	g.Conflicts = len(a.Conflicts)
	g.Stopped = a.Stopped
}

func contains(xs []string, x string) bool {
	for _, y := range xs {
		if x == y {
			return true
		}
	}
	return false
}

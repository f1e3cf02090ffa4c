package cli

import (
	"context"
	"testing"
	"time"

	"proveout/procedure/watch"
)

func timed(from, to, step float64) (rows []watch.Row) {
	for t := from; t <= to+1e-9; t += step {
		rows = append(rows, watch.Row{Seconds: t, HasTime: true, Value: 12})
	}
	return rows
}

func stamps(t *testing.T, s *stamper, rows []watch.Row) []int64 {
	t.Helper()
	out := make(chan row, len(rows))
	send(context.Background(), s, 0, rows, out)
	close(out)
	var at []int64
	for r := range out {
		at = append(at, r.at)
	}
	return at
}

// A second of samples that arrives in one piece stays a second: a sag sent late
// must not look like an inrush dip.
func TestRowsOfOnePieceKeepTheirTime(t *testing.T) {
	var s stamper
	began := time.Now()
	at := stamps(t, &s, timed(100, 101, 0.1))
	if d := time.Duration(at[len(at)-1] - at[0]); d < 990*time.Millisecond || d > 1010*time.Millisecond {
		t.Errorf("a second of samples lasts %v", d)
	}
	if newest := time.Unix(0, at[len(at)-1]); newest.Before(began) || newest.After(time.Now()) {
		t.Errorf("the newest row of a fresh piece, sent after %v, is stamped %v", began, newest)
	}
}

// Old rows posted now are old: a stale feed never passes as fresh.
func TestLateRowsKeepTheirAge(t *testing.T) {
	var s stamper
	fresh := stamps(t, &s, timed(50, 50, 1))[0]
	time.Sleep(60 * time.Millisecond)
	late := stamps(t, &s, timed(50.01, 50.01, 1))[0] // measured 10 ms after the first, arrives 60 ms after it
	if d := time.Duration(late - fresh); d < 9*time.Millisecond || d > 11*time.Millisecond {
		t.Errorf("a row measured 10 ms later is stamped %v later", d)
	}
}

// Rows sent again, and a feed whose clock starts anew, are never taken for fresh.
func TestRowsSentAgainAreNotFresh(t *testing.T) {
	var s stamper
	first := stamps(t, &s, timed(1000, 1000, 1))[0]
	time.Sleep(30 * time.Millisecond)
	for _, seconds := range []float64{999, 0} {
		if at := stamps(t, &s, timed(seconds, seconds, 1))[0]; at > first {
			t.Errorf("a row of second %v is stamped %v after a newer one", seconds, time.Duration(at-first))
		}
	}
}

func TestRowsWithoutTimeAreStampedOnArrival(t *testing.T) {
	var s stamper
	began := time.Now()
	at := time.Unix(0, stamps(t, &s, []watch.Row{{Value: 12}})[0])
	if at.Before(began) || at.After(time.Now()) {
		t.Errorf("a row without time, sent after %v, is stamped %v", began, at)
	}
}

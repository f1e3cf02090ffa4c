package trace

import "math"

// isEdgeList tells a list of level changes from samples: all channels are 0 or
// 1, and from row to row at least one of them changes nearly always. Equally
// spaced samples of a logic signal repeat most rows.
func (a *assembly) isEdgeList(chans []Channel) bool {
	switch a.opts.Layout {
	case Samples:
		return false
	case Edges:
		return true
	}
	if a.time < 0 || a.form == timeCount || a.rows < 2 {
		return false
	}
	for _, c := range chans {
		for _, v := range c.Values {
			if v != 0 && v != 1 { // NaN too
				return false
			}
		}
	}
	changed := 0
	for i := 1; i < a.rows; i++ {
		for _, c := range chans {
			if c.Values[i] != c.Values[i-1] {
				changed++
				break
			}
		}
	}
	// 0.6: a noisy or edited list repeats some levels; samples of a logic signal
	// would need a level change in more than every second sample (our choice).
	return float64(changed) >= 0.6*float64(a.rows-1)
}

// holdLast finds logs in which each row brings a new value of one signal and
// repeats the last value of the others, and gives each channel its true rate.
func (a *assembly) holdLast(rec *Recording) {
	n, k := a.rows, len(rec.Channels)
	if k < 3 || n < 4*k {
		return
	}
	single, several := 0, 0
	changes := make([]int, k)
	for i := 1; i < n; i++ {
		in := 0
		for c := range rec.Channels {
			v, w := rec.Channels[c].Values[i-1], rec.Channels[c].Values[i]
			if v != w && !(math.IsNaN(v) && math.IsNaN(w)) {
				in++
				changes[c]++
			}
		}
		switch {
		case in == 1:
			single++
		case in > 1:
			several++
		}
		if several > n/50 {
			return
		}
	}
	if single < n/20 || single < 20*several || !staircase(rec.Channels) && distinct(changes) < 3 {
		return
	}
	rate := rowRate(rec)
	a.note(0, "each row brings one signal up to date and repeats the others: %d rows are about %d values of each of %d signals", n, n/k, k)
	for c := range rec.Channels {
		period := a.updatePeriod(rec.Channels[c].Values, k)
		if rate > 0 {
			rec.Channels[c].UpdateHz = rate / float64(period)
		}
	}
	if rate > 0 {
		a.note(0, "true rate of a signal about %.3g Hz (rows: %.3g Hz)", rate/float64(k), rate)
	}
}

// rowRate is the usual number of rows in a second, pauses left out.
func rowRate(rec *Recording) float64 {
	if rec.Time.Uniform() {
		return rec.Time.RateHz()
	}
	usual, _ := pauseLimit(rec.Time.Stamps, max(1, rec.Time.Resolution))
	if usual <= 0 {
		return 0
	}
	return 1e9 / float64(usual)
}

// staircase reports whether the first rows fill up one by one: row i has the
// first values of i+1 channels.
func staircase(chans []Channel) bool {
	for i := range chans {
		for c := range chans {
			if missing := math.IsNaN(chans[c].Values[i]); missing != (c > i) {
				return false
			}
		}
	}
	return true
}

func distinct(changes []int) int {
	n := 0
	for _, c := range changes {
		if c > 0 {
			n++
		}
	}
	return n
}

// updatePeriod is how many rows lie between two new values of a signal: the
// most frequent distance of its changes modulo the number of signals says
// whether it is its turn every k rows; else the smallest usual distance.
func (a *assembly) updatePeriod(v []float64, k int) int {
	last := -1
	gaps := map[int]int{}
	total := 0
	for i := 1; i < len(v); i++ {
		if v[i] == v[i-1] || math.IsNaN(v[i]) {
			continue
		}
		if last >= 0 {
			gaps[i-last]++
			total++
		}
		last = i
	}
	best, most := k, 0
	for g, n := range gaps {
		if n > most || (n == most && g < best) {
			best, most = g, n
		}
	}
	if total < 5 || best > k {
		return k
	}
	return best
}

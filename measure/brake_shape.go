package measure

import (
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// shape measures one movement from its samples.
func (b *brake) shape(s *brakeChannel, v []float64, first, last, drops int, cut bool) BrakeMovement {
	at := func(i int) float64 { return float64(b.rec.Time.At(i)) * 1e-9 }
	m := BrakeMovement{Side: s.side, Start: at(first), End: at(last) + 1/b.rate, First: first, Last: last, Dropouts: drops, CutShort: cut}
	var x []float64 // magnitudes
	for i := first; i <= last; i++ {
		a := math.Abs(v[i] - s.zero)
		if !math.IsNaN(a) {
			x = append(x, a)
		}
	}
	settle := min(len(x)-1, int(math.Round(motorSettleSeconds*b.rate)))
	if b.rate >= motorInrushHz {
		for _, a := range x[:settle+1] {
			m.Inrush = math.Max(m.Inrush, a)
		}
	}
	rest := x[settle:]
	for _, a := range rest {
		m.Peak = math.Max(m.Peak, a)
	}
	tail := max(1, int(math.Round(0.02*b.rate)))
	m.Final = endOf(x[max(0, len(x)-max(3, tail)):], tail)
	if b.rate < motorInrushHz {
		m.Final = x[len(x)-1]
	}
	m.Free = freeRun(rest)
	duration := m.End - m.Start
	// Seized: nothing after the inrush comes down to what a free run can be.
	least := math.Inf(1)
	for _, a := range rest {
		least = math.Min(least, a)
	}
	if least > cutLow && duration < 2 || least > 0.75*m.Peak && least > freeHigh+2 {
		m.Kind, m.Free = Stalled, 0
		return m
	}
	rise := m.Final - m.Free
	noise := math.Max(s.sigma, 0.05)
	if m.Final < 0.85*m.Peak && rise > 0 { // the highest point is not the end: no clamp
		rise = 0
	}
	if rise > math.Max(2.5, 0.6*m.Free) && rise > 8*noise {
		m.Kind = Apply
		// Contact: the last point within a fifth of the rise above the free run.
		c := 0
		for i, a := range rest {
			if a <= m.Free+0.2*rise {
				c = i
			}
		}
		m.Contact = float64(settle+c) / b.rate
		if n := len(rest) - 1 - c; n > 0 {
			m.RiseRate = (m.Final - rest[c]) / (float64(n) / b.rate)
		}
		// Shelf: the last third of the rise climbs less than a quarter as fast as its
		// first two thirds.
		up := rest[c:]
		if k := len(up) / 3; k >= 2 {
			early := (up[len(up)-1-k] - up[0]) / float64(len(up)-1-k)
			late := (up[len(up)-1] - up[len(up)-1-k]) / float64(k)
			m.Shelf = late < 0.35*early
		}
		return m
	}
	// Break-away: high for 50-150 ms beyond the inrush, then free.
	early := rest[:min(len(rest), max(1, int((breakSeconds-motorSettleSeconds)*b.rate)))]
	high := 0
	for _, a := range early {
		if a > math.Max(1.6*m.Free, m.Free+2.5) {
			high++
		}
	}
	m.Kind = FreeRun
	if float64(high) >= 0.03*b.rate && m.Free > 0 && duration > breakSeconds+0.1 {
		m.Kind = Release
	}
	return m
}

// endOf is the current at the last sample: on the line through the last ones where it
// rises, since a clamp rises by an ampere or two from one sample to the next; else the
// median of the last n.
func endOf(x []float64, n int) float64 {
	mid, slope := float64(len(x)-1)/2, 0.0
	sum, square := 0.0, 0.0
	for i, a := range x {
		sum += a
		slope += (float64(i) - mid) * a
		square += (float64(i) - mid) * (float64(i) - mid)
	}
	if slope <= 0 || len(x) < 3 {
		return stats.Median(x[max(0, len(x)-n):])
	}
	return sum/float64(len(x)) + slope/square*mid
}

// freeRun is the level of the flat part: the median of the shortest interval that
// holds half of the samples.
func freeRun(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	y := slices.Clone(x)
	slices.Sort(y)
	k := max(1, (len(y)+1)/2)
	best, width := 0, math.Inf(1)
	for i := 0; i+k <= len(y); i++ {
		if w := y[i+k-1] - y[i]; w < width {
			best, width = i, w
		}
	}
	return stats.Median(y[best : best+k])
}

// directions tells applying from releasing: by the sign of the current where a motor
// shows both, else by the order: what follows an apply and does not rise is a
// release.
func (b *brake) directions() {
	for i := range b.sides {
		s := &b.sides[i]
		var mine []*BrakeMovement
		for j := range b.run.Movements {
			if b.run.Movements[j].motor == i {
				mine = append(mine, &b.run.Movements[j])
			}
		}
		sign := func(m *BrakeMovement) float64 {
			sum := 0.0
			for k := m.First; k <= m.Last; k++ {
				if x := s.ch.Values[k] - s.zero; !math.IsNaN(x) {
					sum += x
				}
			}
			return math.Copysign(1, sum)
		}
		plus, minus := 0, 0
		apply := 0.0
		for _, m := range mine {
			if sign(m) > 0 {
				plus++
			} else {
				minus++
			}
			if m.Kind == Apply {
				apply += sign(m)
			}
		}
		both := plus > 0 && minus > 0 && apply != 0
		clamped := false
		for _, m := range mine {
			switch {
			case m.Kind == Apply:
				m.Toward = 1
			case both && m.Kind != Stalled:
				m.Toward = -1
				if sign(m)*apply > 0 {
					m.Toward = 1
				} else if m.Kind == FreeRun && m.End-m.Start < longSeconds {
					m.Kind = Release
				}
			case both:
				m.Toward = -1
				if sign(m)*apply > 0 {
					m.Toward = 1
				}
			case m.Kind == Release:
				m.Toward = -1
			case m.Kind == FreeRun && clamped && m.End-m.Start < longSeconds:
				m.Kind, m.Toward = Release, -1
			}
			clamped = m.Kind == Apply
		}
		// A short run that an apply follows had taken the pads off.
		for k, m := range mine {
			if m.Kind == FreeRun && m.Toward == 0 && m.End-m.Start < longSeconds && k+1 < len(mine) && mine[k+1].Kind == Apply {
				m.Kind, m.Toward = Release, -1
			}
		}
	}
}

// voltages reads the lowest supply voltage of each movement.
func (b *brake) voltages() {
	check := func(ch *trace.Channel) *trace.Channel {
		if ch == nil {
			return nil
		}
		lo, hi := leastGreatest(ch.Values)
		if hi < 4 || hi > 60 || lo < -1 {
			b.refuse("brake.supply_lowest", ch.Name, evidence.Subject{Kind: evidence.Vehicle}, evidence.ScaleUnsure, round3(lo)+" to "+round3(hi)+" V is no supply of a vehicle", "check the unit and the probe's factor")
			return nil
		}
		return ch
	}
	b.supply, b.plug = check(b.supply), check(b.plug)
	lowest := func(ch *trace.Channel, m *BrakeMovement) float64 {
		low := math.Inf(1)
		for k := m.First; ch != nil && k <= m.Last && k < len(ch.Values); k++ {
			if ch.Values[k] < low {
				low = ch.Values[k]
			}
		}
		if math.IsInf(low, 0) {
			return 0
		}
		return low
	}
	ending := func(ch *trace.Channel, m *BrakeMovement) float64 {
		if ch == nil {
			return 0
		}
		var v []float64
		for k := max(m.First, m.Last-int(0.05*b.rate)); k <= m.Last && k < len(ch.Values); k++ {
			if x := ch.Values[k]; !math.IsNaN(x) {
				v = append(v, x)
			}
		}
		if len(v) == 0 {
			return 0
		}
		return stats.Median(v)
	}
	for i := range b.run.Movements {
		m := &b.run.Movements[i]
		m.EndSupply, m.EndConnector = ending(b.supply, m), ending(b.plug, m)
		m.Supply, m.Connector = lowest(b.supply, m), lowest(b.plug, m)
		m.SupplySeen = b.rate < motorInrushHz
	}
}

// rests lists the time from the end of each movement to the next of the same motor.
func (b *brake) rests() {
	last := map[int]*BrakeMovement{}
	for i := range b.run.Movements {
		m := &b.run.Movements[i]
		if p := last[m.motor]; p != nil {
			b.run.Rests = append(b.run.Rests, BrakeRest{Side: m.Side, From: p.End, To: m.Start, Seconds: m.Start - p.End, motor: m.motor})
		}
		last[m.motor] = m
	}
}

package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// How surely firings must fall on the even places of a cycle (our choice, held by
// the tests on traces of known truth).
const (
	syncBurst   = 3e-3 // s: pulses nearer than this are strikes of one coil
	fewestDealt = 3    // cycles below which no place is called
	evenPlaces  = 0.80 // length of the mean of exp(i n phase); 1 = all on their place
	farFromFire = 0.30 // of a firing interval: a sync further off lies between two firings
	seldom      = 0.20 // a place with a firing in less than this share of cycles is empty
)

// syncTrack is one trigger channel: the pulses of one cylinder.
type syncTrack struct {
	channel  string
	cylinder int
	at       []float64 // s from the start of the recording
}

// syncTracks finds the trigger channels. The job may say which cylinder one is of
// (as: sync, cylinder: 3); without a word it is cylinder 1.
func syncTracks(rec *trace.Recording, meta Meta) []syncTrack {
	var out []syncTrack
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		c, declared := meta.column(ch.Name)
		words := strings.Fields(foldName(ch.Name))
		named := !declared && (slices.Contains(words, syncRole) || cylinderNamed(words) > 0 && slices.Contains(words, "trigger"))
		if !named && c.As != syncRole {
			continue
		}
		t := syncTrack{channel: ch.Name, cylinder: meta.syncCylinder(ch)}
		rate := rateWithin(rec.Time, []trace.Segment{{First: 0, End: len(ch.Values)}})
		for _, m := range pulseMiddles(ch.Values, syncBurst*rate) {
			t.at = append(t.at, float64(rec.Time.At(int(m))-rec.Time.At(0))*1e-9)
		}
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(a, b syncTrack) int { return a.cylinder - b.cylinder })
	return out
}

// cycle is one turn of the camshaft, from one pulse of the sync to the next, with
// the firing seen at each of its places (nil: none).
type cycle struct {
	from, to float64
	place    []*cluster
}

// deal puts the clusters to the places of the cycle. Place 0 is that of the sync's
// cylinder; the others follow in firing order. why says what speaks against it.
//
// With phi the share of the cycle that has gone by at a firing, n phi is a whole
// number for even firing, less the constant lead of the sync. Their mean
// direction, the mean of exp(2 pi i n phi), is as long as the firings are even:
// Rayleigh's measure of a direction (Mardia and Jupp, Directional Statistics, from
// memory).
func (w *wave) deal(cl []cluster, sync syncTrack, n int) (out []cycle, why, fix string, flag evidence.Flag) {
	for j := 1; j < len(sync.at); j++ {
		out = append(out, cycle{from: sync.at[j-1], to: sync.at[j], place: make([]*cluster, n)})
	}
	if len(out) < fewestDealt {
		return nil, fmt.Sprintf("the sync pulsed %d times; its cylinder's place in the cycle is not sure", len(sync.at)), "record two seconds or more, and check the sync pickup", evidence.TooFewEvents
	}
	var re, im float64
	counts := make([]float64, len(out))
	phase := func(c cluster) (j int, phi float64) {
		t := w.seconds(c.top * w.size)
		j, found := slices.BinarySearch(sync.at, t)
		if !found {
			j--
		}
		if j < 0 || j >= len(out) {
			return -1, 0
		}
		return j, (t - out[j].from) / (out[j].to - out[j].from)
	}
	used := 0.0
	for _, c := range cl {
		if j, phi := phase(c); j >= 0 {
			s, k := math.Sincos(2 * math.Pi * float64(n) * phi)
			re, im, used = re+k, im+s, used+1
			counts[j]++
		}
	}
	if used == 0 {
		return nil, "no firing lies between two pulses of the sync", "check that sync and pickup were recorded together", evidence.WrongChannel
	}
	m := stats.Median(counts)
	if even := math.Hypot(re, im) / used; even < evenPlaces {
		return nil, fmt.Sprintf("%.0f firings lie between two pulses of the sync, and not on the %d even places of the job's %d cylinders", m, n, n),
			"check cylinders: in the job, that the sync is that of one cylinder, and that nothing else pulses in it; an engine that fires unevenly cannot be dealt out so", evidence.ScaleUnsure
	}
	lead := math.Atan2(im, re) / (2 * math.Pi)
	if math.Abs(lead) > farFromFire {
		return nil, fmt.Sprintf("the sync lies %.0f %% of the way from one firing to the next: it belongs to neither", 100*math.Abs(lead)),
			"take the sync from the coil or the plug lead of cylinder 1, not from an injector or the camshaft", evidence.Unplaced
	}
	for i := range cl {
		// Just before a pulse the firing may be that of the sync itself, a little early.
		j, phi := phase(cl[i])
		if j < 0 {
			continue
		}
		x := phi*float64(n) - lead
		k := int(math.Round(x))
		if math.Abs(x-float64(k)) > farFromFire {
			continue
		}
		if k == n {
			if k, j = 0, j+1; j >= len(out) {
				continue
			}
		}
		if k < 0 || k >= n {
			continue
		}
		if p := &out[j].place[k]; *p == nil || cl[i].size > (*p).size {
			*p = &cl[i]
		}
	}
	return out, "", "", ""
}

// filled is the share of cycles in which each place holds a firing. The first and
// the last cycle are left out where there are enough: one may be cut.
func filled(turns []cycle, n int) []float64 {
	if len(turns) > fewestDealt+2 {
		turns = turns[1 : len(turns)-1]
	}
	out := make([]float64, n)
	for _, t := range turns {
		for k, c := range t.place {
			if c != nil {
				out[k] += 1 / float64(len(turns))
			}
		}
	}
	return out
}

// places holds what is seen at the places against the number of cylinders; the
// text says what speaks against it. With waste spark a place may be empty where the
// opposite one is not: a pickup on one lead of the coil.
func places(share []float64, waste bool) string {
	n := len(share)
	empty, even, odd := 0, 0, 0
	for k, s := range share {
		if s >= seldom {
			if k%2 == 0 {
				even++
			} else {
				odd++
			}
			continue
		}
		if !waste || n%2 != 0 || share[(k+n/2)%n] < seldom {
			empty++
		}
	}
	switch {
	case n >= 4 && n%2 == 0 && (even == 0 || odd == 0):
		return fmt.Sprintf("firings lie on every second of the %d places only: the sync comes twice a cycle (a waste-spark coil, or once a turn), or the engine has %d cylinders", n, n/2)
	case empty > max(1, n/4):
		return fmt.Sprintf("only %d of the %d places of the cycle hold a firing", n-empty, n)
	case n <= 2 && empty > 0:
		return fmt.Sprintf("only %d of the %d places of the cycle hold a firing: a sync that comes twice a cycle looks the same", n-empty, n)
	}
	return ""
}

// witnessed holds further syncs against the firing order: each must lie at its
// cylinder's place. With none, the order rests on the first alone.
func (w *wave) witnessed(tracks []syncTrack, turns []cycle, order []int) (agree int, why string) {
	n := len(order)
	zero := slices.Index(order, tracks[0].cylinder)
	for _, t := range tracks[1:] {
		votes := make([]int, n)
		total := 0
		for _, at := range t.at {
			for _, u := range turns {
				if at >= u.from && at < u.to {
					votes[int(math.Round((at-u.from)/(u.to-u.from)*float64(n)))%n]++
					total++
				}
			}
		}
		if total < fewestDealt {
			continue
		}
		due := (slices.Index(order, t.cylinder) - zero + n) % n
		if votes[due]*5 < total*4 {
			return agree, fmt.Sprintf("%s (cylinder %d) and %s (cylinder %d) do not lie as the firing order %v has them", tracks[0].channel, tracks[0].cylinder, t.channel, t.cylinder, order)
		}
		agree++
	}
	return agree, ""
}

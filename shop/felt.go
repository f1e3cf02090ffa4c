package shop

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/job"
	"proveout/timeline"
)

// part is one file on the line of time.
type part struct {
	file   string
	tracks []timeline.Track
	marks  []float64 // on its own time
	at     int

	joined     bool
	offset, sd float64
	sentence   string
}

// join places every part on the time of the first that has a channel. Each is
// aligned with the one of those already placed that it is most like in any
// channel of the same kind of quantity. A fit by one step is taken only where a
// person named the shared signal.
func join(parts []*part, shared string) {
	var placed []*part
	for _, p := range parts {
		switch {
		case len(p.tracks) == 0:
			p.sentence = "holds no channel with times: it cannot be laid beside the others"
			continue
		case len(placed) == 0:
			p.joined, p.sentence = true, "its time is the line of time"
			placed = append(placed, p)
			continue
		}
		var best timeline.Fit
		var from *part
		var by, why string
		for _, q := range placed {
			for i := range q.tracks {
				for k := range p.tracks {
					a, b := &q.tracks[i], &p.tracks[k]
					if a.Dim == "" || a.Dim != b.Dim || !strings.Contains(a.Name+"\n"+b.Name, shared) {
						continue
					}
					f, err := timeline.Align(*a, *b)
					if err == nil && f.OneEvent && shared == "" {
						err = fmt.Errorf("%s and %s agree in one step only, and any two steps fit on each other: if it is the same event, name the signal they share", a.Name, b.Name)
					}
					if err != nil {
						why = err.Error()
						continue
					}
					if from == nil || f.Like > best.Like {
						best, from, by = f, q, sameOr(a.Name, b.Name)
					}
				}
			}
		}
		if from == nil {
			p.sentence = "not laid on the line of time: " + orElse(why, "it shares no kind of quantity with the others") + ". To do: record one signal on both instruments, for example battery voltage while the ignition is switched on and off three times at uneven intervals"
			continue
		}
		p.joined, p.offset, p.sd = true, from.offset+best.Offset, math.Hypot(from.sd, best.SD)
		p.sentence = fmt.Sprintf("laid on %s by %s: %+.3f s ± %.3f s (95 %%; likeness %.2f of 1)", from.file, by, p.offset, 1.96*p.sd, best.Like)
		if best.TurnedOver {
			p.sentence += "; the one goes down where the other goes up"
		}
		if best.OneEvent {
			p.sentence += ". Careful: this rests on one step in each; make sure that it is the same event"
		}
		if math.Abs(best.ClockPPM) > 3*best.ClockSD && math.Abs(best.ClockPPM) > 100 {
			p.sentence += fmt.Sprintf("; its clock runs %s by %.0f millionths, which is counted in the error", map[bool]string{true: "fast", false: "slow"}[best.ClockPPM > 0], math.Abs(best.ClockPPM))
		}
		placed = append(placed, p)
	}
}

// marked reports whether any capture of the job has marks.
func (w *work) marked() bool {
	return slices.ContainsFunc(w.resolved.Captures, func(c job.CaptureFile) bool { return len(c.Marks) > 0 })
}

// feltMarks holds the marks of the job against every channel of its recordings, as
// notes: what goes along with a mark is not evidence for a part.
func (w *work) feltMarks() {
	if len(w.parts) == 0 {
		return
	}
	// The line of time is that of a file with marks.
	slices.SortStableFunc(w.parts, func(a, b *part) int { return len(b.marks) - len(a.marks) })
	join(w.parts, "")
	var marks []float64
	for i, p := range w.parts {
		switch {
		case p.joined:
			for _, m := range p.marks {
				marks = append(marks, m+p.offset)
			}
		case len(p.marks) > 0:
			w.leftOut(p.file, 0, "its marks are not used: "+p.sentence)
		}
		if i > 0 {
			w.note(p.file, 0, p.sentence)
		}
	}
	answers, text := felt(w.parts, marks)
	w.note(w.parts[0].file, 0, text)
	for _, a := range answers {
		if a.Goes {
			w.note(a.File, 0, a.Sentence)
		}
	}
}

func sameOr(a, b string) string {
	if a == b {
		return a
	}
	return a + " and " + b
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// markTimes reads marks off a channel that goes up at each, on the line of time.
func markTimes(parts []*part, name string) []float64 {
	var out []float64
	for _, p := range parts {
		for _, k := range p.tracks {
			if k.Name != name || !p.joined {
				continue
			}
			lo, hi := k.V[0], k.V[0]
			for _, v := range k.V {
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
			mid := lo + (hi-lo)/2
			for i := 1; i < len(k.V); i++ {
				if hi > lo && k.V[i] > mid && k.V[i-1] <= mid {
					out = append(out, k.T[i]+p.offset)
				}
			}
		}
	}
	return out
}

// felt holds marks on the line of time against every channel that lies on it.
func felt(parts []*part, marks []float64) ([]FeltAnswer, string) {
	var tracks []timeline.Track
	var file []string
	worst := 0.0
	for _, p := range parts {
		if !p.joined {
			continue
		}
		worst = math.Max(worst, p.sd)
		for _, k := range p.tracks {
			// The place in the row finds file and name again.
			name := k.Name
			k = k.Shift(p.offset)
			k.Name = fmt.Sprintf("%d\n%s", len(file), name)
			tracks, file = append(tracks, k), append(file, p.file)
		}
	}
	answers, err := timeline.Felt(tracks, marks, timeline.FeltOptions{})
	if err != nil {
		return []FeltAnswer{}, "The marks were not held against the channels: " + err.Error() + "."
	}
	out := []FeltAnswer{}
	along := 0
	for _, a := range answers {
		place, name, _ := strings.Cut(a.Channel, "\n")
		i := 0
		fmt.Sscan(place, &i) // written just above
		g := FeltAnswer{File: file[i], Channel: name, P: a.P, PAll: a.PAll, Goes: a.Established}
		switch {
		case a.Marks < len(marks) && a.P == 1 && a.Change == 0:
			g.Sentence = fmt.Sprintf("%s: not enough of it was recorded about the marks.", name)
		case a.Established:
			along++
			g.Sentence = fmt.Sprintf("%s goes along with it: about the marks it leaves its middle %.1f times as far as usual, upward at %d of %d (chance %s with all %d channels counted in).", name, a.Change, a.Up, a.Marks, probability(a.PAll), len(answers))
		default:
			g.Sentence = fmt.Sprintf("%s: about the marks as anywhere else (chance %s with all %d channels counted in).", name, probability(a.PAll), len(answers))
		}
		out = append(out, g)
	}
	note := fmt.Sprintf("%d of %d channels go along with what was felt at %d marks. What goes along with it need not be its cause: the same hill moves many channels.", along, len(answers), len(marks))
	if worst > 1 {
		note += fmt.Sprintf(" Careful: one file lies on the line of time only to ± %.1f s.", 1.96*worst)
	}
	return out, note
}

func probability(p float64) string {
	if p < 0.001 {
		return "under 0.1 %"
	}
	if p >= 0.1 { // two figures of 100 % would read 1e+02
		return fmt.Sprintf("%.0f %%", 100*p)
	}
	return fmt.Sprintf("%.2g %%", 100*p)
}

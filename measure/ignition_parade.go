package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// IgnitionParade is the ignition of the whole engine in one trace: the cylinders
// fire one after the other, in firing order, beside a trigger of cylinder 1.
const IgnitionParade = "ignition_parade"

// ignitionParade deals the firings of a whole-engine trace out to the cylinders and
// measures each as ignitionSecondary does. Columns: as: ignition_parade, and as:
// sync for the trigger; a second sync of another cylinder (as: sync, cylinder: 3) is
// a witness of the order.
//
// Without a sync, without the number of cylinders, or where the two do not fit what
// is seen, no firing is put to a cylinder: a wrong cylinder is worse than none. That
// a single sync really is that of cylinder 1 cannot be seen in the trace; the notes
// say so.
func ignitionParade(rec *trace.Recording, meta Meta) (Result, error) {
	var res Result
	tracks := syncTracks(rec, meta)
	measured := 0
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		if !paradeChannel(ch, meta, tracks) {
			continue
		}
		measured++
		p := &parade{ignition: &ignition{readout: readout{meta: meta}, ch: ch, subject: evidence.WholeEngine}, rec: rec, tracks: tracks}
		p.work()
		one := p.res
		res.Readings = append(res.Readings, one.Readings...)
		res.NotMeasured = append(res.NotMeasured, one.NotMeasured...)
		res.Notes = append(res.Notes, one.Notes...)
		res.Marks = append(res.Marks, one.Marks...)
		if res.Condition.State == "" {
			res.Condition = one.Condition
		}
	}
	if measured == 0 {
		return res, fmt.Errorf("no channel is left to be the trace of all cylinders; map one column with as: %s", IgnitionParade)
	}
	return res, nil
}

// paradeChannel says whether a channel is the trace of all cylinders.
func paradeChannel(ch *trace.Channel, meta Meta, tracks []syncTrack) bool {
	if c, ok := meta.column(ch.Name); ok {
		return c.As == IgnitionParade
	}
	for _, c := range meta.Columns {
		if c.As == IgnitionParade {
			return false
		}
	}
	return !ch.Edges && !slices.ContainsFunc(tracks, func(t syncTrack) bool { return t.channel == ch.Name })
}

// looksLikeParade goes by the words of the channels: a sync beside what is named
// secondary, ignition or parade.
func looksLikeParade(rec *trace.Recording, meta Meta) (bool, string) {
	tracks := syncTracks(rec, meta)
	if len(tracks) == 0 || meta.Subject.Kind == evidence.Cylinder {
		return false, ""
	}
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		if !paradeChannel(ch, meta, tracks) || meta.subjectOf(ch).Kind == evidence.Cylinder {
			continue
		}
		for _, word := range strings.Fields(foldName(ch.Name)) {
			if slices.Contains([]string{"parade", "secondary", "ignition", "zundung", "sekundar", "sekundarspannung"}, word) {
				return true, fmt.Sprintf("channel %s has the ignition beside the sync %s", ch.Name, tracks[0].channel)
			}
		}
	}
	return false, ""
}

// parade is the work on one trace of all cylinders.
type parade struct {
	*ignition
	rec    *trace.Recording
	tracks []syncTrack
	turns  []cycle
	slots  []slot
}

// slot is one place of the cycle: the firings seen there.
type slot struct {
	cylinder int // 0: not known
	sparks   []spark
	sign     float64 // +1 up, -1 down
	height   float64 // median
	absent   int     // cycles in which nothing fired
}

func (p *parade) work() {
	n := p.meta.Engine.Cylinders
	switch {
	case n < 1:
		p.refuse("", evidence.Unplaced, "the number of cylinders is not given", "write cylinders: and firing_order: in the job")
		return
	case len(p.tracks) == 0:
		p.refuse("", evidence.Unplaced, "there is no sync: which firing belongs to which cylinder cannot be told", "record the coil or the plug lead of cylinder 1 beside it (as: sync)")
		return
	case p.tracks[0].cylinder > n:
		p.refuse("", evidence.Unplaced, fmt.Sprintf("the sync is given as that of cylinder %d, the engine has %d", p.tracks[0].cylinder, n), "correct the cylinder of the sync")
		return
	}
	w, ok := newWave(p.rec, p.ch)
	p.w = w
	if !ok {
		p.refuse("", evidence.TooSlow, "the sample rate is not known", "give sample_rate or a time column")
		return
	}
	shortest := math.Inf(1)
	at := p.tracks[0].at
	for j := 1; j < len(at); j++ {
		shortest = math.Min(shortest, at[j]-at[j-1])
	}
	if math.IsInf(shortest, 1) {
		p.refuse("", evidence.TooFewEvents, "the sync pulsed fewer than twice", "check the sync pickup; record two seconds or more")
		return
	}
	w.pace = shortest / float64(n)
	cl, why, fix, flag := p.pulses()
	if why == "" {
		p.turns, why, fix, flag = w.deal(cl, p.tracks[0], n)
	}
	if why == "" {
		why = places(filled(p.turns, n), p.waste())
		fix, flag = "check cylinders: in the job; take the sync from the coil or plug lead of one cylinder, once in two turns", evidence.Unplaced
		if why != "" && p.waste() {
			fix = "take the sync from something of cylinder 1 that comes once in two turns and falls on its firing, such as a camshaft mark there"
		}
	}
	if why != "" {
		p.refuse("", flag, why, fix)
		return
	}
	p.measureSlots(n)
	if why := p.shape(); why != "" {
		p.refuse("", evidence.WrongChannel, why, notIgnition)
		return
	}
	if p.name(n) {
		p.cylinders()
	}
}

func (p *parade) waste() bool { return p.meta.Engine.Ignition == vehicle.WasteSpark }

// measureSlots measures every firing with its own polarity.
func (p *parade) measureSlots(n int) {
	p.slots = make([]slot, n)
	type due struct {
		c    *cluster
		slot int
	}
	var all []due
	for j, t := range p.turns {
		for k, c := range t.place {
			if c != nil {
				all = append(all, due{c, k})
			} else if j > 0 && j < len(p.turns)-1 {
				p.slots[k].absent++
			}
		}
	}
	slices.SortFunc(all, func(a, b due) int { return a.c.top - b.c.top })
	lean := make([][]float64, n)
	for _, d := range all {
		lean[d.slot] = append(lean[d.slot], p.w.leaning(*d.c))
	}
	for k := range p.slots {
		p.slots[k].sign = 1
		if len(lean[k]) > 0 && stats.Median(lean[k]) < 0 {
			p.slots[k].sign = -1
		}
	}
	for i, d := range all {
		limit := len(p.w.v)
		if i+1 < len(all) {
			limit = all[i+1].c.first * p.w.size
		}
		if s, ok := p.w.measureSpark(*d.c, p.slots[d.slot].sign, limit); ok {
			p.sparks = append(p.sparks, s)
			p.slots[d.slot].sparks = append(p.slots[d.slot].sparks, s)
		}
	}
	for k := range p.slots {
		p.slots[k].height = stats.Median(heightsOf(p.slots[k].sparks))
	}
}

func heightsOf(sparks []spark) []float64 {
	var out []float64
	for _, s := range sparks {
		if !s.cut {
			out = append(out, s.height)
		}
	}
	return out
}

// name puts cylinders to the places, as far as they are sure; false when none is.
func (p *parade) name(n int) bool {
	order, first := p.meta.Engine.FiringOrder, p.tracks[0].cylinder
	p.slots[0].cylinder = first
	fix := "write firing_order: in the job"
	switch {
	case len(order) != n:
		p.refuse("", evidence.Unplaced, fmt.Sprintf("the firing order is not given: only cylinder %d, that of the sync, has its place", first), fix)
	case p.meta.Engine.OrderAssumed:
		// Companions lie half a cycle apart in every usual order.
		if n%2 == 0 {
			p.slots[n/2].cylinder = order[(slices.Index(order, first)+n/2)%n]
		}
		p.refuse("", evidence.Unplaced, fmt.Sprintf("the firing order was assumed, not given: only cylinder %d and its companion have their place", first), fix)
	default:
		agree, why := p.w.witnessed(p.tracks, p.turns, order)
		if why != "" {
			p.refuse("", evidence.Unplaced, why+": one of them is on another cylinder, or the firing order is another", "check on which cylinder each sync was taken, and the firing order")
			return false
		}
		zero := slices.Index(order, first)
		for k := range p.slots {
			p.slots[k].cylinder = order[(zero+k)%n]
		}
		if agree == 0 {
			p.note("", false, "%s: cylinders go by %s alone; that it is the sync of cylinder %d, the trace cannot show. A second sync of another cylinder would", p.ch.Name, p.tracks[0].channel, first)
		} else {
			p.note("", false, "%s: %d more sync lies where the firing order has it", p.ch.Name, agree)
		}
	}
	return true
}

// cylinders measures each cylinder's firings.
func (p *parade) cylinders() {
	p.commonFlags()
	usual := p.polarities()
	for k := range p.slots {
		s := &p.slots[k]
		if s.cylinder == 0 {
			continue
		}
		one := *p.ignition
		one.res, one.subject, one.revs = Result{}, evidence.Cyl(s.cylinder), 2
		one.sparks, one.sign, one.absent = s.sparks, s.sign, s.absent
		one.flags = slices.Clone(p.flags)
		if len(p.turns) > 0 && float64(len(s.sparks)) < seldom*float64(len(p.turns)) {
			one.refuse("", evidence.TooFewEvents, fmt.Sprintf("at its place in the cycle nothing fires in %d of %d cycles: its coil is dead, or its lead is not under the pickup", len(p.turns)-len(s.sparks), len(p.turns)),
				"lay the pickup on the coil of this cylinder alone")
			p.keep(&one)
			continue
		}
		if p.waste() && !p.event(k, &one) {
			p.keep(&one)
			continue
		}
		if usual != 0 && s.sign != usual {
			one.flag(evidence.Inverted)
			one.note(evidence.Inverted, true, "%s: cylinder %d fires the other way round than the others: its primary wires are swapped, or its pickup is turned. With the centre electrode positive the plug needs more voltage", p.ch.Name, s.cylinder)
		}
		one.read()
		for i := range one.res.Marks {
			one.res.Marks[i].Text = fmt.Sprintf("cylinder %d: %s", s.cylinder, one.res.Marks[i].Text)
		}
		p.keep(&one)
		p.leapt = p.leapt || one.leapt
	}
	if p.leapt { // it is one engine: what is no snap on one cylinder is none on any
		p.res.Readings = slices.DeleteFunc(p.res.Readings, func(r evidence.Reading) bool { return r.Condition.State == evidence.Snap })
	}
}

// keep joins what one cylinder gave; a note that all of them make is kept once.
func (p *parade) keep(one *ignition) {
	p.res.Readings = append(p.res.Readings, one.res.Readings...)
	p.res.NotMeasured = append(p.res.NotMeasured, one.res.NotMeasured...)
	p.res.Marks = append(p.res.Marks, one.res.Marks...)
	for _, n := range one.res.Notes {
		if !slices.Contains(p.res.Notes, n) {
			p.res.Notes = append(p.res.Notes, n)
		}
	}
	if p.res.Condition.State == "" {
		p.res.Condition = one.res.Condition
	}
}

// commonFlags sets what holds for all cylinders. On a distributor the one pickup
// sits on the coil's own lead, so its gain is the same for all and cancels.
func (p *parade) commonFlags() {
	p.sign = p.slots[0].sign
	inverted := p.meta.Inverted
	p.meta.Inverted = p.sign < 0 // polarity is judged cylinder by cylinder
	p.quality()
	p.meta.Inverted = inverted
	if p.meta.Engine.Ignition == vehicle.Distributor {
		p.flag(evidence.OnePickup)
	}
}

// polarities gives the direction in which most cylinders fire; 0 when waste spark
// has one of each pair fire the other way, or when no direction leads.
func (p *parade) polarities() float64 {
	var up, down []string
	for _, s := range p.slots {
		if s.cylinder == 0 || len(s.sparks) == 0 {
			continue
		}
		if s.sign > 0 {
			up = append(up, fmt.Sprint(s.cylinder))
		} else {
			down = append(down, fmt.Sprint(s.cylinder))
		}
	}
	if len(up) > 0 && len(down) > 0 {
		p.note("", false, "%s: cylinders %s fire upwards, %s downwards", p.ch.Name, strings.Join(up, ", "), strings.Join(down, ", "))
	}
	switch {
	case p.waste():
		return 0
	case len(up) > len(down)+1:
		return 1
	case len(down) > len(up)+1:
		return -1
	}
	return 0
}

// event settles whether the firings at a place of a waste-spark engine are those
// of its own cylinder on compression. Half a cycle on, the same coil fires with the
// strokes changed over. A pickup that sees both leads shows each place with the
// polarity of its own cylinder, since the two ends of the winding are opposite; one
// that sees a single lead shows one polarity, large on compression and small on
// exhaust, where the gas is thin (trade.md 4.1).
func (p *parade) event(k int, one *ignition) bool {
	n := len(p.slots)
	s, other := p.slots[k], p.slots[(k+n/2)%n]
	if n%2 != 0 || len(other.sparks) == 0 || s.sign != other.sign {
		return true
	}
	switch {
	case s.height <= smallBeside*other.height:
		one.refuse("", evidence.Unplaced, fmt.Sprintf("what fires at its place is the exhaust stroke of cylinder %d: its own lead is not under the pickup", other.cylinder), "lay the pickup so that it sees both leads of the coil, or on the lead of this cylinder")
		return false
	case other.height <= smallBeside*s.height:
		one.wasteRatio(s.sparks, other.sparks)
		return true
	}
	one.refuse("", evidence.ConditionUnsure, fmt.Sprintf("it fires as high as half a cycle later (%.3g and %.3g): which is compression and which exhaust cannot be told", s.height, other.height), "lay the pickup on one lead of the coil; a snap lifts the compression stroke alone")
	return false
}

// wasteRatio emits the firing line on the exhaust stroke over that on compression,
// of one lead: gain cancels. Its uncertainty is that of the two medians.
func (g *ignition) wasteRatio(event, waste []spark) {
	a, _, sa := middle(heightsOf(event))
	b, _, sb := middle(heightsOf(waste))
	if !(a > 0) || !(b > 0) {
		return
	}
	p := phase{state: g.meta.Condition.State}
	keep := g.sparks
	g.sparks = append(slices.Clone(event), waste...)
	slices.SortFunc(g.sparks, func(x, y spark) int { return x.crest - y.crest })
	for i := range g.sparks {
		p.at = append(p.at, i)
	}
	var flags []evidence.Flag
	if min(len(event), len(waste)) < fewestFirings {
		flags = append(flags, evidence.TooFewEvents)
	}
	g.emit("ignition.waste_ratio", unit.Must("x"), b/a, b/a*math.Hypot(sa/a, sb/b), len(waste), p, append(flags, g.heightFlags(p)...))
	g.sparks = keep
}

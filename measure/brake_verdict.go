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
)

// decisive are verdicts that one movement is enough for: nothing usual looks so. A
// collapse or a low supply is not among them: it counts where it is the last that was
// seen of the motor (movement).
var decisive = []string{"seized", "stripped", "no load", "worn brushes"}

// judge gives each movement its verdict, then each side. Rows of trade.md 5.6; what
// two rows share is not decided but said.
func (b *brake) judge() {
	for i := range b.run.Movements {
		m := &b.run.Movements[i]
		m.Verdict, m.Why = b.movement(m)
	}
	for i := range b.sides {
		s := &b.sides[i]
		if s.refused {
			continue
		}
		side := BrakeSide{Side: s.side}
		if s.silent {
			side.Verdict, side.Why = "cannot tell", "no current flows; whether a command was given cannot be seen"
			if len(b.run.Movements) > 0 {
				side.Verdict, side.Why = "open", "no current while the other side moves: brush, connector or wire open, if both were commanded"
			}
			b.run.Sides = append(b.run.Sides, side)
			continue
		}
		count := map[string]int{}
		why := map[string]string{}
		var mine []*BrakeMovement
		var order []string
		for j := range b.run.Movements {
			m := &b.run.Movements[j]
			if m.motor != i {
				continue
			}
			if k := len(mine); k > 0 && mine[k-1].Kind == Apply && m.Toward == -1 && !m.CutShort && !mine[k-1].CutShort {
				side.Cycles++
			}
			mine = append(mine, m)
			if count[m.Verdict] == 0 {
				order = append(order, m.Verdict)
				why[m.Verdict] = m.Why
			}
			count[m.Verdict]++
		}
		applies := 0
		for _, m := range mine {
			if m.Kind == Apply && !m.CutShort {
				applies++
			}
		}
		faults := slices.DeleteFunc(slices.Clone(order), func(v string) bool { return v == "healthy" || v == "cannot tell" || v == "no rise" })
		switch {
		case len(faults) == 1 && (count[faults[0]] >= count["healthy"] || slices.Contains(decisive, faults[0])):
			side.Verdict, side.Why = faults[0], why[faults[0]]
			if count[faults[0]] < len(mine) {
				side.Why += fmt.Sprintf(" (in %d of %d movements)", count[faults[0]], len(mine))
			}
		case len(faults) == 1 && mine[len(mine)-1].Verdict == faults[0] && (faults[0] == "collapse" || faults[0] == "low supply"):
			side.Verdict, side.Why = faults[0], why[faults[0]]
		case len(faults) == 1 && b.appliesAre(mine, faults[0]):
			side.Verdict, side.Why = faults[0], why[faults[0]]
		case len(faults) > 0:
			side.Verdict, side.Why = "cannot tell", "the movements differ: "+strings.Join(order, ", ")
		case count["no rise"] > 0:
			side.Verdict, side.Why = "no rise", why["no rise"]
		case count["healthy"] > 0 && applies > 0 && count["cannot tell"] == 0:
			side.Verdict = "healthy"
			side.Why = "inrush, free run, clamp and cut-off lie in the usual ranges"
		case count["healthy"] > 0 && applies == 0:
			side.Verdict, side.Why = "cannot tell", "no apply was recorded: the clamp is not seen"
		default:
			side.Verdict, side.Why = "cannot tell", why["cannot tell"]
		}
		b.run.Sides = append(b.run.Sides, side)
	}
}

// appliesAre reports whether every whole apply of a motor has the verdict.
func (b *brake) appliesAre(mine []*BrakeMovement, verdict string) bool {
	n := 0
	for _, m := range mine {
		if m.Kind == Apply && !m.CutShort {
			if m.Verdict != verdict {
				return false
			}
			n++
		}
	}
	return n > 0
}

// movement judges one movement.
func (b *brake) movement(m *BrakeMovement) (verdict, why string) {
	d := m.End - m.Start
	if m.CutShort {
		return "cannot tell", "the movement is not recorded whole"
	}
	if m.Dropouts >= 3 {
		return "worn brushes", fmt.Sprintf("the current breaks %d times within the movement (brushes or commutator worn, or a loose connector)", m.Dropouts)
	}
	switch m.Kind {
	case Stalled:
		switch before := b.before(m); {
		case before != nil && before.Kind == Apply:
			return "cannot tell", "it was applied already: a second apply stalls at once, as a seized spindle does"
		case d <= stallSeconds:
			return "seized", fmt.Sprintf("from the inrush straight to %.0f A and cut after %.2f s, without a free run (spindle stuck); an apply on a brake already applied looks the same", m.Peak, d)
		}
		return "cannot tell", fmt.Sprintf("%.0f A for %.1f s without a free run: stuck, or against its stop", m.Peak, d)
	case Apply:
		if m.Final < cutLow {
			return b.weakClamp(m)
		}
		switch {
		case m.Free > freeHigh:
			return "binding", fmt.Sprintf("free run of %.1f A (usual 2-5 A): slide, pins or pad bind; a cold or stiff grease gives 5-8 A too", m.Free)
		case m.Free < 1:
			return "cannot tell", fmt.Sprintf("free run of %.1f A is less than any motor of this kind takes: check the clamp's zero", m.Free)
		case m.Final > 25:
			return "cannot tell", fmt.Sprintf("cut off at %.0f A; 12-20 A is usual: check the clamp's scale", m.Final)
		case b.slowEarly(m) != "":
			return "binding", b.slowEarly(m)
		case d > slowSeconds && m.EndSupply > 0 && m.EndSupply < lowSupply && b.aloneSlow(m):
			return "cannot tell", fmt.Sprintf("an apply of %.1f s (0.6-1.5 s usual) with %.1f V at the supply, where another was as quick as usual or the way to the pad was long: low supply, a long way, or a slow motor", d, m.EndSupply)
		case d > slowSeconds && m.EndSupply > 0 && m.EndSupply < lowSupply:
			return "low supply", fmt.Sprintf("an apply of %.1f s (0.6-1.5 s usual) with %.1f V at the supply (%s): low supply makes it slow", d, m.EndSupply, b.run.Point)
		case d > slowSeconds:
			return "cannot tell", fmt.Sprintf("an apply of %.1f s is long (0.6-1.5 s usual): long way to the pad, or a slow motor", d)
		}
		return "healthy", fmt.Sprintf("free run %.1f A, cut off at %.1f A after %.2f s", m.Free, m.Final, d)
	case Release:
		if m.Free > freeHigh+0.5 {
			return "binding", fmt.Sprintf("free run of %.1f A while releasing (usual 2-5 A)", m.Free)
		}
		return "healthy", fmt.Sprintf("breaks away, then %.1f A for %.2f s", m.Free, d)
	}
	switch {
	case d >= longSeconds && m.Free < freeLow && m.Free > 0:
		return "stripped", fmt.Sprintf("%.1f A for %.1f s and never a rise: less than the gear and spindle alone take (2-5 A); gear or belt turns empty", m.Free, d)
	case m.Toward < 0:
		if m.Free > freeHigh+0.5 {
			return "binding", fmt.Sprintf("free run of %.1f A away from the clamp (usual 2-5 A)", m.Free)
		}
		return "healthy", fmt.Sprintf("runs free at %.1f A for %.1f s, away from the clamp", m.Free, d)
	case d >= longSeconds && m.Free < 3:
		return "no rise", fmt.Sprintf("%.1f A for %.1f s and never a rise: a stripped gear, or nothing to clamp; the two cannot be told apart at this current: look whether the spindle turns", m.Free, d)
	case d >= longSeconds && m.Toward > 0:
		return "no load", fmt.Sprintf("%.1f A for %.1f s towards the clamp and never a rise: pad or disc missing, or caliper loose", m.Free, d)
	case d >= longSeconds:
		return "cannot tell", fmt.Sprintf("%.1f A for %.1f s and no rise: a service retract looks so, and an apply that finds no pad; which was commanded is not known", m.Free, d)
	case m.Toward > 0 && b.commanded(m):
		return "cannot tell", fmt.Sprintf("the current stops after %.1f s before it rises, on both sides at once or to move again: stopped by command, or connector, thermal cut or low voltage", d)
	case m.Toward > 0 && m.EndSupply > 0 && m.EndSupply < lowSupply:
		return "low supply", fmt.Sprintf("the current stops after %.1f s, before it rises, with %.1f V at the supply (%s): low supply stopped it in mid-stroke; the brake is not applied", d, m.EndSupply, b.run.Point)
	case m.Toward > 0 && m.EndSupply > 0:
		return "collapse", fmt.Sprintf("the current collapses after %.1f s, before it rises, though the supply holds %.1f V (%s): connector, wire or a thermal cut, unless it was stopped by command; the brake is not applied", d, m.EndSupply, b.run.Point)
	case m.Toward > 0:
		return "collapse", fmt.Sprintf("the current collapses after %.1f s, before it rises: connector, wire, thermal cut or low supply, which was not recorded, unless it was stopped by command; the brake is not applied", d)
	}
	return "cannot tell", "a short run without a rise: a release, or an apply that was broken off"
}

// before is the movement of the same motor before m.
func (b *brake) before(m *BrakeMovement) *BrakeMovement {
	var out *BrakeMovement
	for i := range b.run.Movements {
		x := &b.run.Movements[i]
		if x.motor == m.motor && x.Start < m.Start {
			out = x
		}
	}
	return out
}

// commanded reports a stop in mid-stroke that somebody may have wanted: the other motor
// stopped within a tenth of a second of it, or this one moved again afterwards, so that
// its circuit carries.
func (b *brake) commanded(m *BrakeMovement) bool {
	return slices.ContainsFunc(b.run.Movements, func(x BrakeMovement) bool {
		if x.motor == m.motor {
			return x.Start > m.Start
		}
		return math.Abs(x.End-m.End) < 0.1 && x.Kind != Apply
	})
}

// aloneSlow reports an apply that is slow where another at about the same voltage was
// not, or that came after a run away from the pad: a low supply slows both sides
// (trade.md 5.6), and a long way takes long at any voltage.
func (b *brake) aloneSlow(m *BrakeMovement) bool {
	if x := b.before(m); x != nil && x.Kind == FreeRun && x.Toward < 0 {
		return true
	}
	return slices.ContainsFunc(b.run.Movements, func(x BrakeMovement) bool {
		return x.Kind == Apply && !x.CutShort && x.End-x.Start <= slowSeconds && x.EndSupply > 0 && math.Abs(x.EndSupply-m.EndSupply) < 0.5
	})
}

// weakClamp parts a weak battery from resistance in the wiring: by the voltage where
// it was recorded, else by the other side.
func (b *brake) weakClamp(m *BrakeMovement) (verdict, why string) {
	what := fmt.Sprintf("the clamp ends at %.1f A (12-20 A usual)", m.Final)
	other, weak := 0, 0
	for i := range b.run.Movements {
		x := &b.run.Movements[i]
		if x.motor != m.motor && x.Kind == Apply && !x.CutShort {
			other++
			if x.Final < cutLow {
				weak++
			}
		}
	}
	switch {
	case (m.EndConnector == 0 || m.EndSupply-m.EndConnector <= 1.0) && b.cutEarly(m):
		return "cannot tell", what + ", cut off while it still rose, as steeply as the other side and after the same inrush: resistance would slow and flatten it, so this side was stopped early: compare the sides again, and read what the module says"
	case m.EndSupply > 0 && m.EndConnector > 0 && m.EndSupply-m.EndConnector > 1.0:
		return "high resistance", fmt.Sprintf("%s; the connector falls to %.1f V while the battery holds %.1f V: wiring or ground", what, m.EndConnector, m.EndSupply)
	case m.EndSupply > 0 && m.EndSupply < lowSupply:
		return "weak battery", fmt.Sprintf("%s with %.1f V at the supply (%s)", what, m.EndSupply, b.run.Point)
	case m.EndSupply > 0 && m.EndSupply >= 11.8 && (other == 0 || weak < other):
		return "high resistance", fmt.Sprintf("%s though the supply holds %.1f V (%s): wiring, ground, or a motor worn out; the loaded drop at the connector would tell", what, m.EndSupply, b.run.Point)
	case m.EndSupply == 0 && m.EndConnector > 0 && m.EndConnector < lowSupply:
		return "cannot tell", fmt.Sprintf("%s with %.1f V at the connector: weak battery or resistance in the wiring; the battery was not recorded", what, m.EndConnector)
	case m.EndSupply == 0 && other > 0 && weak == 0:
		return "high resistance", what + ", the other side is as usual: wiring, ground, or a motor worn out; the loaded drop at the connector would tell"
	case other > 0 && weak == other:
		return "cannot tell", what + " on both sides: weak battery or shared feed; record the supply voltage"
	}
	return "cannot tell", what + ": weak battery, resistance, or a motor worn out; record the supply voltage and the other side"
}

// slowEarly says how a clamp begins early and climbs slowly beside a usual one of the
// other side: slide, pins or pad bind (trade.md 5.6: early rise). A short way to the pad
// alone begins early too and then climbs as steeply. The shares are our choice.
func (b *brake) slowEarly(m *BrakeMovement) string {
	if m.Contact <= 0 || m.RiseRate <= 0 {
		return ""
	}
	for i := range b.run.Movements {
		x := &b.run.Movements[i]
		if x.motor == m.motor || x.Kind != Apply || x.CutShort || x.Contact <= 0 || x.Final < cutLow {
			continue
		}
		if m.Contact < earlyRise*x.Contact && m.RiseRate < slowRise*x.RiseRate {
			return fmt.Sprintf("the rise begins after %.2f s and climbs at %.0f A/s, on the other side after %.2f s at %.0f A/s: slide, pins or pad bind", m.Contact, m.RiseRate, x.Contact, x.RiseRate)
		}
	}
	return ""
}

// cutEarly reports a clamp that ends low though nothing held the motor back: it rises
// to its very end, as steeply as a usual clamp of the other side does and after the
// same inrush. Resistance in the feed lowers the inrush, slows the rise and bends it to
// a plateau (trade.md 5.6); the shares are our choice.
func (b *brake) cutEarly(m *BrakeMovement) bool {
	if m.Shelf || m.RiseRate <= 0 || m.Inrush <= 0 {
		return false
	}
	for i := range b.run.Movements {
		x := &b.run.Movements[i]
		if x.motor != m.motor && x.Kind == Apply && !x.CutShort && x.Final >= cutLow &&
			m.RiseRate > 0.85*x.RiseRate && m.Inrush > 0.85*x.Inrush {
			return true
		}
	}
	return false
}

// read writes readings and notes.
func (b *brake) read() {
	vehicle := evidence.Subject{Kind: evidence.Vehicle}
	finals := map[string]float64{}
	for i := range b.sides {
		s := &b.sides[i]
		if s.refused {
			continue
		}
		ch := s.ch.Name
		var mine []BrakeMovement
		for _, m := range b.run.Movements {
			if m.motor == i {
				mine = append(mine, m)
			}
		}
		name := s.side
		if name == "" {
			name = ch
		}
		for _, x := range b.run.Sides {
			if x.Side == s.side && (s.side != "" || len(b.sides) == 1) {
				b.note(ch, "", x.Verdict != "healthy", "%s: %s: %s", name, x.Verdict, x.Why)
				if x.Cycles > 0 {
					b.emit("brake.cycles", ch, s.subject, float64(x.Cycles), exact, x.Cycles, mine[0].First, mine[len(mine)-1].Last)
				}
			}
		}
		if len(mine) == 0 {
			b.refuse("brake.clamp_current", ch, s.subject, evidence.TooFewEvents, "no movement: the current stays at rest", "give a command while recording; if one was given, the circuit is open")
			continue
		}
		for k, m := range mine {
			text := fmt.Sprintf("%s, %.2f s, up to %.1f A after the inrush", m.Kind, m.End-m.Start, m.Peak)
			b.mark("brake.movement", ch, k, m.First, m.Last, "%s", text)
		}
		whole := slices.DeleteFunc(slices.Clone(mine), func(m BrakeMovement) bool { return m.CutShort })
		if s.side != "" {
			if f := b.figure(s, whole, "brake.clamp_current", 0.02, func(m BrakeMovement) (float64, float64, bool) {
				return m.Final, m.RiseRate / b.rate / math.Sqrt(12), m.Kind == Apply
			}); f > 0 {
				finals[s.side] = f
			}
		} else {
			b.figure(s, whole, "brake.clamp_current", 0.02, func(m BrakeMovement) (float64, float64, bool) {
				return m.Final, m.RiseRate / b.rate / math.Sqrt(12), m.Kind == Apply
			})
		}
		if !slices.ContainsFunc(whole, func(m BrakeMovement) bool { return m.Kind == Apply }) {
			b.refuse("brake.clamp_current", ch, s.subject, evidence.TooFewEvents, "no movement ends in a clamp", "record an apply from rest to cut-off")
		}
		b.figure(s, whole, "brake.free_current", 0.02, func(m BrakeMovement) (float64, float64, bool) { return m.Free, 0, m.Free > 0 })
		b.figure(s, whole, "brake.rise_rate", 0.02, func(m BrakeMovement) (float64, float64, bool) {
			return m.RiseRate, 0.2 * m.RiseRate, m.Kind == Apply && m.RiseRate > 0
		})
		tick := 1 / b.rate / math.Sqrt(6)
		b.figure(s, whole, "brake.apply_time", 0, func(m BrakeMovement) (float64, float64, bool) { return m.End - m.Start, tick, m.Kind == Apply })
		b.figure(s, whole, "brake.release_time", 0, func(m BrakeMovement) (float64, float64, bool) {
			return m.End - m.Start, tick, m.Kind == Release
		})
		if b.rate < motorInrushHz {
			b.refuse("brake.inrush", ch, s.subject, evidence.TooSlow, fmt.Sprintf("one sample every %.0f ms is too slow for an inrush of 20-60 ms", 1e3/b.rate), "record at 100 samples a second or more; 1000 show it well")
		} else {
			b.figure(s, whole, "brake.inrush", 0.02, func(m BrakeMovement) (float64, float64, bool) { return m.Inrush, 0.1 * m.Inrush, m.Inrush > 0 })
		}
	}
	if l, r := finals["left"], finals["right"]; l > 0 && r > 0 {
		d := 100 * math.Abs(l-r) / ((l + r) / 2)
		b.emit("brake.side_difference", b.sides[0].ch.Name, vehicle, d, 3, 2, b.run.Movements[0].First, b.run.Movements[len(b.run.Movements)-1].Last)
		if d > 100*sideDifference {
			b.note("", "", true, "left clamps at %.1f A, right at %.1f A: %.0f %% apart (15-20 %% is the limit, an estimate)", l, r, d)
		}
	}
	b.readSupply(vehicle)
	short := math.Inf(1)
	var at BrakeRest
	for _, r := range b.run.Rests {
		if r.Seconds < short && r.Seconds > 1/b.rate && !b.sides[r.motor].refused {
			short, at = r.Seconds, r
		}
	}
	if !math.IsInf(short, 0) {
		f, l := b.samplesOf(at)
		b.emit("brake.rest_shortest", b.sides[0].ch.Name, vehicle, short, 1/b.rate, len(b.run.Rests), f, l)
		if short < restDefault {
			b.note("", "", false, "shortest rest between two movements of one motor %.1f s, from the end of one to the start of the next; 30 s is the default (common practice, no source)", short)
		}
	}
}

// samplesOf gives the samples between two movements.
func (b *brake) samplesOf(r BrakeRest) (int, int) {
	first, last := 0, 0
	for _, m := range b.run.Movements {
		if m.End == r.From && m.Side == r.Side {
			first = m.Last
		}
		if m.Start == r.To && m.Side == r.Side {
			last = m.First
		}
	}
	return min(first, last), max(first, last)
}

// readSupply reads the lowest supply voltage over all movements.
func (b *brake) readSupply(vehicle evidence.Subject) {
	ch := b.supply
	if ch == nil {
		ch = b.plug
	}
	if ch == nil {
		if len(b.run.Movements) > 0 {
			b.refuse("brake.supply_lowest", b.sides[0].ch.Name, vehicle, evidence.WrongChannel, "no supply voltage was recorded beside the current", "record the voltage at the battery posts on a second channel")
		}
		return
	}
	low, at := math.Inf(1), -1
	for i, m := range b.run.Movements {
		v := m.Supply
		if ch == b.plug {
			v = m.Connector
		}
		if v > 0 && v < low {
			low, at = v, i
		}
	}
	if at < 0 {
		return
	}
	m := b.run.Movements[at]
	var flags []evidence.Flag
	word := "lowest"
	if m.SupplySeen {
		word = "lowest seen"
		if low >= lowSupply {
			// A deeper dip may have been missed: the value may not clear the supply.
			flags = append(flags, evidence.TooSlow)
		}
	}
	b.emit("brake.supply_lowest", ch.Name, vehicle, low, 0.05, len(b.run.Movements), m.First, m.Last, flags...)
	b.note(ch.Name, "", low < lowSupply, "%s supply during a movement %.2f V, at %s", word, low, strings.TrimSpace(ch.Name))
}

// figure reads one feature of a motor as the median over its movements. get gives a
// value, its own uncertainty, and whether the movement has it; scale is the relative
// error of the clamp. It returns the median, 0 without one.
func (b *brake) figure(s *brakeChannel, ms []BrakeMovement, feature string, scale float64, get func(BrakeMovement) (float64, float64, bool)) float64 {
	var v, u []float64
	first, last := -1, 0
	for _, m := range ms {
		if x, sigma, ok := get(m); ok {
			v, u = append(v, x), append(u, sigma)
			if first < 0 {
				first = m.First
			}
			last = m.Last
		}
	}
	if len(v) == 0 {
		return 0
	}
	m := stats.Median(v)
	se := 0.0
	if len(v) > 1 {
		_, _, se = middle(v)
	}
	one := stats.Median(u)
	var flags []evidence.Flag
	if s.cut && (feature == "brake.clamp_current" || feature == "brake.inrush" || feature == "brake.rise_rate") {
		flags = append(flags, evidence.Clipped)
	}
	b.emit(feature, s.ch.Name, s.subject, m, math.Sqrt(se*se+one*one/float64(len(v))+scale*scale*m*m), len(v), first, last, flags...)
	return m
}

// looksLikeBrakeMotor recognises a brake motor safely: a channel named so that moves
// as one does. Other motors look alike, so the look alone does not count.
func looksLikeBrakeMotor(rec *trace.Recording, meta Meta) (bool, string) {
	for i := range rec.Channels {
		n := " " + foldName(rec.Channels[i].Name) + " "
		named := strings.Contains(n, " epb ") || strings.Contains(n, " parking brake ") || strings.Contains(n, " caliper motor ") || strings.Contains(n, " brake motor ")
		if !named || rec.Channels[i].Unit.Dim != unit.Current {
			continue
		}
		run, _, err := BrakeMotor(rec, meta)
		if err != nil || !slices.ContainsFunc(run.Movements, func(m BrakeMovement) bool { return m.Kind == Apply || m.Kind == Release }) {
			continue
		}
		return true, "channel " + strings.TrimSpace(rec.Channels[i].Name) + " is named as a brake motor's current and moves as one"
	}
	return false, ""
}

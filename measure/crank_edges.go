package measure

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// CrankEdges is a crank position sensor, with or without cam sensors beside it:
// a list of logic edges, a sampled logic signal, or the wave of a
// variable-reluctance sensor. Columns: as: crank_edges for the crank, cam_edges
// for a cam, sync for a pulse at the firing of cylinder 1.
const CrankEdges = "crank_edges"

const (
	camEdgesRole = "cam_edges"
	syncRole     = "sync"
	goodFit      = 0.85 // share of edges that must fit the wheel
	fewestTurns  = 2.0
	fewGuessed   = 12 // our choice: so few marks a turn come from other signals too
)

// CrankRun is what a recording of a crank sensor shows, beside its readings.
type CrankRun struct {
	Channel      string
	Rising       bool   // rising edges were used, falling ones otherwise
	Wheel        string // "36-2-1"
	TeethPerTurn int
	Turns        float64
	Speeds       []Speed
	Doubled      []int     // sample of each edge that is one too many, beside a tooth
	Stray        []int     // other edges that are no teeth
	Missing      int       // teeth without an edge
	Lost         int       // times the place on the wheel was lost
	ToothError   []float64 // deg, by tooth; nil when it could not be learned
	Orders       []Order   // of the cranking part, else of the running part
	Pulses       []Pulse   // compressions of a cycle while cranking
	Firings      int       // looked at for misfire
	Misfires     []Misfire
}

// crankEdges is Crank as a kind of capture.
func crankEdges(rec *trace.Recording, meta Meta) (Result, error) {
	_, res, err := Crank(rec, meta)
	return res, err
}

// crank is the work on one recording.
type crank struct {
	readout
	run    CrankRun
	s      sensor
	level  int8
	w      wheel
	d      decoded
	tr     turn
	cams   []camTrack
	sync   *camTrack
	starts bool // begins on the starter
	// angles that part cranking from running
	starterTo float64
	fires     bool
	noisy     bool
	n         int // cylinders; 0 unknown
}

// Crank measures a crank sensor. The error is for a recording that cannot be
// worked on at all.
func Crank(rec *trace.Recording, meta Meta) (CrankRun, Result, error) {
	c := &crank{readout: readout{meta: meta}, n: meta.Engine.Cylinders}
	if len(rec.Channels) == 0 || rec.Time.N < 2 || rec.Time.Uniform() && rec.Time.Num == 0 {
		return c.run, c.res, fmt.Errorf("a crank sensor needs times: give sample_rate or a time column")
	}
	if why := c.choose(rec); why != "" {
		name := "crank sensor"
		if c.s.ch != nil {
			name = c.s.ch.Name
		}
		c.refuse("crank.speed", name, evidence.WholeEngine, evidence.WrongChannel, why, "check that the crank sensor's channel is mapped (as: crank_edges), and record the cam sensor beside it")
		return c.run, c.res, nil
	}
	c.run.Channel, c.run.Rising = c.s.ch.Name, c.level == 1
	c.run.Wheel, c.run.TeethPerTurn = c.w.name(), c.w.events*c.w.repeats
	if k := c.meta.Known.CrankTeeth; k > 0 && !c.w.coded && c.w.teeth() != k {
		c.note(c.s.ch.Name, evidence.ScaleUnsure, true, "%s: the wheel found has %d teeth a turn (%s), the job says %d; measured as found", c.s.ch.Name, c.w.teeth(), c.run.Wheel, k)
	}
	c.tr = newTurn(c.w, c.d)
	c.run.Turns = c.turns()
	c.run.Speeds = c.tr.speeds()
	if len(c.run.Speeds) < 2 || c.run.Turns < fewestTurns {
		c.refuse("crank.speed", c.s.ch.Name, evidence.WholeEngine, evidence.TooFewEvents, fmt.Sprintf("only %.1f turns of the crank lie in the recording", c.run.Turns), "record at least ten turns")
		return c.run, c.res, nil
	}
	if why := c.state(); why != "" {
		c.refuse("crank.speed", c.s.ch.Name, evidence.WholeEngine, evidence.ScaleUnsure, why, "check the unit of the time column and the channel")
		c.run.Speeds = nil
		return c.run, c.res, nil
	}
	if c.w.guessed && c.w.events < fewGuessed && c.meta.Known.CrankTeeth != c.w.teeth() {
		var rpm []float64
		for _, s := range c.run.Speeds {
			rpm = append(rpm, s.RPM)
		}
		if d := c.meta.Condition.SpeedRPM; !(d > 0) || math.Abs(stats.Median(rpm)/d-1) > 0.25 {
			c.flags = append(c.flags, evidence.ScaleUnsure)
		}
	}
	c.speed()
	c.faults()
	c.spacing()
	c.cranking()
	c.misfire()
	c.camRelation()
	return c.run, c.res, nil
}

// choose finds crank channel, level of its edges and wheel; the text says what
// stands in the way.
func (c *crank) choose(rec *trace.Recording) string {
	declared, named := -1, -1
	var cams []int
	sync := -1
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		if col, ok := c.meta.column(ch.Name); ok && col.As != "" {
			switch col.As {
			case CrankEdges:
				declared = i
			case camEdgesRole:
				cams = append(cams, i)
			case syncRole:
				sync = i
			}
			continue
		}
		if crankName(ch.Name) {
			if named < 0 {
				named = i
			}
		} else {
			cams = append(cams, i)
		}
	}
	sensors := make([]sensor, len(rec.Channels))
	done := make([]bool, len(rec.Channels))
	get := func(i int) sensor {
		if !done[i] {
			sensors[i], done[i] = findEdges(rec, &rec.Channels[i]), true
		}
		return sensors[i]
	}
	var try []int
	switch {
	case declared >= 0:
		try = []int{declared}
	case named >= 0:
		try = []int{named}
	default:
		try, cams = cams, nil
		for i := range rec.Channels {
			if _, ok := c.meta.column(rec.Channels[i].Name); !ok {
				cams = append(cams, i)
			}
		}
	}
	if len(try) == 0 {
		return "no channel is left to be the crank sensor"
	}
	best, why := -1.0, ""
	var failed sensor
	most := 1
	for _, i := range try {
		most = max(most, len(get(i).edges)/2)
	}
	for _, i := range try {
		s := get(i)
		if s.why != "" {
			if why == "" {
				why, failed = fmt.Sprintf("%s: %s", s.ch.Name, s.why), s
			}
			continue
		}
		for _, level := range []int8{1, 0} {
			w, q, ok := findWheel(s, level)
			if !ok {
				if why == "" {
					why, failed = fmt.Sprintf("%s: its edges follow no pattern that repeats", s.ch.Name), s
				}
				continue
			}
			d := decode(w, s.of(level))
			var tracks []camTrack
			for _, k := range cams {
				if k != i {
					if t := get(k); len(t.edges) >= 4 {
						tracks = append(tracks, d.place(t))
					}
				}
			}
			if !w.revolution(tracks, c.meta.Known.CrankTeeth) {
				why, failed = fmt.Sprintf("%s: the teeth are even, with no mark: how many make one turn cannot be told without a cam sensor or the number of teeth (known: crank_teeth)", s.ch.Name), s
				continue
			}
			score := d.fit + 0.05*q - 0.2*math.Min(0.5, w.misfit)
			if w.listed {
				score += 0.15
			}
			if len(w.gaps) > 0 || w.extra > 0 || w.coded {
				score += 0.2
			}
			score += 0.4 * float64(len(d.teeth)) / float64(most)
			if score > best {
				best = score
				c.s, c.level, c.w, c.d, c.cams = s, level, w, d, tracks
			}
		}
	}
	if best < 0 {
		c.s = failed
		return why
	}
	if c.d.fit < goodFit {
		return fmt.Sprintf("%s: %.0f %% of the edges fit a wheel (%s); that is too few to go by", c.s.ch.Name, 100*math.Max(0, c.d.fit), c.w.name())
	}
	if sync >= 0 {
		t := c.d.place(get(sync))
		c.sync = &t
	}
	return ""
}

// turns counts the turns seen, without the jumps.
func (c *crank) turns() float64 {
	sum := 0.0
	for i := 1; i < len(c.tr.deg); i++ {
		if !c.tr.fresh[i] {
			sum += c.tr.deg[i] - c.tr.deg[i-1]
		}
	}
	return sum / 360
}

// state parts cranking from running, and holds the speed against what an engine
// can do and what was declared.
func (c *crank) state() string {
	var rpm []float64
	for _, s := range c.run.Speeds {
		rpm = append(rpm, s.RPM)
	}
	m := stats.Median(rpm)
	if m < slowestRPM || m > fastestRPM {
		return fmt.Sprintf("the crank would turn at %.3g rpm: the time scale, or the number of teeth, is wrong", m)
	}
	c.starterTo = math.Inf(-1)
	if rpm[0] < starterRPM {
		c.starts = true
		c.starterTo = c.tr.deg[len(c.tr.deg)-1]
	}
	for _, s := range c.run.Speeds {
		if c.starts && s.RPM >= starterRPM {
			c.starterTo = math.Min(c.starterTo, c.degAt(s.Seconds)-360)
		}
		if s.RPM >= firingRPM {
			c.fires = true
		}
	}
	switch {
	case c.starts && !c.fires:
		c.res.Condition = evidence.Condition{State: evidence.Cranking, SpeedRPM: math.Round(m)}
	case !c.starts && m < 1100:
		c.res.Condition = evidence.Condition{State: evidence.Idle, SpeedRPM: math.Round(m)}
	case !c.starts:
		c.res.Condition = evidence.Condition{SpeedRPM: math.Round(m)}
	}
	said := c.meta.Condition.State
	if said == evidence.Cranking && !c.starts || said != "" && said != evidence.Cranking && said != evidence.Off && said != evidence.KeyOn && !c.fires {
		c.flags = append(c.flags, evidence.ConditionUnsure)
		c.note(c.s.ch.Name, evidence.ConditionUnsure, true, "%s: declared as %s, but the crank turns at %.0f rpm", c.s.ch.Name, spoken(said), m)
	}
	return ""
}

// degAt is the angle at a time.
func (c *crank) degAt(t float64) float64 {
	lo, hi := 0, len(c.tr.t)-1
	for lo < hi {
		mid := (lo + hi) / 2
		if c.tr.t[mid] < t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return c.tr.deg[lo]
}

// speed reads the engine speed while cranking, after the first turn, and while
// running: the median of the means over one turn.
func (c *crank) speed() {
	ch := c.s.ch.Name
	c.emit("crank.teeth", ch, evidence.WholeEngine, float64(c.run.TeethPerTurn), exact, int(c.run.Turns), c.tr.at[0], c.tr.at[len(c.tr.at)-1])
	c.note(ch, "", c.w.guessed, "%s: wheel with %s, found in %.1f turns; %s", ch, c.run.Wheel, c.run.Turns, c.w.went)
	if c.s.analog {
		c.note(ch, "", false, "%s: the signal has no two clear levels (variable reluctance); the crossing of its middle was taken for the edge", ch)
	}
	var starter, running []Speed
	for _, s := range c.run.Speeds {
		d := c.degAt(s.Seconds)
		switch {
		case c.starts && d <= c.starterTo && d > c.tr.deg[0]+720:
			starter = append(starter, s)
		case s.RPM >= firingRPM:
			running = append(running, s)
		}
	}
	read := func(feature string, ss []Speed) {
		if len(ss) == 0 {
			return
		}
		var rpm []float64
		for _, s := range ss {
			rpm = append(rpm, s.RPM)
		}
		m, _, se := middle(rpm)
		// Four overlapping means a turn; the recorder's clock is taken for good to 0.01 %.
		se = math.Hypot(2*se, m*(1e-4+c.s.grain*m/60))
		c.emit(feature, ch, evidence.WholeEngine, m, se, (len(ss)+3)/4, ss[0].Sample, ss[len(ss)-1].Sample)
	}
	read("cranking.speed", starter)
	read("crank.speed", running)
	if c.starts && len(starter) == 0 {
		c.refuse("cranking.speed", ch, evidence.WholeEngine, evidence.TooFewEvents, "the starter turns the crank for less than two turns", "record a longer cranking, with the engine kept from starting")
	}
	first, last := c.run.Speeds[0], c.run.Speeds[len(c.run.Speeds)-1]
	lo, hi := first.RPM, first.RPM
	for _, s := range c.run.Speeds {
		lo, hi = math.Min(lo, s.RPM), math.Max(hi, s.RPM)
	}
	c.note(ch, "", false, "%s: engine speed %.0f rpm at the start, %.0f at the end, between %.0f and %.0f", ch, first.RPM, last.RPM, lo, hi)
	for i := 0; i < len(c.run.Speeds); i += max(1, len(c.run.Speeds)/40) {
		s := c.run.Speeds[i]
		c.mark("crank.speed", ch, i, s.Sample, s.Sample, "%.0f rpm", s.RPM)
	}
}

// faults reports edges that are no teeth, and teeth without edges.
func (c *crank) faults() {
	ch := c.s.ch.Name
	before := c.tr.t[0]
	standing := 0
	for _, e := range c.s.bounced {
		if e.t < before {
			standing++ // at key-on, before the crank turns
			continue
		}
		c.run.Doubled = append(c.run.Doubled, e.at)
	}
	for _, e := range c.d.doubled {
		c.run.Doubled = append(c.run.Doubled, e.at)
	}
	for _, e := range c.d.stray {
		c.run.Stray = append(c.run.Stray, e.at)
	}
	c.run.Missing, c.run.Lost = c.d.nLost, c.d.jumps
	n := len(c.run.Doubled) + len(c.run.Stray) + c.run.Missing + c.run.Lost
	c.emit("crank.signal_faults", ch, evidence.WholeEngine, float64(n), math.Sqrt(float64(n)), len(c.tr.t), c.tr.at[0], c.tr.at[len(c.tr.at)-1])
	if standing > 0 {
		c.note(ch, "", false, "%s: %d short spikes before the crank turns (contact bounce at key-on)", ch, standing)
	}
	if n == 0 {
		return
	}
	var parts []string
	say := func(n int, one, many string) {
		if n == 1 {
			parts = append(parts, "1 "+one)
		} else if n > 1 {
			parts = append(parts, fmt.Sprintf("%d %s", n, many))
		}
	}
	say(len(c.run.Doubled), "doubled edge", "doubled edges")
	say(len(c.run.Stray), "stray edge", "stray edges")
	say(c.run.Missing, "missing edge", "missing edges")
	say(c.run.Lost, "place where the wheel's position was lost", "places where the wheel's position was lost")
	c.note(ch, evidence.Noisy, true, "%s: crank signal faults: %s in %d teeth", ch, strings.Join(parts, ", "), len(c.tr.t))
	for i, at := range c.run.Doubled {
		c.mark("crank.signal_faults", ch, i, at, at, "doubled edge")
	}
	for i, at := range c.run.Stray {
		c.mark("crank.signal_faults", ch, len(c.run.Doubled)+i, at, at, "stray edge")
	}
	for i, e := range c.d.lost {
		c.mark("crank.signal_faults", ch, len(c.run.Doubled)+len(c.run.Stray)+i, e.at, e.at, "edge missing after this")
	}
}

// spacing learns the teeth's errors, takes them off the angles while the engine
// runs, and reads the scatter of one edge.
func (c *crank) spacing() {
	ch := c.s.ch.Name
	harmonics := max(4, 2*c.n)
	errs, unseen, scatter, turns, ok := c.tr.toothError(harmonics)
	pitch := 360 * stats.Median(c.w.share) / float64(c.w.repeats)
	if turns >= 3 && turns < math.MaxInt && scatter > 0 {
		c.emit("crank.edge_scatter", ch, evidence.WholeEngine, 100*scatter/pitch, 100*scatter/pitch*scatterSE(len(c.tr.t)), len(c.tr.t), c.tr.at[0], c.tr.at[len(c.tr.at)-1])
		if scatter > 0.06*pitch {
			c.noisy = true
			c.flags = append(c.flags, evidence.Noisy)
			c.note(ch, evidence.Noisy, true, "%s: noisy crank signal: one edge scatters by %.2f deg, %.0f %% of a tooth (clean ones in our recordings: under 2 %%)", ch, scatter, 100*scatter/pitch)
		}
	}
	switch {
	case !ok && c.run.TeethPerTurn < 4*harmonics:
		c.refuse("crank.tooth_error", ch, evidence.WholeEngine, evidence.TooSlow, fmt.Sprintf("%d teeth a turn are too few to tell a tooth in the wrong place from the engine's own swing", c.run.TeethPerTurn), "nothing to do on this wheel; look at it for damage")
	case !ok:
		c.refuse("crank.tooth_error", ch, evidence.WholeEngine, evidence.TooFewEvents, "too few clean turns to learn the tooth spacing", "record at least ten turns at a raised idle")
	case c.starts:
		c.refuse("crank.tooth_error", ch, evidence.WholeEngine, evidence.ConditionUnsure, "compression moves the speed too much while cranking", "record it running at a raised idle")
	default:
		worst := 0
		for k, e := range errs {
			if math.Abs(e) > math.Abs(errs[worst]) {
				worst = k
			}
		}
		c.run.ToothError = errs
		c.emit("crank.tooth_error", ch, evidence.WholeEngine, math.Abs(errs[worst]), math.Hypot(scatter*math.Sqrt(1.5/float64(turns))*1.25, 1.25*unseen), turns, c.tr.at[0], c.tr.at[len(c.tr.at)-1])
		for i := range c.tr.deg {
			c.tr.deg[i] += errs[c.tr.k[i]]
		}
		if math.Abs(errs[worst]) > 0.15*pitch {
			c.note(ch, evidence.Noisy, true, "%s: one tooth stands %.2f deg off its place, every turn (damaged tooth, dirt, or a wheel that is not what it was taken for)", ch, errs[worst])
		}
	}
}

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

// sheet is a readout bound to the channel and subject that are being read: the part
// that ignition primary, injector, battery, fuel and cylinder pressure have in common.
type sheet struct {
	readout
	rec     *trace.Recording
	subject evidence.Subject
	cond    evidence.Condition
	rate    float64         // samples a second
	runs    []trace.Segment // uninterrupted stretches
	channel string          // the one that is being read
}

func newSheet(rec *trace.Recording, meta Meta) *sheet {
	s := &sheet{readout: readout{meta: meta}, rec: rec, subject: meta.Subject, cond: meta.Condition, runs: rec.Segments}
	if len(s.runs) == 0 && len(rec.Channels) > 0 {
		s.runs = []trace.Segment{{First: 0, End: len(rec.Channels[0].Values)}}
	}
	if r := rateWithin(rec.Time, s.runs); r > 0 && !math.IsInf(r, 0) {
		s.rate = r
	}
	return s
}

// eachCircuit hands over, with a fresh sheet, each channel that holds a current,
// and each that holds a voltage of which no current of the same subject is there.
// It returns how many there were.
func eachCircuit(rec *trace.Recording, meta Meta, kind string, do func(s *sheet, ch *trace.Channel, role string)) int {
	withCurrent := map[evidence.Subject]bool{}
	n := 0
	for _, role := range []string{RoleCurrent, RoleVoltage} {
		for i := range rec.Channels {
			ch := &rec.Channels[i]
			subject := meta.subjectOf(ch)
			if meta.roleOf(ch, kind) != role || role == RoleVoltage && withCurrent[subject] {
				continue
			}
			if role == RoleCurrent {
				withCurrent[subject] = true
			}
			n++
			s := newSheet(rec, meta)
			s.subject, s.channel = subject, ch.Name
			do(s, ch, role)
		}
	}
	return n
}

// cutOff reports whether the top of a stretch is cut off by the recorder: its
// greatest value comes back exactly, and more often than all values a little below
// it. sigma is the noise: where the recorder's steps are coarser than that, values
// come back by themselves, and nothing is said. Our choice.
func cutOff(v signal, sigma float64) bool {
	if len(v.v) == 0 || !(sigma > 0) {
		return false
	}
	lo, hi := leastGreatest(v.v)
	if v.down {
		lo, hi = -hi, -lo
	}
	next := math.Inf(-1)
	top, below := 0, 0
	for i := range v.v {
		switch x := v.at(i); {
		case x == hi:
			top++
		case x >= hi-0.03*(hi-lo):
			below++
			next = math.Max(next, x)
		}
	}
	return top >= 4 && top > 2*below && (below == 0 || hi-next < 0.5*sigma || top > 20)
}

// seconds is the time of sample i from the start of the recording.
func (s *sheet) seconds(i int) float64 { return float64(s.rec.Time.At(i)-s.rec.Time.At(0)) * 1e-9 }

func (s *sheet) flag(f evidence.Flag) { s.flags = uniqueFlags(append(s.flags, f)) }

func (s *sheet) note(f evidence.Flag, trouble bool, format string, args ...any) {
	s.readout.note(s.channel, f, trouble, format, args...)
}

func (s *sheet) refuse(feature string, flag evidence.Flag, why, fix string) {
	s.readout.refuse(feature, s.channel, s.subject, flag, why, fix)
}

// emit appends one reading: value and standard uncertainty in the named unit. A
// value that its feature cannot have at all (traits.go) is refused instead: the
// unit or the scale is wrong, and a number would look sure.
func (s *sheet) emit(feature, symbol string, value, sd float64, n, first, last int, flags ...evidence.Flag) bool {
	u := unit.Must(symbol)
	q, err := unit.New(value, u)
	if err != nil || math.IsNaN(sd) || math.IsInf(sd, 0) {
		return false
	}
	// No recorder is surer than a ten-thousandth, and 0 would mean "not stated".
	sd = math.Max(sd, 1e-4*math.Abs(value))
	low, high := s.bounds(feature)
	if low != high && (q.SI < low || q.SI > high) {
		f, _ := evidence.Lookup(feature)
		s.refuse(feature, evidence.ScaleUnsure, fmt.Sprintf("%s would be %s; that cannot be, so the unit or the scale of the channel is wrong", f.Name, show(q.SI, f)), "check the unit, the clamp's or probe's scale and the time column")
		return false
	}
	s.add(feature, s.channel, s.subject, q, u.StepSI(sd), s.cond, n, first, last, flags)
	return true
}

// circuitBounds are what features of circuit captures can be at all, in SI, where
// traits.go has no row. Our choice: an order of magnitude beyond trade.md 2.3-2.5, 7.
var circuitBounds = map[string][2]float64{
	"coil.ramp_slope":        {100, 100e3},
	"coil.inductance":        {0.2e-3, 60e-3},
	"coil.time_constant":     {0.2e-3, 100e-3},
	"coil.clamp_voltage":     {30, 1000},
	"injector.peak_current":  {0.05, 60},
	"injector.hold_current":  {0.05, 30},
	"battery.sleep_time":     {0, 4 * 3600},
	"battery.lowest_seen":    {0, 60},
	"battery.loaded_min":     {0, 60},
	"battery.parasitic":      {0.5e-3, 20},
	"charging.ripple":        {0, 10},
	"circuit.voltage_drop":   {-20, 20},
	"fuel.pump_current":      {0.3, 60},
	"fuel.rest_loss_minute":  {-50e3, 30e6},
	"injector.opening_time":  {50e-6, 10e-3},
	"injector.time_constant": {20e-6, 20e-3},
}

func (s *sheet) bounds(feature string) (low, high float64) {
	if t, ok := traitTable[feature]; ok {
		return t.low, t.high
	}
	b := circuitBounds[feature]
	return b[0], b[1]
}

func (s *sheet) mark(feature string, event, first, last int, format string, args ...any) {
	s.readout.mark(feature, s.channel, event, first, last, format, args...)
}

// unplaced says once that no cylinder is given, or refuses one the engine lacks.
func (s *sheet) unplaced(feature string) (refused bool) {
	switch {
	case s.subject.Kind == "":
		s.note(evidence.Unplaced, true, "%s: no cylinder is given; the readings cannot be compared until it is", s.channel)
		s.flag(evidence.Unplaced)
	case s.subject.Kind == evidence.Cylinder && s.meta.Engine.Cylinders > 0 && s.subject.Number > s.meta.Engine.Cylinders:
		s.refuse(feature, evidence.Unplaced, fmt.Sprintf("cylinder %d is given, the engine has %d", s.subject.Number, s.meta.Engine.Cylinders), "correct the cylinder of the capture")
		return true
	}
	return false
}

// roleOf says what a channel is in a capture of the given kind: as declared, or
// by its unit and the words of its name. "" means it is not used.
func (m Meta) roleOf(ch *trace.Channel, kind string) string {
	if c, ok := m.column(ch.Name); ok && c.As != "" && c.As != kind {
		if isKind(c.As) {
			return ""
		}
		return c.As
	}
	if ch.Edges {
		return ""
	}
	name := " " + foldName(ch.Name) + " "
	has := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(name, " "+w+" ") {
				return true
			}
		}
		return false
	}
	switch ch.Unit.Dim {
	case unit.Current:
		return RoleCurrent
	case unit.Pressure:
		return RolePressure
	case unit.Temperature:
		return RoleAmbient
	case unit.EngineSpeed:
		return EngineSpeed
	case unit.Voltage:
		switch {
		case has("ground", "gnd", "masse"):
			return RoleGround
		case has("drop"):
			return RoleDrop
		case has("battery", "batt", "vbat", "ubat"):
			return RoleBattery
		case has("supply", "feed", "vcc"):
			return Supply
		}
		return RoleVoltage
	}
	// Without a unit only a declared channel can be anything.
	return ""
}

// isKind reports whether a column's role is a kind of capture rather than the role
// of one channel in it.
func isKind(as string) bool { return slices.Contains(Kinds(), as) }

// subjectOf is what the job says the channel belongs to, else the capture's own.
func (m Meta) subjectOf(ch *trace.Channel) evidence.Subject {
	if c, ok := m.column(ch.Name); ok && c.Subject.Kind != "" {
		return c.Subject
	}
	return m.Subject
}

// companion finds the channel of a role that goes with a subject: one declared
// for the same subject, else one that is declared for no subject of its own.
func (s *sheet) companion(kind, role string, subject evidence.Subject) *trace.Channel {
	var shared *trace.Channel
	for i := range s.rec.Channels {
		ch := &s.rec.Channels[i]
		if s.meta.roleOf(ch, kind) != role {
			continue
		}
		c, ok := s.meta.column(ch.Name)
		switch {
		case ok && c.Subject.Kind != "" && c.Subject == subject:
			return ch
		case (!ok || c.Subject.Kind == "") && shared == nil:
			shared = ch
		}
	}
	return shared
}

// finite cuts the runs at samples without a value and counts those.
func finite(v []float64, runs []trace.Segment) (out []trace.Segment, lost int) {
	for _, r := range runs {
		end := min(r.End, len(v))
		if allFinite(v[min(r.First, end):end]) {
			if r.First < end {
				out = append(out, trace.Segment{First: r.First, End: end})
			}
			continue
		}
		from := -1
		for i := r.First; i < end; i++ {
			bad := math.IsNaN(v[i]) || math.IsInf(v[i], 0)
			if bad {
				lost++
			}
			switch {
			case bad && from >= 0:
				out = append(out, trace.Segment{First: from, End: i})
				from = -1
			case !bad && from < 0:
				from = i
			}
		}
		if from >= 0 {
			out = append(out, trace.Segment{First: from, End: end})
		}
	}
	return out, lost
}

// allFinite reports whether there is neither NaN nor infinity in v: for those x-x is
// NaN, and so is a sum that holds it.
func allFinite(v []float64) bool {
	a, b := 0.0, 0.0
	i := 0
	for ; i+1 < len(v); i += 2 {
		a += v[i] - v[i]
		b += v[i+1] - v[i+1]
	}
	if i < len(v) {
		a += v[i] - v[i]
	}
	return a+b == 0
}

// stepNoise is the standard deviation of the noise from differences of
// neighbouring samples: robust against level, drift and hum. step is the
// recorder's step, 0 when values are not on a grid.
func stepNoise(v []float64, runs []trace.Segment) (sigma, step float64) {
	var d []float64
	step = math.Inf(1)
	n := 0
	for _, r := range runs {
		n += r.End - r.First
	}
	stride := max(1, n/20000)
	grid := true
	for _, r := range runs {
		for i := r.First + 1; i < r.End; i += stride {
			x := math.Abs(v[i] - v[i-1])
			d = append(d, x)
			if x > 0 && x < step {
				step = x
			}
		}
	}
	if len(d) == 0 {
		return 0, 0
	}
	if math.IsInf(step, 1) {
		return 0, 0
	}
	zero := 0
	for _, x := range d {
		if k := math.Round(x / step); math.Abs(x-k*step) > 1e-6*step*math.Max(1, k) {
			grid = false
			break
		} else if k == 0 {
			zero++
		}
	}
	sigma = stats.MADToSigma * stats.MedianInPlace(d) / math.Sqrt2
	if !grid || zero == 0 {
		return sigma, 0
	}
	return math.Max(sigma, step/math.Sqrt(12)), step
}

// spreadMiddle is middle for values that also carry a stated error each: the
// standard uncertainty is never below that of their mean.
func spreadMiddle(x []float64, each float64) (value, se float64) {
	v, _, s := middle(x)
	if len(x) == 1 {
		s = 0 // one event says nothing of scatter; the caller flags it
	}
	return v, math.Max(s, each/math.Sqrt(float64(max(1, len(x)))))
}

package measure

import (
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/vehicle"
)

// Window detection, SI. Our choice unless noted; trade.md 2.7 reads trims at
// idle, 2500 rpm, cruise and load.
const (
	runsAbove    = 420.0
	standing     = 0.6  // m/s
	moving       = 8.3  // m/s: 30 km/h
	warmDegC     = 60.0 // closed loop and warmed up
	sustain      = 3.0  // s a condition must hold before it counts
	windowNeeds  = 20.0 // s of a window for a reading
	wideLoad     = 70.0 // % calculated load
	openThrottle = 60.0 // % throttle, where load is not logged
)

// logView is a log ready to be measured.
type logView struct {
	meta    Meta
	all     []*parameter
	g       grid
	state   []evidence.State // per grid step; "" = none of the windows, "off" engine not running
	diesel  bool             // looks unthrottled
	fuel    string           // petrol, diesel, "" unknown
	closedT float64          // throttle at rest, %
}

// get finds the first usable parameter of a role.
func (l *logView) get(id string) *parameter {
	for _, p := range l.all {
		if p.role.id == id && len(p.V) > 0 {
			return p
		}
	}
	return nil
}

func (l *logView) col(id string) []float64 {
	if p := l.get(id); p != nil {
		return l.g.v[p]
	}
	return nil
}

func at(col []float64, i int) float64 {
	if col == nil {
		return math.NaN()
	}
	return col[i]
}

// windows names the operating condition of each grid step.
func (l *logView) windows() {
	rpm, speed, load, throttle, pressure := l.col(EngineSpeed), l.col(VehicleSpeed), l.col(EngineLoad), l.col(Throttle), l.col(ManifoldPress)
	l.state = make([]evidence.State, l.g.n)
	if rpm == nil {
		return
	}
	l.closedT = l.restOf(throttle, rpm)
	hold := max(1, int(math.Round(sustain/l.g.step)))
	raw := make([]evidence.State, l.g.n)
	for i := range raw {
		n := rpm[i]
		v := at(speed, i)
		closed := math.IsNaN(at(throttle, i)) || throttle[i] < l.closedT+3
		switch {
		case math.IsNaN(n):
		case n < 50:
			raw[i] = evidence.Off
		case n < runsAbove:
			raw[i] = evidence.Cranking
		case n < idleBelow+150 && v <= standing && closed:
			raw[i] = evidence.Idle
		case n > 1900 && n < 3100 && v <= standing:
			raw[i] = evidence.Raised
		case at(load, i) >= wideLoad && n > 1100, load == nil && throttle != nil && !l.diesel && throttle[i] >= openThrottle && n > 1100:
			raw[i] = evidence.Load
		case v > 5.5 && n > 1200 && throttle != nil && closed && !l.diesel && (load == nil || load[i] < 25) && (pressure == nil || pressure[i] < 40e3):
			raw[i] = evidence.Overrun
		case v > moving && n > 1100 && n < 3800 && l.even(speed, i, 5, 1.4) && (load == nil || load[i] > 12 && load[i] < wideLoad):
			raw[i] = evidence.Cruise
		}
	}
	// A condition counts once it has held; transients at its start are left out.
	for i := 0; i < len(raw); {
		j := i
		for j < len(raw) && raw[j] == raw[i] {
			j++
		}
		s := raw[i]
		from := i
		if s != evidence.Off && s != evidence.Cranking && s != evidence.Overrun && s != evidence.Load && s != "" {
			from = i + hold
		}
		for k := from; k < j; k++ {
			l.state[k] = s
		}
		i = j
	}
}

// restOf is the throttle reading at rest: the 5th percentile while running.
func (l *logView) restOf(throttle, rpm []float64) float64 {
	var x []float64
	for i := range throttle {
		if rpm[i] > runsAbove && !math.IsNaN(throttle[i]) {
			x = append(x, throttle[i])
		}
	}
	if len(x) == 0 {
		return math.NaN()
	}
	return stats.Quantile(x, 0.05)
}

// even reports whether a column stays within +-band of its value for seconds
// around step i.
func (l *logView) even(col []float64, i int, seconds, band float64) bool {
	w := max(1, int(seconds/l.g.step/2))
	for k := max(0, i-w); k <= min(len(col)-1, i+w); k++ {
		if math.IsNaN(col[k]) || math.Abs(col[k]-col[i]) > band {
			return false
		}
	}
	return true
}

// steps lists the grid steps of a window, warm and running long enough.
func (l *logView) steps(s evidence.State) []int {
	coolant := l.col(Coolant)
	var out []int
	for i, x := range l.state {
		if x == s && (coolant == nil || coolant[i] >= warmDegC) {
			out = append(out, i)
		}
	}
	return out
}

// seconds of a number of grid steps.
func (l *logView) seconds(n int) float64 { return float64(n) * l.g.step }

// settleFuel decides whether petrol rules may be used: the job says so, and the
// log does not look unthrottled. An engine that idles with its intake at nearly
// atmospheric pressure and an open throttle is no throttled petrol engine.
func (l *logView) settleFuel() {
	rpm, pressure, baro, throttle := l.col(EngineSpeed), l.col(ManifoldPress), l.col(Barometer), l.col(Throttle)
	var idleP, idleT []float64
	for i := range rpm {
		if rpm[i] < runsAbove || rpm[i] > idleBelow {
			continue
		}
		if v := at(pressure, i); !math.IsNaN(v) {
			b := at(baro, i)
			if math.IsNaN(b) || b < 50e3 {
				b = 100e3
			}
			idleP = append(idleP, v/b)
		}
		if v := at(throttle, i); !math.IsNaN(v) {
			idleT = append(idleT, v)
		}
	}
	if len(idleP) >= 10 && stats.Median(idleP) > 0.85 && (len(idleT) < 10 || stats.Median(idleT) > 40) {
		l.diesel = true
	}
	l.fuel = l.meta.Engine.Fuel
	if l.meta.Engine.Ignition == vehicle.NoIgnition && l.fuel == "" {
		l.fuel = "diesel"
	}
}

// petrol reports whether petrol rules apply.
func (l *logView) petrol() bool { return l.fuel != "" && l.fuel != "diesel" && !l.diesel }

package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// Limits of a battery that cranks; our choice.
const (
	leastRest = 5.0 // V before the starter: less is the drop of a cable, or no battery
	leastSag  = 0.2 // V: less does not turn an engine
	mostSag   = 18.0
)

// turnedByVoltage looks at the compressions through the battery's voltage, where no
// current was clamped. Each compression takes more current, and battery and cable
// drop by that much more: volts for amperes, in a proportion that is not known but
// alike for all cylinders. So the humps can be compared, and the current is not given.
//
// Definition. cranking.voltage_hump: how much lower the battery is at a compression
// than between it and its neighbours, read as the hump of the current is (Cranking).
// Source: trade.md 2.6 for the current; that the battery shows it turned over is Ohm's
// law, its resistance taken as constant over the seconds of cranking.
//
// lowest is the battery's lowest voltage while cranking where it was read already; 0:
// it is read here.
func (c *cranked) turnedByVoltage(rec *trace.Recording, volt *trace.Channel, lowest float64) {
	below := *volt
	below.Values = scaledBy(volt.Values, -1)
	c.sag, c.amp, c.volt = true, &below, volt
	c.run.Channel = volt.Name
	if why, fix, flag := c.find(rec); why != "" {
		c.refuse(c.ripple(), volt.Name, evidence.WholeEngine, flag, why, fix)
		return
	}
	c.res.Condition = evidence.Condition{State: evidence.Cranking}
	c.run.InrushAmp, c.run.MeanAmp = 0, 0 // volts were in them
	if lowest > 0 {
		c.run.LowVolt, c.run.RestVolt = lowest, -c.zero
	} else {
		c.voltage(rec)
	}
	c.compare(rec)
}

// levelOf is the median of some samples spread over all, those without a value left out.
func levelOf(v []float64) float64 {
	var some []float64
	for i := 0; i < len(v); i += 1 + len(v)/levelBlocks {
		if x := v[i]; x-x == 0 {
			some = append(some, x)
		}
	}
	return stats.Median(some)
}

// sagged says what is wrong with a sag as the work of a starter.
func (c *cranked) sagged() (why, fix string, flag evidence.Flag) {
	const record = "record the voltage at the battery posts, from before the starter switches on"
	switch {
	case c.on < int(0.02*c.hz):
		return "it begins with the starter already on: how far the battery sags is not known", record, evidence.TooFewEvents
	case -c.zero < leastRest:
		return fmt.Sprintf("%.3g V before the starter is no battery", -c.zero), record, evidence.WrongChannel
	case c.run.MeanAmp < leastSag || c.run.MeanAmp > math.Min(mostSag, -c.zero):
		return fmt.Sprintf("a sag of %.3g V is not that of a starter", c.run.MeanAmp), record, evidence.ScaleUnsure
	}
	return c.between()
}

// compressions compares the cylinders through the sag of the battery where it is known
// how many there are and the starter turned the engine long enough. A start as in
// everyday use is too short for it, and nothing is said then unless it was declared as
// cranking.
func (g *battery) compressions(rec *trace.Recording, ch *trace.Channel) {
	if g.meta.Engine.Cylinders == 0 || slices.ContainsFunc(rec.Channels, func(o trace.Channel) bool {
		return o.Unit.Dim == unit.Current || g.meta.roleOf(&o, BatteryKind) == RoleCurrent
	}) {
		return // the current tells more
	}
	c := &cranked{readout: readout{meta: g.meta}, n: g.meta.Engine.Cylinders}
	c.channels(rec)
	low := 0.0
	for _, r := range g.res.Readings {
		if r.Feature == "cranking.voltage_min" {
			low = r.Value.SI
		}
	}
	c.turnedByVoltage(rec, ch, low)
	if len(c.run.Peaks) == 0 && g.meta.Condition.State != evidence.Cranking {
		return
	}
	g.res.Readings = append(g.res.Readings, c.res.Readings...)
	g.res.NotMeasured = append(g.res.NotMeasured, c.res.NotMeasured...)
	g.res.Notes = append(g.res.Notes, c.res.Notes...)
	g.res.Marks = append(g.res.Marks, c.res.Marks...)
}

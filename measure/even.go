package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/trace"
)

// Thresholds of an even sample rate, our choice.
const (
	evenWithin  = 1.2 // greatest over least rate of a part
	evenPart    = 64  // samples of a part
	evenFewest  = 4   // parts
	evenAtLeast = 8   // parts a long stretch is cut into
)

// mainFeature is what a refusal of a whole capture is written to.
var mainFeature = map[string]string{
	IgnitionPrimary: "coil.dwell", InjectorKind: "injector.on_time", CrankEdges: "crank.speed", CrankingCurrent: "cranking.ripple",
	BrakeMotorCurrent: "brake.clamp_current", BatteryKind: "battery.rested", CylinderPressure: "compression.dry", FuelPressureKind: "fuel.pressure_idle",
}

// unevenTime says how the sample rate changes within the recording; empty where it
// holds, and for edge lists. All kinds but parameter logs count samples between
// events: two recordings put together, or a recorder that changed its rate on the
// way, would give times that look sure and are wrong.
func unevenTime(rec *trace.Recording) string {
	if rec.Time.Uniform() || slices.ContainsFunc(rec.Channels, func(c trace.Channel) bool { return c.Edges }) {
		return ""
	}
	slow, fast := math.Inf(1), 0.0
	parts := 0
	for _, s := range rec.Segments {
		size := max(evenPart, (s.End-s.First)/evenAtLeast)
		for i := s.First; i+size < s.End; i += size {
			if d := rec.Time.At(i+size) - rec.Time.At(i); d > 0 {
				rate := float64(size) / (float64(d) * 1e-9)
				slow, fast = math.Min(slow, rate), math.Max(fast, rate)
				parts++
			}
		}
	}
	if parts < evenFewest || fast <= evenWithin*slow {
		return ""
	}
	return fmt.Sprintf("the samples come at %sS/s in one part and at %sS/s in another", round3(slow), round3(fast))
}

// refuseUneven is the result for such a recording.
func refuseUneven(kind, why string, rec *trace.Recording, meta Meta) Result {
	return Result{NotMeasured: []NotMeasured{{
		Feature: mainFeature[kind], Subject: meta.Subject, Why: why, Fix: "split the file where the rate changes, or record again at one rate", Flag: evidence.WrongChannel,
		Item: meta.Item, When: meta.When, From: evidence.Source{File: meta.File, Channel: rec.Channels[0].Name},
	}}}
}

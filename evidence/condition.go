package evidence

// State names the operating condition of the engine.
type State string

// Operating conditions, from trade practice (trade.md sections 1 and 2).
const (
	StateUnknown State = ""
	KeyOn        State = "key_on"   // ignition on, engine off
	Off          State = "off"      // everything off
	Cranking     State = "cranking" // starter turning the engine
	Idle         State = "idle"
	Raised       State = "raised" // about 2500 rpm, no load
	Snap         State = "snap"   // throttle snapped open, no load
	Cruise       State = "cruise" // light steady load on the road
	Load         State = "load"   // pulling: hill, boost, wide throttle
	Overrun      State = "overrun"
)

// Condition is under what a reading was taken, or in which a fault shows. Zero
// values mean "not known" and stay unknown: they are never filled in.
type Condition struct {
	State State `json:"state,omitempty" yaml:"state"`
	// SpeedRPM and LoadPct are engine speed (rpm) and calculated load (percent), if noted.
	SpeedRPM float64 `json:"rpm,omitempty" yaml:"rpm"`
	LoadPct  float64 `json:"load_pct,omitempty" yaml:"load_pct"`
	// Warm is "cold", "warm" or "hot" (heat-soaked).
	Warm string `json:"warm,omitempty" yaml:"warm"`
	Wet  string `json:"wet,omitempty" yaml:"wet"` // "dry", "damp", "wet"
	Gear string `json:"gear,omitempty" yaml:"gear"`
}

// Comparable reports whether nothing that was written down speaks against two
// readings having been taken under the same conditions.
func (c Condition) Comparable(d Condition) bool {
	same := func(x, y string) bool { return x == "" || y == "" || x == y }
	return same(string(c.State), string(d.State)) && same(c.Warm, d.Warm) && same(c.Wet, d.Wet)
}

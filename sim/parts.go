package sim

import "proveout/vehicle"

// Plug, Boot, Wiring, Injector and Bore are the parts of one cylinder. A swap
// moves one of them, with whatever is wrong with it.
type Plug struct {
	GapMetre   float64
	Ohm        float64
	Fouling    float64 // 0 clean, 1 covered
	CrackVolt  float64 // flashes over inside at this voltage; 0 = sound
	Glow       float64 // share of firings at full load lit by the plug before the spark; 0 = right heat range
	LooksWrong string  // what a look at it finds, "" = ordinary wear
}

// Boot joins coil and plug.
type Boot struct {
	LeakVolt  float64 // carbon track to the well; 0 = sound
	SeriesOhm float64
	Open      bool
}

// Wiring is feed, ground and driver of one coil.
type Wiring struct {
	FeedOhm     float64 // in the feed
	GroundOhm   float64
	DwellFactor float64
}

// Injector is one injector.
type Injector struct {
	Flow        float64 // of nominal
	Ohm         float64
	Dead        bool
	Drip        float64 // share of idle fuel that leaks past the seat
	KickVolt    float64
	CloseSecond float64
}

// Bore is what the cylinder itself does with air.
type Bore struct {
	LeakShare  float64 // what a leak-down gauge shows, 0 to 1
	LeakInto   string  // intake, exhaust, crankcase, neighbour
	OilSeals   float64 // share of the leak above the healthy one that oil closes
	Lift       float64 // valve lift of nominal
	Runner     float64 // air drawn through a runner leak at idle, of the cylinder's idle air
	Pinch      float64 // share of air lost at full load in a narrowed runner
	Choke      float64 // share of air displaced at full load by burnt gas behind a choked port
	LowMetre   float64 // how much too low the piston stops
	SpringRPM  float64 // above it the valves no longer follow; 0 = sound
	DepositsNo float64 // share of mixture upset by deposits when cold
}

// Cylinder is one cylinder's parts.
type Cylinder struct {
	Plug     Plug
	Boot     Boot
	Coil     Coil
	Wiring   Wiring
	Injector Injector
	Bore     Bore
}

// secondary wires the ignition parts together.
func (c Cylinder) secondary(e vehicle.Engine, wet bool) Secondary {
	s := Secondary{Coil: c.Coil, ExtraOhm: c.Wiring.FeedOhm + c.Wiring.GroundOhm, DwellFactor: c.Wiring.DwellFactor,
		GapMetre: c.Plug.GapMetre, PlugOhm: c.Plug.Ohm, SeriesOhm: c.Boot.SeriesOhm, Fouling: c.Plug.Fouling, Open: c.Boot.Open, LeakArc: 650}
	if v := c.Plug.CrackVolt; v > 0 {
		s.LeakVolt, s.LeakSpread, s.LeakArc = v, 0.22, 450
	}
	if v := c.Boot.LeakVolt; v > 0 {
		if wet { // water on the track: from memory, a quarter less
			v *= 0.75
		}
		if s.LeakVolt == 0 || v < s.LeakVolt {
			s.LeakVolt, s.LeakSpread, s.LeakArc = v, 0.16, 650
		}
	}
	if e.Ignition == vehicle.Distributor {
		s.RotorVolt = 2500 // about 0.8 mm of rotor gap in open air
	}
	return s
}

// Common is what all cylinders share.
type Common struct {
	BatteryVolt   float64 // running
	CrankVolt     float64 // lowest in cranking
	FuelKPa       float64 // rail (port) or feed (direct), gauge, at idle
	FuelLossLoad  float64 // share of pressure lost at full demand
	FuelRestKPa   float64 // lost in 5 minutes with sound injectors
	Ethanol       float64 // share in the fuel
	Spoiled       float64 // water or old fuel, 0 to 1
	PlenumLeak    float64 // unmetered air of idle air
	AirflowError  float64 // of the reading at full load; a fifth of it at idle
	PurgeFuel     float64 // unmetered fuel of idle fuel
	Dilution      float64 // burnt gas of idle charge
	CamLateDegree float64
	Backpressure  float64 // kPa at 2500 rpm unloaded
	CrankNoise    float64 // false counts per 1000 firings above 3000 rpm, lost syncs
	LearnMissing  float64 // false counts per 1000 firings above 3000 rpm, quiet signal
	RoughRoad     float64 // false counts per 1000 firings on that road
	Dropout       float64 // share of firings lost by a feed that breaks in vibration
	IdleStarved   float64 // share of the idle air that a lacquered throttle keeps out
	CoolantKelvin float64 // error of the coolant sensor
	Drag          float64 // of a brake, over what driving on the level asks
	CrankRatio    float64 // compression ratio
	Enrich        float64 // fuel gas fed in by hand, faster than the trims follow
}

// dropout is the share of firings lost: a third at idle, all of it when driven.
func (c Common) dropout(u Under) float64 {
	if u.State == "idle" || u.State == "" {
		return c.Dropout / 3
	}
	return c.Dropout
}

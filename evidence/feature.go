package evidence

import (
	"sort"

	"proveout/unit"
)

// Feature is one thing that can be measured or typed. The id is stable: books,
// job files and JSON use it.
type Feature struct {
	ID   string
	Name string
	Unit string         // the unit it is shown in
	Dim  unit.Dimension //
	Per  Kind           // subject kind it is measured for
	// Amplitude features scale with the gain of an uncalibrated pickup: their
	// absolute value says nothing, and their ratio to the others carries the
	// placement error (trade.md 3.4).
	Amplitude bool
	// PlacementCV is the relative spread from one placement of the probe to the
	// next, as a fraction; 0 where placement does not matter. Source beside it.
	PlacementCV float64
	Source      string
}

// Catalogue lists the features known to the program, by id. Fault books may
// read only these, or features a job declares itself.
func Catalogue() []Feature {
	out := make([]Feature, 0, len(catalogue))
	out = append(out, catalogue...)
	sort.Slice(out, func(i, j int) bool { return out[i].ID < out[j].ID })
	return out
}

// Lookup finds a feature by id.
func Lookup(id string) (Feature, bool) {
	for _, f := range catalogue {
		if f.ID == id {
			return f, true
		}
	}
	return Feature{}, false
}

var catalogue = []Feature{
	// Ignition secondary, one cylinder, non-contact pickup (trade.md 2.2, 3.4, 4.3).
	{ID: "ignition.firing_height_idle", Name: "firing line at idle", Unit: "x", Dim: unit.None, Per: Cylinder, Amplitude: true, PlacementCV: 0.20, Source: "trade.md 3.4 EST 15-30 %"},
	{ID: "ignition.firing_height_snap", Name: "firing line at snap", Unit: "x", Dim: unit.None, Per: Cylinder, Amplitude: true, PlacementCV: 0.20, Source: "trade.md 3.4 EST 15-30 %"},
	{ID: "ignition.firing_height_cruise", Name: "firing line at steady speed", Unit: "x", Dim: unit.None, Per: Cylinder, Amplitude: true, PlacementCV: 0.20, Source: "trade.md 3.4 EST 15-30 %"},
	{ID: "ignition.firing_height_load", Name: "firing line under load", Unit: "x", Dim: unit.None, Per: Cylinder, Amplitude: true, PlacementCV: 0.20, Source: "trade.md 3.4 EST 15-30 %"},
	{ID: "ignition.firing_voltage_idle", Name: "firing voltage at idle, calibrated probe", Unit: "kV", Dim: unit.Voltage, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: calibrated probe on an insulated lead"},
	{ID: "ignition.firing_voltage_snap", Name: "firing voltage at snap, calibrated probe", Unit: "kV", Dim: unit.Voltage, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: calibrated probe on an insulated lead"},
	{ID: "ignition.burn_time_cruise", Name: "burn time at steady speed", Unit: "ms", Dim: unit.Time, Per: Cylinder, PlacementCV: 0.03, Source: "trade.md 3.4: time survives placement"},
	{ID: "ignition.burn_time_load", Name: "burn time under load", Unit: "ms", Dim: unit.Time, Per: Cylinder, PlacementCV: 0.03, Source: "trade.md 3.4: time survives placement"},
	{ID: "ignition.snap_ratio", Name: "firing line, snap over idle on one placement", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels, cycle scatter stays"},
	{ID: "ignition.burn_time_idle", Name: "burn time at idle", Unit: "ms", Dim: unit.Time, Per: Cylinder, PlacementCV: 0.03, Source: "trade.md 3.4: time survives placement"},
	{ID: "ignition.burn_time_snap", Name: "burn time at snap", Unit: "ms", Dim: unit.Time, Per: Cylinder, PlacementCV: 0.03, Source: "trade.md 3.4: time survives placement"},
	{ID: "ignition.spark_line_ratio", Name: "spark line over firing line", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels"},
	{ID: "ignition.spark_line_level", Name: "spark line", Unit: "x", Dim: unit.None, Per: Cylinder, Amplitude: true, PlacementCV: 0.20, Source: "trade.md 3.4 EST 15-30 %"},
	{ID: "ignition.spark_voltage", Name: "spark line, calibrated probe", Unit: "kV", Dim: unit.Voltage, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: calibrated probe on an insulated lead"},
	{ID: "ignition.spark_line_slope", Name: "spark line slope over its own level", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels"},
	{ID: "ignition.spark_line_noise", Name: "spark line turbulence over its own level", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels"},
	{ID: "ignition.end_spike", Name: "spike at the end of burn over the spark line", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels"},
	{ID: "ignition.ring_count", Name: "swings after burn", Unit: "count", Dim: unit.Count, Per: Cylinder, PlacementCV: 0.10, Source: "our choice"},
	{ID: "ignition.ring_decay", Name: "loss from one swing after burn to the next", Unit: "%", Dim: unit.Percent, Per: Cylinder, PlacementCV: 0.05, Source: "gain cancels; a ring exp(-t/tau) loses 1-exp(-T/tau)"},
	{ID: "ignition.turn_on", Name: "swing at switch-on over the firing line", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels"},
	{ID: "ignition.firing_scatter_idle", Name: "firing-to-firing scatter at idle", Unit: "%", Dim: unit.Percent, Per: Cylinder, Source: "gain cancels; trade.md 3.4: 10-20 % is usual"},
	{ID: "ignition.firing_scatter_snap", Name: "firing-to-firing scatter at snap", Unit: "%", Dim: unit.Percent, Per: Cylinder, Source: "gain cancels"},
	{ID: "ignition.waste_ratio", Name: "firing line, exhaust stroke over compression stroke of one lead", Unit: "x", Dim: unit.None, Per: Cylinder, PlacementCV: 0.05, Source: "our choice: gain cancels; trade.md 4.1: thin gas needs less"},
	{ID: "ignition.missing_share", Name: "share of firings without a spark line", Unit: "%", Dim: unit.Percent, Per: Cylinder, Source: "count"},
	// Typed values a technician brings (trade.md 2).
	{ID: "plug.gap", Name: "plug gap", Unit: "mm", Dim: unit.Length, Per: Cylinder},
	{ID: "boot.resistance", Name: "boot or lead resistance", Unit: "kohm", Dim: unit.Resistance, Per: Cylinder},
	{ID: "coil.primary_current", Name: "peak primary current", Unit: "A", Dim: unit.Current, Per: Cylinder},
	{ID: "coil.dwell", Name: "dwell", Unit: "ms", Dim: unit.Time, Per: Cylinder},
	{ID: "coil.primary_resistance", Name: "coil primary resistance", Unit: "ohm", Dim: unit.Resistance, Per: Cylinder},
	{ID: "coil.feed_drop", Name: "voltage lost in the coil feed during dwell", Unit: "V", Dim: unit.Voltage, Per: Cylinder},
	{ID: "coil.ground_drop", Name: "voltage lost in the coil ground during dwell", Unit: "V", Dim: unit.Voltage, Per: Cylinder},
	{ID: "injector.resistance", Name: "injector resistance", Unit: "ohm", Dim: unit.Resistance, Per: Cylinder},
	{ID: "injector.balance_drop", Name: "rail pressure drop of one timed pulse", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder},
	{ID: "injector.on_time", Name: "injector on-time", Unit: "ms", Dim: unit.Time, Per: Cylinder},
	{ID: "injector.kick", Name: "injector switch-off kick", Unit: "V", Dim: unit.Voltage, Per: Cylinder},
	{ID: "injector.closing_time", Name: "injector closing bump after switch-off", Unit: "ms", Dim: unit.Time, Per: Cylinder},
	{ID: "injector.follows_throttle", Name: "injector pulse width follows the throttle (correlation)", Unit: "x", Dim: unit.None, Per: Engine},
	{ID: "fuel.pressure_idle", Name: "fuel pressure at idle", Unit: "kPa", Dim: unit.Pressure, Per: Engine},
	{ID: "fuel.pressure_load", Name: "fuel pressure at load", Unit: "kPa", Dim: unit.Pressure, Per: Engine},
	{ID: "fuel.rest_loss", Name: "rest pressure lost in 5 minutes", Unit: "kPa", Dim: unit.Pressure, Per: Engine},
	{ID: "fuel.volume", Name: "fuel delivered in 30 s", Unit: "L", Dim: unit.Volume, Per: Engine},
	{ID: "fuel.ethanol", Name: "ethanol share in a fuel sample", Unit: "%", Dim: unit.Percent, Per: Engine},
	{ID: "cranking.ripple", Name: "starter current crest in cranking", Unit: "A", Dim: unit.Current, Per: Cylinder},
	{ID: "cranking.peak_spread", Name: "difference between starter current crests, order unknown", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "trade.md 2.6: equal within 5-10 %"},
	{ID: "cranking.hump", Name: "starter current hump alone, from foot to crest", Unit: "A", Dim: unit.Current, Per: Cylinder, Source: "trade.md 2.6; without the current that turns the engine"},
	{ID: "cranking.voltage_hump", Name: "sag of the battery at each compression in cranking", Unit: "V", Dim: unit.Voltage, Per: Cylinder, Source: "trade.md 2.6 for the current; Ohm's law for the sag"},
	{ID: "cranking.hump_spread", Name: "difference between starter humps, order unknown", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "trade.md 2.6"},
	{ID: "cranking.current", Name: "starter current after the inrush", Unit: "A", Dim: unit.Current, Per: Engine, Source: "trade.md 2.6"},
	{ID: "cranking.voltage_min", Name: "lowest battery voltage in cranking", Unit: "V", Dim: unit.Voltage, Per: Engine},
	{ID: "cranking.speed", Name: "cranking speed", Unit: "rpm", Dim: unit.EngineSpeed, Per: Engine},
	// Crank and cam sensors (definitions in measure/crank_*.go).
	{ID: "crank.teeth", Name: "edges of the crank wheel in one turn", Unit: "count", Dim: unit.Count, Per: Engine, Source: "count"},
	{ID: "crank.speed", Name: "engine speed from the crank sensor", Unit: "rpm", Dim: unit.EngineSpeed, Per: Engine, Source: "time of whole turns"},
	{ID: "crank.signal_faults", Name: "doubled, missing and stray crank edges", Unit: "count", Dim: unit.Count, Per: Engine, Source: "count"},
	{ID: "crank.edge_scatter", Name: "scatter of one crank edge, of a tooth", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "our choice: against the middle of its neighbours"},
	{ID: "crank.tooth_error", Name: "greatest tooth spacing error of the crank wheel", Unit: "deg", Dim: unit.Angle, Per: Engine, Source: "our choice: what comes back every turn, without the engine's own swing"},
	{ID: "crank.compression_ripple", Name: "swing of cranking speed by compression", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "amplitude of order cylinders/2 over the mean speed"},
	{ID: "crank.compression_spread", Name: "difference between compressions in cranking speed, order unknown", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "greatest less least dip over their mean"},
	{ID: "crank.misfire_rate", Name: "firings after which the crank slowed", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "mean speed over 720/cylinders degrees"},
	{ID: "crank.contribution", Name: "change of crank speed over the cylinder's firing, mean", Unit: "%", Dim: unit.Percent, Per: Cylinder, Source: "mean speed over 720/cylinders degrees after the firing less that before, of the cycle's mean; a firing that gives nothing is below 0"},
	{ID: "cam.scatter", Name: "scatter of the cam edges against the crank", Unit: "deg", Dim: unit.Angle, Per: Engine, Source: "crank degrees"},
	{ID: "compression.dry", Name: "cranking compression, dry", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder},
	{ID: "compression.wet", Name: "cranking compression, wet", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder},
	{ID: "compression.running", Name: "running compression at idle", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder},
	{ID: "compression.snap", Name: "snap compression", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder},
	{ID: "cylinder.leak", Name: "leak-down", Unit: "%", Dim: unit.Percent, Per: Cylinder},
	{ID: "cylinder.tower_loss", Name: "charge lost between compression and expansion", Unit: "%", Dim: unit.Percent, Per: Cylinder, Source: "lopsidedness of the pressure about top centre; some per cent are heat"},
	{ID: "cylinder.exhaust_opening", Name: "exhaust valve opens, after top centre of compression", Unit: "deg", Dim: unit.Angle, Per: Cylinder, Source: "end of expansion in the cylinder pressure"},
	{ID: "cylinder.intake_closing", Name: "intake valve closes, before top centre of compression", Unit: "deg", Dim: unit.Angle, Per: Cylinder, Source: "p V^n of compression carried back to intake pressure"},
	{ID: "cylinder.exhaust_plateau", Name: "pressure in the cylinder on the exhaust stroke, over ambient", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder, Source: "median, 220-330 degrees after top centre"},
	{ID: "cylinder.intake_pressure", Name: "pressure in the cylinder at the end of the intake stroke, absolute", Unit: "kPa", Dim: unit.Pressure, Per: Cylinder, Source: "median, 220-185 degrees before top centre"},
	{ID: "valve.lift", Name: "valve lift", Unit: "mm", Dim: unit.Length, Per: Cylinder},
	{ID: "balance.drop", Name: "speed drop with the cylinder cut out", Unit: "rpm", Dim: unit.EngineSpeed, Per: Cylinder},
	{ID: "vacuum.idle", Name: "manifold vacuum at idle", Unit: "inHg", Dim: unit.Pressure, Per: Engine},
	{ID: "exhaust.backpressure", Name: "exhaust backpressure", Unit: "kPa", Dim: unit.Pressure, Per: Engine},
	{ID: "exhaust.lambda", Name: "lambda from exhaust gas", Unit: "lambda", Dim: unit.None, Per: Engine},
	{ID: "battery.rested", Name: "battery voltage, rested", Unit: "V", Dim: unit.Voltage, Per: Engine},
	{ID: "charging.voltage", Name: "charging voltage", Unit: "V", Dim: unit.Voltage, Per: Engine},
	// Ignition primary, injector (trade.md 2.3, 2.4; definitions in measure).
	{ID: "coil.ramp_slope", Name: "slope of the coil current at switch-on", Unit: "A/ms", Dim: unit.CurrentSlope, Per: Cylinder, Source: "standards.md 8.7: V/L"},
	{ID: "coil.inductance", Name: "coil primary inductance", Unit: "mH", Dim: unit.Inductance, Per: Cylinder, Source: "standards.md 8.7"},
	{ID: "coil.time_constant", Name: "time constant of the coil current, L/R of the loop", Unit: "ms", Dim: unit.Time, Per: Cylinder, Source: "standards.md 8.7"},
	{ID: "coil.initial_step", Name: "step at the start of the coil current", Unit: "A", Dim: unit.Current, Per: Cylinder, Source: "trade.md 2.3: shorted turns"},
	{ID: "coil.limit_shelf", Name: "time on the current limit", Unit: "ms", Dim: unit.Time, Per: Cylinder, Source: "trade.md 2.3 [S46]"},
	{ID: "coil.clamp_voltage", Name: "primary voltage at switch-off", Unit: "V", Dim: unit.Voltage, Per: Cylinder, Source: "trade.md 2.3 [S49]"},
	{ID: "coil.supply_sag", Name: "fall of the coil feed during dwell", Unit: "V", Dim: unit.Voltage, Per: Cylinder, Source: "trade.md 2.3"},
	{ID: "injector.boost_voltage", Name: "voltage that opens the injector, boosted driver", Unit: "V", Dim: unit.Voltage, Per: Cylinder, Source: "trade.md 2.4: boost 50-65 V"},
	{ID: "injector.peak_current", Name: "highest injector current", Unit: "A", Dim: unit.Current, Per: Cylinder, Source: "trade.md 2.4"},
	{ID: "injector.hold_current", Name: "held injector current", Unit: "A", Dim: unit.Current, Per: Cylinder, Source: "trade.md 2.4"},
	{ID: "injector.peak_time", Name: "time to the highest injector current", Unit: "ms", Dim: unit.Time, Per: Cylinder, Source: "trade.md 2.4: longer than the others"},
	{ID: "injector.opening_time", Name: "injector opening kink after switch-on", Unit: "ms", Dim: unit.Time, Per: Cylinder, Source: "trade.md 2.4"},
	// Battery and charging (trade.md 7, standards.md 8.1-8.5).
	{ID: "battery.state_of_charge", Name: "battery state of charge", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "standards.md 8.1: BCI table"},
	{ID: "battery.loaded_min", Name: "lowest battery voltage under load", Unit: "V", Dim: unit.Voltage, Per: Engine, Source: "trade.md 7 [S50]"},
	{ID: "battery.lowest_seen", Name: "lowest battery voltage seen", Unit: "V", Dim: unit.Voltage, Per: Engine, Source: "a dip shorter than the sample interval is not seen"},
	{ID: "battery.parasitic", Name: "parasitic current, asleep", Unit: "mA", Dim: unit.Current, Per: Engine, Source: "trade.md 7 [S134]"},
	{ID: "battery.sleep_time", Name: "time until the modules sleep", Unit: "min", Dim: unit.Time, Per: Engine, Source: "trade.md 7"},
	{ID: "cranking.inrush_min", Name: "lowest battery voltage in the starter's inrush", Unit: "V", Dim: unit.Voltage, Per: Engine, Source: "standards.md 8.4"},
	{ID: "charging.ripple", Name: "charging ripple, peak to peak", Unit: "mV", Dim: unit.Voltage, Per: Engine, Source: "standards.md 8.3: sources disagree, a graded hint"},
	{ID: "charging.ripple_frequency", Name: "charging ripple frequency", Unit: "Hz", Dim: unit.Frequency, Per: Engine, Source: "standards.md 8.3"},
	{ID: "charging.diode_line", Name: "line at a sixth of the ripple over the ripple line", Unit: "x", Dim: unit.None, Per: Engine, Source: "standards.md 8.3: one open diode"},
	{ID: "circuit.voltage_drop", Name: "voltage lost between two points under current", Unit: "V", Dim: unit.Voltage, Per: Engine, Source: "standards.md 8.5"},
	// Fuel pump and rest pressure (trade.md 2.5).
	{ID: "fuel.rest_loss_minute", Name: "rest pressure lost in 1 minute", Unit: "kPa", Dim: unit.Pressure, Per: Engine, Source: "trade.md 2.5 [S31]"},
	{ID: "fuel.pump_current", Name: "fuel pump current", Unit: "A", Dim: unit.Current, Per: Engine, Source: "trade.md 2.5"},
	{ID: "fuel.pump_speed", Name: "fuel pump speed", Unit: "rpm", Dim: unit.EngineSpeed, Per: Engine, Source: "trade.md 2.5"},
	{ID: "fuel.pump_hump", Name: "smallest commutator hump over the others", Unit: "x", Dim: unit.None, Per: Engine, Source: "trade.md 2.5: a missing hump is a worn segment"},
	// Motors of an electric parking brake (trade.md 5.5, 5.6; definitions in measure/brake_motor.go).
	{ID: "brake.inrush", Name: "inrush of the brake motor", Unit: "A", Dim: unit.Current, Per: Corner, Source: "trade.md 5.5"},
	{ID: "brake.free_current", Name: "free run of the brake motor", Unit: "A", Dim: unit.Current, Per: Corner, Source: "trade.md 5.5"},
	{ID: "brake.clamp_current", Name: "brake motor current at the end of the clamp", Unit: "A", Dim: unit.Current, Per: Corner, Source: "trade.md 5.5 [S91]"},
	{ID: "brake.rise_rate", Name: "rise of the brake motor current against the clamp", Unit: "A/s", Dim: unit.CurrentSlope, Per: Corner, Source: "trade.md 5.5 [S108]"},
	{ID: "brake.apply_time", Name: "time to apply the parking brake", Unit: "s", Dim: unit.Time, Per: Corner, Source: "trade.md 5.5"},
	{ID: "brake.release_time", Name: "time to release the parking brake", Unit: "s", Dim: unit.Time, Per: Corner, Source: "trade.md 5.5"},
	{ID: "brake.cycles", Name: "parking brake applied and released", Unit: "count", Dim: unit.Count, Per: Corner, Source: "count"},
	{ID: "brake.side_difference", Name: "clamp current, left against right", Unit: "%", Dim: unit.Percent, Per: Vehicle, Source: "trade.md 5.4 step 14, EST"},
	{ID: "brake.rest_shortest", Name: "shortest rest between movements of a brake motor", Unit: "s", Dim: unit.Time, Per: Vehicle, Source: "from the end of one movement to the start of the next"},
	{ID: "brake.supply_lowest", Name: "lowest supply voltage while a brake motor moves", Unit: "V", Dim: unit.Voltage, Per: Vehicle, Source: "trade.md 5.3"},
	// From modules and parameter logs.
	{ID: "misfire.count", Name: "misfire count this drive cycle", Unit: "count", Dim: unit.Count, Per: Cylinder},
	{ID: "misfire.ewma", Name: "misfire register, weighted over ten cycles", Unit: "count", Dim: unit.Count, Per: Cylinder},
	{ID: "misfire.share", Name: "share of all misfires", Unit: "%", Dim: unit.Percent, Per: Cylinder},
	{ID: "misfire.rate", Name: "misfires per firing opportunity", Unit: "%", Dim: unit.Percent, Per: Cylinder},
	{ID: "trim.idle", Name: "fuel trim at idle, short plus long", Unit: "%", Dim: unit.Percent, Per: Bank},
	{ID: "trim.raised", Name: "fuel trim at 2500 rpm, short plus long", Unit: "%", Dim: unit.Percent, Per: Bank},
	{ID: "trim.cruise", Name: "fuel trim at cruise, short plus long", Unit: "%", Dim: unit.Percent, Per: Bank},
	{ID: "trim.load", Name: "fuel trim at load, short plus long", Unit: "%", Dim: unit.Percent, Per: Bank},
	{ID: "oxygen.switches", Name: "oxygen sensor switches in ten seconds", Unit: "count", Dim: unit.Count, Per: Bank, Source: "crossings of 0.45 V, from rich to lean or back"},
	{ID: "oxygen.period", Name: "oxygen sensor, from one switch to rich to the next", Unit: "s", Dim: unit.Time, Per: Bank, Source: "median"},
	{ID: "oxygen.amplitude", Name: "oxygen sensor swing", Unit: "V", Dim: unit.Voltage, Per: Bank, Source: "95th less 5th percentile"},
	{ID: "oxygen.rich_share", Name: "share of time the oxygen sensor is rich", Unit: "%", Dim: unit.Percent, Per: Bank, Source: "above 0.45 V; the rest is the lean dwell"},
	{ID: "lambda.deviation_idle", Name: "lambda over commanded at idle", Unit: "%", Dim: unit.Percent, Per: Bank, Source: "+ is lean"},
	{ID: "lambda.deviation_raised", Name: "lambda over commanded at 2500 rpm", Unit: "%", Dim: unit.Percent, Per: Bank, Source: "+ is lean"},
	{ID: "lambda.deviation_cruise", Name: "lambda over commanded at cruise", Unit: "%", Dim: unit.Percent, Per: Bank, Source: "+ is lean"},
	{ID: "lambda.deviation_load", Name: "lambda over commanded at load", Unit: "%", Dim: unit.Percent, Per: Bank, Source: "+ is lean"},
	{ID: "air.volumetric_efficiency", Name: "volumetric efficiency from airflow", Unit: "%", Dim: unit.Percent, Per: Engine},
	{ID: "coolant.running", Name: "coolant temperature, warmed up", Unit: "degC", Dim: unit.Temperature, Per: Engine},
	{ID: "log.voltage_lowest", Name: "lowest supply voltage seen in the log", Unit: "V", Dim: unit.Voltage, Per: Engine, Source: "a dip shorter than the sample interval is not seen"},
	{ID: "log.idle_speed", Name: "idle speed, warmed up", Unit: "rpm", Dim: unit.EngineSpeed, Per: Engine},
	{ID: "injector.follow_gain", Name: "pulse width added for ten points of throttle", Unit: "ms", Dim: unit.Time, Per: Engine, Source: "least-squares slope"},
	{ID: "injector.follow_monotonic", Name: "steps of the throttle at which the pulse width does not fall", Unit: "%", Dim: unit.Percent, Per: Engine, Source: "count, of eight parts of the throttle's range"},
	{ID: "injector.follow_delay", Name: "delay from throttle to injector pulse width", Unit: "s", Dim: unit.Time, Per: Engine},
	{ID: "log.dropouts", Name: "signal drop-outs and impossible jumps", Unit: "count", Dim: unit.Count, Per: Engine},
}

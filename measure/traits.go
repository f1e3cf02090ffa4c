package measure

import (
	"slices"

	"proveout/evidence"
	"proveout/unit"
)

// traits are the thresholds of one feature, in the SI unit of its dimension.
type traits struct {
	// repeat is the scatter from one reading to the next of the same thing with the
	// same instrument, relative (repeatRel) or in SI (repeatAbs): what matters when
	// cylinders are compared, since the instrument's own scale error cancels.
	repeatRel, repeatAbs float64
	// scale is the relative scale error of the usual instrument: it matters against
	// a limit, not against the other cylinders; scaleAbs the same in SI.
	scale, scaleAbs float64
	// margin is the ratio-1 from which a difference is worth a word; marginAbs the
	// same for differences, in SI.
	margin, marginAbs float64
	// low and high bound what the quantity can be at all, in SI: outside, the unit or
	// the scale is wrong. Both 0: not bounded.
	low, high float64
	source    string
}

// priorDF is how many degrees of freedom the placement and repeat scatter of the
// catalogue count for. 8 puts 95 % of the scatters between 0.68 and 1.9 times the
// stated one: for a pickup of 20 % that is 14 to 38 %, the 15 to 30 % of trade.md
// 3.4 with room. Our choice.
const priorDF = 8

// level is the confidence at which a difference is called established, over the
// whole family of comparisons. Our choice; configurable in Task.
const level = 0.95

// power is the chance at which planned placements find the difference (trade.md 3.4).
const power = 0.80

// worthFinding is the relative difference that placements are planned for when
// none is seen: trade.md 3.4, "never call <30 % on kV with <4 placements".
const worthFinding = 0.30

var traitTable = map[string]traits{
	// Ignition secondary. Typed values stand for an eye average of 20-50 firings.
	"ignition.firing_height_idle":   {repeatRel: 0.05, margin: 0.20, source: "trade.md 2.2: >20 % above the others [S13]"},
	"ignition.firing_height_snap":   {repeatRel: 0.05, margin: 0.20, source: "trade.md 2.2: >20 % above the others [S13]"},
	"ignition.firing_height_cruise": {repeatRel: 0.05, margin: 0.20, source: "trade.md 2.2: >20 % above the others [S13]"},
	"ignition.firing_height_load":   {repeatRel: 0.05, margin: 0.20, source: "trade.md 2.2: >20 % above the others [S13]"},
	"ignition.firing_voltage_idle":  {repeatRel: 0.05, scale: 0.05, margin: 0.20, low: 300, high: 60e3, source: "trade.md 2.2; 300 V: air never breaks down below about 327 V (standards.md 8.8)"},
	"ignition.firing_voltage_snap":  {repeatRel: 0.05, scale: 0.05, margin: 0.20, low: 300, high: 60e3, source: "trade.md 2.2"},
	"ignition.snap_ratio":           {repeatRel: 0.07, margin: 0.20, low: 0.1, high: 12, source: "trade.md 2.2: every cylinder x1.5-2.5; margin EST"},
	"ignition.burn_time_idle":       {repeatRel: 0.04, scale: 0.01, margin: 0.20, low: 50e-6, high: 8e-3, source: "trade.md 2.2: sibling difference >20-25 %"},
	"ignition.burn_time_snap":       {repeatRel: 0.05, scale: 0.01, margin: 0.20, low: 50e-6, high: 8e-3, source: "trade.md 2.2: sibling difference >20-25 %"},
	"ignition.burn_time_cruise":     {repeatRel: 0.04, scale: 0.01, margin: 0.20, low: 50e-6, high: 8e-3, source: "trade.md 2.2"},
	"ignition.burn_time_load":       {repeatRel: 0.04, scale: 0.01, margin: 0.20, low: 50e-6, high: 8e-3, source: "trade.md 2.2"},
	"ignition.spark_line_ratio":     {repeatRel: 0.06, margin: 0.30, marginAbs: 0.06, source: "trade.md 2.2: level +30 % over the others"},
	"ignition.spark_line_level":     {repeatRel: 0.05, margin: 0.30, source: "trade.md 2.2: level +30 % over the others"},
	"ignition.spark_voltage":        {repeatRel: 0.05, scale: 0.05, margin: 0.30, low: 100, high: 15e3, source: "trade.md 2.2: 0.5-2 kV, +30 % over the others; bounds our choice"},
	"ignition.spark_line_slope":     {repeatAbs: 0.05, margin: 0.50, marginAbs: 0.25, source: "our choice"},
	"ignition.spark_line_noise":     {repeatAbs: 0.01, margin: 0.60, marginAbs: 0.06, source: "our choice"},
	"ignition.end_spike":            {repeatRel: 0.08, margin: 0.30, marginAbs: 0.30, source: "our choice; trade.md 2.2 [S43]"},
	"ignition.ring_count":           {repeatAbs: 0.5, margin: 0.40, marginAbs: 2, high: 60, source: "trade.md 2.2: 3-5 swings good, 2 or fewer not"},
	"ignition.ring_decay":           {repeatAbs: 3, margin: 0.40, marginAbs: 15, low: -20, high: 100, source: "our choice"},
	"ignition.turn_on":              {repeatRel: 0.10, margin: 0.60, low: 0, high: 2, source: "our choice"},
	"ignition.firing_scatter_idle":  {repeatRel: 0.20, margin: 0.60, marginAbs: 10, high: 400, source: "our choice; trade.md 3.4"},
	"ignition.firing_scatter_snap":  {repeatRel: 0.25, margin: 0.60, marginAbs: 10, high: 400, source: "our choice; trade.md appendix A: 30 % on the bad one"},
	"ignition.waste_ratio":          {repeatRel: 0.07, margin: 0.30, low: 0.02, high: 2, source: "our choice"},
	"ignition.missing_share":        {repeatAbs: 0.5, marginAbs: 2, high: 100, source: "our choice"},
	"plug.gap":                      {repeatAbs: 0.03e-3, scale: 0.01, margin: 0.15, marginAbs: 0.15e-3, low: 0.1e-3, high: 4e-3, source: "our choice: feeler steps of 0.05 mm"},
	"boot.resistance":               {repeatRel: 0.02, scale: 0.01, margin: 0.30, low: 1, high: 1e9, source: "our choice"},
	"coil.primary_current":          {repeatRel: 0.02, scale: 0.02, margin: 0.10, low: 0.2, high: 60, source: "trade.md 2.3: >10-15 % below; clip 1-3 % (3.4)"},
	"coil.dwell":                    {repeatRel: 0.02, scale: 0.005, margin: 0.10, low: 0.2e-3, high: 30e-3, source: "trade.md 2.3: 10 % at the same volts"},
	"coil.primary_resistance":       {repeatRel: 0.03, repeatAbs: 0.03, scale: 0.02, margin: 0.10, low: 0.05, high: 30, source: "trade.md 2.3: 0.87 ohm +-10 %"},
	"coil.feed_drop":                {repeatAbs: 0.05, scale: 0.02, marginAbs: 0.3, low: -1, high: 16, source: "trade.md 2.3: 0.5 V"},
	"coil.ground_drop":              {repeatAbs: 0.03, scale: 0.02, marginAbs: 0.1, low: -1, high: 16, source: "trade.md 2.3: 0.1-0.2 V"},
	"injector.resistance":           {repeatRel: 0.01, repeatAbs: 0.1, scale: 0.01, margin: 0.10, marginAbs: 3, low: 0.2, high: 100, source: "trade.md 2.4: spread > 3 ohm (maker)"},
	"injector.balance_drop":         {repeatAbs: 2e3, scale: 0.02, margin: 0.15, marginAbs: 10e3, low: 1e3, high: 500e3, source: "trade.md 2.4: within 10 kPa"},
	"injector.on_time":              {repeatRel: 0.02, scale: 0.005, margin: 0.10, low: 0.1e-3, high: 50e-3, source: "our choice"},
	"injector.boost_voltage":        {repeatRel: 0.02, scale: 0.03, margin: 0.10, low: 20, high: 120, source: "trade.md 2.4: 50-65 V; margin our choice"},
	"injector.kick":                 {repeatRel: 0.03, scale: 0.03, margin: 0.10, low: 5, high: 500, source: "trade.md 2.4: difference >10 %"},
	"injector.closing_time":         {repeatAbs: 0.03e-3, scale: 0.01, margin: 0.15, marginAbs: 0.15e-3, low: 0, high: 20e-3, source: "trade.md 2.4: 0.1-0.2 ms"},
	"cranking.ripple":               {repeatRel: 0.02, scale: 0.02, margin: 0.10, low: 1, high: 2000, source: "trade.md 2.6: >10-15 % low"},
	"cranking.hump":                 {repeatRel: 0.03, scale: 0.02, margin: 0.20, low: 0, high: 2000, source: "trade.md 2.6: >20-25 % low is a real loss (EST)"},
	"cranking.voltage_hump":         {repeatRel: 0.04, scale: 0.01, margin: 0.20, low: 0, high: 18, source: "as of cranking.hump; a battery's voltage is read more finely than a clamp, and drifts more (our choice)"},
	"compression.dry":               {repeatRel: 0.02, scale: 0.02, margin: 0.10, low: 20e3, high: 6e6, source: "trade.md 2.6: common shop rule 10 %"},
	"compression.wet":               {repeatRel: 0.02, scale: 0.02, margin: 0.10, low: 20e3, high: 6e6, source: "trade.md 2.6"},
	"compression.running":           {repeatRel: 0.04, scale: 0.02, margin: 0.15, low: 10e3, high: 3e6, source: "trade.md 2.6: sibling difference >15 %"},
	"compression.snap":              {repeatRel: 0.04, scale: 0.02, margin: 0.15, low: 20e3, high: 6e6, source: "trade.md 2.6"},
	"cylinder.leak":                 {repeatAbs: 2, scale: 0.02, margin: 1.0, marginAbs: 10, low: 0, high: 100, source: "trade.md 2.6: between cylinders >10 points"},
	"cylinder.tower_loss":           {repeatAbs: 1.5, scale: 0.05, margin: 1.0, marginAbs: 5, low: -10, high: 100, source: "our choice: half of the 10 points of leak-down (trade.md 2.6)"},
	"cylinder.exhaust_opening":      {repeatAbs: 2, marginAbs: 10, low: 60, high: 220, source: "our choice: half a tooth of timing is some 9 degrees"},
	"cylinder.intake_closing":       {repeatAbs: 3, marginAbs: 10, low: 60, high: 180, source: "our choice: half a tooth of timing is some 9 degrees"},
	"cylinder.exhaust_plateau":      {repeatAbs: 1e3, scale: 0.02, marginAbs: 5e3, low: -30e3, high: 300e3, source: "our choice"},
	"cylinder.intake_pressure":      {repeatAbs: 1e3, scale: 0.02, marginAbs: 5e3, low: 5e3, high: 400e3, source: "our choice"},
	"valve.lift":                    {repeatAbs: 0.05e-3, scale: 0.005, margin: 0.05, marginAbs: 0.5e-3, low: 0.5e-3, high: 30e-3, source: "our choice"},
	"balance.drop":                  {repeatAbs: 5, margin: 0.30, marginAbs: 20, low: -100, high: 1000, source: "trade.md 2.6: 5-10 %; margin our choice"},
	"fuel.pressure_idle":            {repeatRel: 0.01, scale: 0.02, margin: 0.10, low: 1e3, high: 50e6, source: "trade.md 2.5"},
	"fuel.pressure_load":            {repeatRel: 0.01, scale: 0.02, margin: 0.10, low: 1e3, high: 50e6, source: "trade.md 2.5: >10 % below commanded"},
	"fuel.rest_loss":                {repeatAbs: 3e3, scale: 0.02, marginAbs: 20e3, low: -50e3, high: 30e6, source: "trade.md 2.5"},
	"fuel.volume":                   {repeatRel: 0.03, scale: 0.03, margin: 0.15, low: 1e-6, high: 20e-3, source: "our choice"},
	"fuel.ethanol":                  {repeatAbs: 2, low: 0, high: 100, source: "our choice"},
	"cranking.voltage_min":          {repeatAbs: 0.1, scale: 0.005, low: 0, high: 60, source: "our choice"},
	"cranking.speed":                {repeatRel: 0.03, low: 20, high: 800, source: "our choice"},
	"vacuum.idle":                   {repeatAbs: 1.5e3, scale: 0.02, low: 0, high: 105e3, source: "our choice: half an inch of mercury"},
	"exhaust.backpressure":          {repeatAbs: 1e3, scale: 0.02, low: -20e3, high: 300e3, source: "our choice"},
	"exhaust.lambda":                {repeatAbs: 0.005, low: 0.4, high: 9, source: "our choice"},
	"battery.rested":                {repeatAbs: 0.02, scale: 0.005, low: 0, high: 60, source: "our choice"},
	"charging.voltage":              {repeatAbs: 0.05, scale: 0.005, low: 0, high: 60, source: "our choice"},
	"charging.ripple_frequency":     {repeatRel: 0.02, scale: 2e-4, low: 10, high: 100e3, source: "our choice: the recorder's clock; the speed wanders from one reading to the next"},
	"misfire.rate":                  {repeatAbs: 0.1, margin: 1, marginAbs: 1, low: 0, high: 100, source: "trade.md 3.2: 1 % of its opportunities is felt"},
	"trim.idle":                     {repeatAbs: 2, low: -100, high: 100, source: "our choice"},
	"trim.raised":                   {repeatAbs: 2, low: -100, high: 100, source: "our choice"},
	"trim.cruise":                   {repeatAbs: 2, low: -100, high: 100, source: "our choice"},
	"trim.load":                     {repeatAbs: 2, low: -100, high: 100, source: "our choice"},
	"oxygen.switches":               {repeatAbs: 1, marginAbs: 4, low: 0, high: 400, source: "our choice"},
	"oxygen.period":                 {repeatRel: 0.15, margin: 0.5, low: 0.02, high: 120, source: "our choice"},
	"oxygen.amplitude":              {repeatAbs: 0.05, marginAbs: 0.2, low: 0, high: 1.6, source: "our choice: a zirconia cell gives 0.1-0.9 V (from memory)"},
	"oxygen.rich_share":             {repeatAbs: 5, marginAbs: 25, low: 0, high: 100, source: "our choice"},
	"lambda.deviation_idle":         {repeatAbs: 1, marginAbs: 5, low: -70, high: 400, source: "our choice"},
	"lambda.deviation_raised":       {repeatAbs: 1, marginAbs: 5, low: -70, high: 400, source: "our choice"},
	"lambda.deviation_cruise":       {repeatAbs: 1, marginAbs: 5, low: -70, high: 400, source: "our choice"},
	"lambda.deviation_load":         {repeatAbs: 2, marginAbs: 5, low: -70, high: 400, source: "our choice"},
	"air.volumetric_efficiency":     {repeatAbs: 3, low: 1, high: 400, source: "our choice"},
	"coolant.running":               {repeatAbs: 1, low: -60, high: 215, source: "one-byte parameter spans -40..215 degC (standards.md 1.4)"},
	// Crank and cam sensors, starter current, brake motors.
	"crank.teeth":              {low: 1, high: 200, source: "our choice: a count"},
	"crank.speed":              {repeatRel: 0.01, low: 20, high: 20000, source: "our choice"},
	"crank.signal_faults":      {low: 0, source: "our choice: a count"},
	"crank.edge_scatter":       {repeatRel: 0.10, low: 0, high: 100, source: "our choice"},
	"crank.tooth_error":        {repeatAbs: 0.02, low: 0, high: 90, source: "our choice"},
	"crank.compression_ripple": {repeatRel: 0.05, low: 0, high: 100, source: "our choice"},
	"crank.compression_spread": {repeatAbs: 3, low: 0, high: 400, source: "trade.md 2.6: equal within 5-10 %"},
	"crank.misfire_rate":       {low: 0, high: 100, source: "our choice: a count"},
	"crank.contribution":       {repeatAbs: 0.2, marginAbs: 0.3, low: -100, high: 100, source: "our choice: the least a dead cylinder takes off at 2500 rpm (leastLoss)"},
	"cam.scatter":              {repeatRel: 0.10, low: 0, high: 90, source: "our choice"},
	"cranking.peak_spread":     {repeatAbs: 2, low: 0, high: 400, source: "trade.md 2.6: equal within 5-10 %"},
	"cranking.hump_spread":     {repeatAbs: 3, low: 0, high: 400, source: "trade.md 2.6: equal within 5-10 %"},
	"cranking.current":         {repeatRel: 0.05, scale: 0.03, low: 20, high: 3000, source: "trade.md 3.4: clamp 1-3 %"},
	"brake.inrush":             {repeatRel: 0.10, scale: 0.03, low: 0, high: 80, source: "trade.md 3.4: clamp 1-3 %"},
	"brake.free_current":       {repeatRel: 0.05, scale: 0.03, low: 0, high: 80, source: "trade.md 3.4: clamp 1-3 %"},
	"brake.clamp_current":      {repeatRel: 0.03, scale: 0.03, low: 0, high: 80, source: "trade.md 3.4: clamp 1-3 %"},
	"brake.rise_rate":          {repeatRel: 0.10, scale: 0.03, source: "our choice"},
	"brake.apply_time":         {repeatRel: 0.05, low: 0, high: 60, source: "our choice"},
	"brake.release_time":       {repeatRel: 0.05, low: 0, high: 60, source: "our choice"},
	"brake.cycles":             {low: 0, source: "our choice: a count"},
	"brake.side_difference":    {repeatAbs: 3, low: 0, high: 200, source: "trade.md 5.4: 15-20 % (EST)"},
	"brake.rest_shortest":      {low: 0, source: "our choice: a time between two marks"},
	"brake.supply_lowest":      {repeatAbs: 0.05, scale: 0.005, low: 0, high: 60, source: "our choice"},
}

// Where the table is silent: 2 % from one reading to the next, 2 % scale, 15 %
// worth a word. Our choice.
var plainTraits = traits{repeatRel: 0.02, scale: 0.02, margin: 0.15, source: "our choice"}

// Of a temperature: the zero of its scale is anywhere, so no share of it means a thing.
// 1 K from one look to the next and 2 K of a hand thermometer. Our choice.
var plainTemperature = traits{repeatAbs: 1, scaleAbs: 2, marginAbs: 5, source: "our choice"}

func traitsOf(f evidence.Feature) traits {
	if t, ok := traitTable[f.ID]; ok {
		return t
	}
	if f.Dim == unit.Temperature {
		return plainTemperature
	}
	return plainTraits
}

// featureOf finds a feature, or makes do with its id for one that nobody declares.
func (t Task) featureOf(id string, sample evidence.Reading) evidence.Feature {
	if f, ok := evidence.Lookup(id); ok {
		return f
	}
	if i := slices.IndexFunc(t.Features, func(f evidence.Feature) bool { return f.ID == id }); i >= 0 {
		return t.Features[i]
	}
	return evidence.Feature{ID: id, Name: id, Unit: sample.Value.Unit.Symbol, Dim: sample.Value.Unit.Dim, Per: sample.Subject.Kind}
}

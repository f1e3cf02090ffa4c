package measure

// Known is what the person knows about the circuit under test and the program
// cannot read off the trace. Zero values mean "not known": nothing is assumed
// for them without widening the uncertainty.
type Known struct {
	SupplyVolts float64 // at the feed of the coil or injector, while it is switched off
	DriverVolts float64 // left across the closed driver at full current
	// Temperature of the battery in degree Celsius; read only when HasTemperature.
	Temperature     float64
	HasTemperature  bool
	AmbientPressure float64 // Pa
	PulleyRatio     float64 // alternator turns per engine turn
	PolePairs       int     // of the alternator
	CrankTeeth      int     // of the crank wheel in one turn, missing ones counted
	PumpBars        int     // commutator bars of the fuel pump motor
	Order           []int   // cylinders in the order in which injectors were pulsed
}

// Roles of the channels of a circuit capture, beside the parameter roles of
// parameter_roles.go ("supply_voltage" is one of those).
const (
	RoleCurrent   = "current"
	RoleVoltage   = "voltage"         // switched side: coil primary or injector driver
	RoleBattery   = "battery_voltage" // at the posts
	RoleGround    = "ground_voltage"  // ground pin against the negative post
	RoleDrop      = "voltage_drop"    // between two points of one wire
	RolePressure  = "pressure"
	RoleTopCentre = "top_centre" // mark at top dead centre of the cylinder
	RoleAmbient   = "temperature"
)

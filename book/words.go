package book

import "proveout/evidence"

// Words a book may use where only some fit.
var (
	perWords     = []string{"cylinder", "coil_pair", "neighbours", "bank", "engine"}
	versusWords  = []string{"others", "difference", "limit", "absolute", "count"}
	whereWords   = []string{"own", "other", "any"}
	onlyWords    = []string{"hot", "cold", "wet"}
	signalWords  = []string{"DANGER", "WARNING", "CAUTION", "NOTICE"} // ANSI Z535.6
	fuelWords    = []string{"petrol", "diesel", "lpg", "cng", "ethanol"}
	sparkWords   = []string{"coil_on_plug", "waste_spark", "distributor", "none"}
	injectWords  = []string{"port", "direct"}
	featurePer   = []string{"cylinder", "bank", "engine", "pair"}
	featureOfPer = map[string]evidence.Kind{"cylinder": evidence.Cylinder, "bank": evidence.Bank, "engine": evidence.Engine, "pair": evidence.Pair}
)

// StateWords are the operating states a book or a job may name.
var StateWords = []string{
	string(evidence.KeyOn), string(evidence.Off), string(evidence.Cranking), string(evidence.Idle), string(evidence.Raised),
	string(evidence.Snap), string(evidence.Cruise), string(evidence.Load), string(evidence.Overrun),
}

package measure

import (
	"proveout/evidence"
	"proveout/trace"
)

// looksLikePrimary tries a recording as ignition primary: it is one when the dwells
// measure, at a current or kick that no injector has.
func looksLikePrimary(rec *trace.Recording, meta Meta) (bool, string) {
	if !hasRole(rec, meta, IgnitionPrimary, RoleCurrent, RoleVoltage) {
		return false, ""
	}
	res, err := ignitionPrimary(rec, meta)
	if err != nil {
		return false, ""
	}
	for _, r := range res.Readings {
		// A kick missed between samples or cut off is still far above an injector's.
		if r.Feature == "coil.primary_current" && r.Value.SI >= leastCoil && !r.Blocked() || r.Feature == "coil.clamp_voltage" && r.Value.SI >= leastKick {
			return true, "channel " + r.From.Channel + " is switched and ramps as a coil does"
		}
	}
	return false, whyNot(res)
}

// hasRole reports whether a channel has one of the roles.
func hasRole(rec *trace.Recording, meta Meta, kind string, roles ...string) bool {
	for i := range rec.Channels {
		for _, r := range roles {
			if meta.roleOf(&rec.Channels[i], kind) == r {
				return true
			}
		}
	}
	return false
}

// whyNot is what spoke against the first channel that was refused as a whole.
func whyNot(res Result) string {
	for _, n := range res.NotMeasured {
		if n.Flag == evidence.WrongChannel {
			return "channel " + n.From.Channel + ": " + n.Why
		}
	}
	return ""
}

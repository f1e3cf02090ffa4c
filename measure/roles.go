package measure

import (
	"slices"
	"strings"

	"proveout/trace"
)

// Role is a word that may stand in a column mapping.
type Role struct {
	ID   string
	Unit string   // taken when neither file nor mapping give one; empty: none is assumed
	Also []string // other ways to write it
	Says string   // what such a column holds
}

// Roles lists every word a column mapping may use: the time base, the channels of
// each kind of capture, and the parameters of a log. Job files and the command line
// check against it, so that a word nobody knows is an error and not a silence.
func Roles() []Role {
	out := []Role{
		{ID: trace.AsTime, Says: "time of the row"},
		{ID: trace.AsCounter, Says: "row number that counts samples"},
		{ID: trace.AsIgnore, Says: "nothing of use"},
		{ID: syncRole, Says: "trigger pulse of cylinder 1"},
	}
	for _, k := range sampled() {
		if k.id != ParameterLog {
			out = append(out, Role{ID: k.id, Says: "the main channel of a capture of that kind"})
		}
	}
	out = append(out,
		Role{ID: camEdgesRole, Says: "camshaft sensor beside crank_edges"},
		Role{ID: RoleCurrent, Says: "current of the circuit"},
		Role{ID: RoleVoltage, Says: "switched side of coil or injector; in a parameter log the supply voltage"},
		Role{ID: RoleBattery, Says: "at the battery posts"},
		Role{ID: RoleGround, Says: "ground pin against the negative post"},
		Role{ID: RoleDrop, Says: "between two points of one wire"},
		Role{ID: RolePressure, Says: "pressure of the fuel, or in the cylinder"},
		Role{ID: RoleTopCentre, Says: "mark at top dead centre, beside cylinder_pressure"},
		Role{ID: RoleAmbient, Says: "temperature at the battery"},
	)
	for _, r := range roleTable {
		out = append(out, Role{ID: r.id, Unit: r.unit, Also: r.also, Says: r.says})
	}
	return out
}

// RoleIDs lists the ids of Roles.
func RoleIDs() []string {
	var out []string
	for _, r := range Roles() {
		out = append(out, r.ID)
	}
	return out
}

// FindRole gives the id of a role as a person may write it; ok is false when there
// is none.
func FindRole(word string) (id string, ok bool) {
	word = strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(word)))
	for _, r := range Roles() {
		if r.ID == word || slices.Contains(r.Also, word) {
			return r.ID, true
		}
	}
	return "", false
}

// logRole finds the parameter a mapping means in a log, where there is no switched
// side and no post: a voltage is the supply.
func logRole(as string) (role, bool) {
	switch as {
	case RoleVoltage, RoleBattery:
		as = Supply
	}
	return roleByID(as)
}

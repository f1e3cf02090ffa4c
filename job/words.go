package job

import (
	"fmt"
	"slices"
	"strings"

	"proveout/strict"
)

// Words that fields of a job file may hold.
var (
	warmWords    = []string{"cold", "warm", "hot"}
	wetWords     = []string{"dry", "damp", "wet"}
	lampWords    = []string{"off", "steady", "flashing", "unknown"}
	whenWords    = []string{"before", "after"}
	cornerWords  = []string{"front_left", "front_right", "rear_left", "rear_right"} // corners 1 to 4
	stateWords   = []string{"open", "suspected", "ruled_out", "shown"}              // an overrule may set; shown is told as a person's word
	arrangeWords = []string{"inline", "vee", "flat"}
	sparkWords   = []string{"coil_on_plug", "waste_spark", "distributor", "none"}
	injectWords  = []string{"port", "direct"}
	fuelWords    = []string{"petrol", "diesel", "lpg", "cng", "ethanol"}
	accessWords  = []string{"easy", "buried"}
	delimWords   = []string{",", ";", "tab", "space", "|"}
	decimalWords = []string{".", ","}
)

// alike are other spellings that cannot be mistaken.
var alike = map[string]string{
	"gasoline": "petrol", "gas": "petrol", "e85": "ethanol", "autogas": "lpg",
	"cop": "coil_on_plug", "wasted_spark": "waste_spark", "distributer": "distributor",
	"v": "vee", "boxer": "flat", "straight": "inline", "in_line": "inline",
	"gdi": "direct", "mpi": "port", "key_on_engine_off": "key_on", "under_load": "load", "pulling": "load",
	"comma": ",", "semicolon": ";", "point": ".", "dot": ".", "true": "yes", "false": "no",
}

// ident writes an id the way fault books do: lower case, _ between parts.
func ident(s string) string {
	return strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(s)))
}

// fold is ident with other spellings of this file's own words put right.
func fold(s string) string {
	s = ident(s)
	if w, ok := alike[s]; ok {
		return w
	}
	return s
}

// pick finds a word in a list; the error lists the words.
func pick(s string, words []string) (string, error) {
	if w := fold(s); slices.Contains(words, w) {
		return w, nil
	}
	if t := strings.TrimSpace(s); slices.Contains(words, t) {
		return t, nil
	}
	hint := ""
	if n := strict.Nearest(fold(s), words); n != "" {
		hint = fmt.Sprintf("did you mean %q? ", n)
	}
	return "", fmt.Errorf("%s is not known here; %swrite one of: %s", strict.Quote(s), hint, strings.Join(words, ", "))
}

// yesNo reads an answer: "yes", "no", or "" for not known.
func yesNo(s string) (string, error) {
	switch w := fold(s); w {
	case "", "unknown", "not_known", "?", "not_asked":
		return "", nil
	default:
		b, ok := strict.Bool(w)
		if !ok {
			return "", fmt.Errorf("%s is no answer; write yes, no or unknown", strict.Quote(s))
		}
		if b {
			return "yes", nil
		}
		return "no", nil
	}
}

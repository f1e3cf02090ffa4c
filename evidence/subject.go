package evidence

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Kind is the kind of thing a reading or a suspect belongs to.
type Kind string

// The kinds of subject. A pair is two cylinders: a waste-spark coil, or two
// neighbours over one head gasket.
const (
	Vehicle  Kind = "vehicle"
	Engine   Kind = "engine"
	Cylinder Kind = "cylinder"
	Pair     Kind = "pair"
	Bank     Kind = "bank"
	Corner   Kind = "corner"
)

// Subject is one thing that is measured or suspected. Number is the cylinder,
// bank or corner; Second is the second cylinder of a pair. Both are zero for
// the engine and the vehicle.
type Subject struct {
	Kind   Kind `json:"kind"`
	Number int  `json:"number,omitempty"`
	Second int  `json:"second,omitempty"`
}

// Cyl, BankNo and PairOf build the common subjects.
func Cyl(n int) Subject    { return Subject{Kind: Cylinder, Number: n} }
func BankNo(n int) Subject { return Subject{Kind: Bank, Number: n} }
func PairOf(a, b int) Subject {
	return Subject{Kind: Pair, Number: min(a, b), Second: max(a, b)}
}

// WholeEngine is the engine as one thing.
var WholeEngine = Subject{Kind: Engine}

// String writes the subject as a technician would: "cylinder 3", "cylinders 2 and 3", "bank 1", "engine".
func (s Subject) String() string {
	switch s.Kind {
	case Pair:
		return fmt.Sprintf("cylinders %d and %d", s.Number, s.Second)
	case Engine, Vehicle:
		return string(s.Kind)
	case Corner:
		return append([]string{"corner"}, cornerNames...)[clampCorner(s.Number)]
	}
	return string(s.Kind) + " " + strconv.Itoa(s.Number)
}

// cornerNames are the corners 1 to 4.
var cornerNames = []string{"front left", "front right", "rear left", "rear right"}

func clampCorner(n int) int {
	if n < 1 || n > 4 {
		return 0
	}
	return n
}

// Key is a short stable key: "cyl3", "pair2-3", "bank1", "engine".
func (s Subject) Key() string {
	switch s.Kind {
	case Cylinder:
		return "cyl" + strconv.Itoa(s.Number)
	case Pair:
		return fmt.Sprintf("pair%d-%d", s.Number, s.Second)
	case Engine, Vehicle:
		return string(s.Kind)
	}
	return string(s.Kind) + strconv.Itoa(s.Number)
}

// Covers reports whether cylinder c belongs to the subject, given the bank of
// each cylinder.
func (s Subject) Covers(c int, bankOf func(int) int) bool {
	switch s.Kind {
	case Cylinder:
		return s.Number == c
	case Pair:
		return s.Number == c || s.Second == c
	case Bank:
		return bankOf(c) == s.Number
	}
	return true
}

// ParseSubject reads a Key or the spoken form back.
func ParseSubject(t string) (Subject, error) {
	t = strings.ToLower(strings.TrimSpace(t))
	if t == "engine" || t == "vehicle" {
		return Subject{Kind: Kind(t)}, nil
	}
	words := strings.Fields(strings.ReplaceAll(t, "_", " "))
	if len(words) == 2 && (words[0] == "left" || words[0] == "right") {
		words[0], words[1] = words[1], words[0] // "left rear"
	}
	if n := slices.Index(cornerNames, strings.Join(words, " ")); n >= 0 {
		return Subject{Kind: Corner, Number: n + 1}, nil
	}
	for _, f := range []struct {
		prefix string
		kind   Kind
	}{{"cylinder", Cylinder}, {"cyl", Cylinder}, {"bank", Bank}, {"corner", Corner}, {"pair", Pair}, {"cylinders", Pair}} {
		rest, ok := strings.CutPrefix(t, f.prefix)
		if !ok {
			continue
		}
		nums := strings.FieldsFunc(rest, func(r rune) bool { return r < '0' || r > '9' })
		if len(nums) == 2 {
			a, _ := strconv.Atoi(nums[0])
			b, _ := strconv.Atoi(nums[1])
			return PairOf(a, b), nil
		}
		if len(nums) == 1 && f.kind != Pair {
			n, err := strconv.Atoi(nums[0])
			if err == nil {
				return Subject{Kind: f.kind, Number: n}, nil
			}
		}
	}
	return Subject{}, fmt.Errorf("%q names no subject; write for example \"cylinder 3\", \"cylinders 2 and 3\", \"bank 1\", \"rear left\" or \"engine\"", t)
}

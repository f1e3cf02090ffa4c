package obd

import (
	"encoding/json"
	"strconv"
	"strings"
	"sync"

	"proveout/unit"
)

// kind says how the bytes of a signal are read.
type kind uint8

const (
	unsigned kind = iota
	signed        // two's complement
	oneBit
	bitField
	enum
	enumField
	codeKind
)

// Signal is one value inside the answer to a parameter id.
type Signal struct {
	ID     string // stable: "engine_speed"
	Name   string
	PID    byte
	Unit   unit.Unit // the unit of the standard; values are held in SI
	Source string    // where layout and formula are from

	number         int // place in the table of signals
	at, size       int
	kind           kind
	mul, div, add  float64
	low, high      int // bits of a bit or field
	usedBit        int // bit of byte A that says the value is given, -1 if always
	unusedRaw      uint32
	hasUnused      bool
	scaledBy       string // signal id of the maximum that rescales this one
	defaultMaximum float64
}

// siSymbol is the symbol of the SI unit of the signal's dimension.
func (s *Signal) siSymbol() string {
	for _, u := range unit.Of(s.Unit.Dim) {
		if u.Factor == 1 && u.Offset == 0 {
			return u.Symbol
		}
	}
	return s.Unit.Symbol
}

// MarshalJSON writes id, name, parameter id and the unit's symbol.
func (s *Signal) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		ID   string `json:"id"`
		Name string `json:"name"`
		PID  byte   `json:"pid"`
		Unit string `json:"unit"`
	}{s.ID, s.Name, s.PID, s.Unit.Symbol})
}

// IsEnum reports whether the value is a name and its number only a code.
func (s *Signal) IsEnum() bool {
	return s.kind == enum || s.kind == enumField || s.kind == codeKind
}

// Value is one decoded value.
type Value struct {
	Signal *Signal `json:"signal"`
	Raw    uint32  `json:"raw"`
	// Number is raw*mul/div+add in Signal.Unit. For names it is the raw value.
	Number float64 `json:"number"`
	// Text is the meaning of an enumerated value, or the trouble code.
	Text string `json:"text,omitempty"`
	// NotUsed is true when the module says that it does not give this value.
	// The number is then what the bytes would mean and must not be believed.
	NotUsed bool `json:"not_used,omitempty"`
}

// SI is the value in the SI unit of its dimension.
func (v Value) SI() float64 { return v.Signal.Unit.SI(v.Number) }

// pidInfo is what is known of a parameter id.
type pidInfo struct {
	lengths []int // data bytes, the usual first
	name    string
	signals []*Signal
}

var pids = sync.OnceValue(func() *[256]*pidInfo {
	var out [256]*pidInfo
	for _, r := range table("pids") {
		p := &pidInfo{name: r[2]}
		for l := range strings.SplitSeq(r[1], "|") {
			p.lengths = append(p.lengths, mustInt(l))
		}
		out[mustByte(r[0])] = p
	}
	kinds := map[string]kind{"u": unsigned, "s": signed, "bit": oneBit, "bits": bitField, "enum": enum, "enumbits": enumField, "code": codeKind}
	for i, r := range table("signals") {
		s := &Signal{number: i, PID: mustByte(r[0]), ID: r[1], Name: r[2], at: mustInt(r[3]), size: mustInt(r[4]), kind: kinds[r[5]],
			mul: mustFloat(r[6]), div: mustFloat(r[7]), add: mustFloat(r[8]), Unit: unit.Must(r[9]), usedBit: -1, Source: r[13]}
		if r[10] != "" {
			lo, hi, ok := strings.Cut(r[10], "-")
			s.low = mustInt(lo)
			s.high = s.low
			if ok {
				s.high = mustInt(hi)
			}
		}
		if r[11] != "" {
			s.usedBit = mustInt(r[11])
		}
		if r[12] != "" {
			v, _ := strconv.ParseUint(r[12], 16, 32)
			s.unusedRaw, s.hasUnused = uint32(v), true
		}
		s.scaledBy, s.defaultMaximum = rescaledBy(s)
		out[s.PID].signals = append(out[s.PID].signals, s)
	}
	return &out
})

// rescaledBy names the maximum (PID 4F, 50) that changes the scale of a signal,
// and the maximum the usual scale stands for (from memory of SAE J1979).
func rescaledBy(s *Signal) (string, float64) {
	switch {
	case s.PID >= 0x24 && s.PID <= 0x2B && s.at == 0, s.PID >= 0x34 && s.PID <= 0x3B && s.at == 0:
		return "max_lambda", 2
	case s.PID >= 0x24 && s.PID <= 0x2B:
		return "max_o2_voltage", 8
	case s.PID >= 0x34 && s.PID <= 0x3B:
		return "max_o2_current", 128
	case s.PID == 0x0B:
		return "max_manifold_pressure", 255
	case s.PID == 0x10:
		return "max_air_flow", 655.35
	}
	return "", 0
}

var signalsByID = sync.OnceValue(func() map[string]*Signal {
	out := map[string]*Signal{}
	for _, p := range pids() {
		if p != nil {
			for _, s := range p.signals {
				out[s.ID] = s
			}
		}
	}
	return out
})

// PIDName is the name of a parameter id of service 01 and 02.
func PIDName(pid byte) (string, bool) {
	if p := pids()[pid]; p != nil {
		return p.name, true
	}
	return "unknown parameter", false
}

// Signals gives the values an answer to the parameter id holds, in byte order.
func Signals(pid byte) []*Signal {
	if p := pids()[pid]; p != nil {
		return p.signals
	}
	return nil
}

// SignalByID finds a signal by its stable id.
func SignalByID(id string) (*Signal, bool) {
	s, ok := signalsByID()[id]
	return s, ok
}

// DecodePID decodes the data bytes of one parameter id (A first). Values that
// need bytes beyond the end of data are left out. Unknown ids give nothing.
func DecodePID(pid byte, data []byte) []Value {
	p := pids()[pid]
	if p == nil {
		return nil
	}
	out := make([]Value, 0, len(p.signals))
	for _, s := range p.signals {
		if v, ok := s.decode(data); ok {
			out = append(out, v)
		}
	}
	return out
}

func (s *Signal) decode(data []byte) (Value, bool) {
	if len(data) < s.at+s.size {
		return Value{}, false
	}
	var raw uint32
	for _, b := range data[s.at : s.at+s.size] {
		raw = raw<<8 | uint32(b)
	}
	v := Value{Signal: s}
	switch s.kind {
	case signed:
		shift := 32 - 8*s.size
		v.Number = float64(int32(raw<<shift)>>shift)*s.mul/s.div + s.add
	case oneBit, bitField, enumField:
		raw = raw >> s.low & (1<<(s.high-s.low+1) - 1)
		v.Number = float64(raw)
	default:
		v.Number = float64(raw)*s.mul/s.div + s.add
	}
	v.Raw = raw
	switch s.kind {
	case enum, enumField:
		v.Text = enumText(s.PID, byte(raw))
	case codeKind:
		if raw != 0 {
			v.Text = Code{Raw: uint16(raw)}.String()
		}
	}
	v.NotUsed = s.usedBit >= 0 && data[0]>>s.usedBit&1 == 0 || s.hasUnused && raw == s.unusedRaw
	return v, true
}

// enumText is the meaning of an enumerated value. PID 03 and 12 are one bit of
// a byte each: several bits at once are invalid.
func enumText(pid, raw byte) string {
	if t, ok := enumTexts()[[2]byte{pid, raw}]; ok {
		return t
	}
	if (pid == 0x03 || pid == 0x12) && raw&(raw-1) != 0 {
		return "invalid: more than one bit set (" + hex2(raw) + ")"
	}
	return "unknown value " + hex2(raw)
}

func hex2(b byte) string {
	const d = "0123456789ABCDEF"
	return string([]byte{d[b>>4], d[b&15]})
}

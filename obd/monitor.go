package obd

import (
	"fmt"
	"strconv"
	"sync"

	"proveout/unit"
)

// Verdict is how a module judged one of its tests.
type Verdict string

// The verdicts. NotRun: value and both limits are zero, as they are after a
// clear until the test has run (40 CFR 86.010-18 (k)(4)(v)(D)).
const (
	Pass   Verdict = "pass"
	Fail   Verdict = "fail"
	NotRun Verdict = "not run"
)

// MonitorResult is one test result of service 06.
type MonitorResult struct {
	MID     byte   `json:"monitor_id"`
	TID     byte   `json:"test_id"`
	UASID   byte   `json:"scaling_id"`
	Monitor string `json:"monitor"`
	Test    string `json:"test"`

	RawValue int `json:"raw_value"`
	RawMin   int `json:"raw_min"`
	RawMax   int `json:"raw_max"`
	// Value, Min and Max are scaled, in Unit as the standard writes it. Without a
	// known scaling id they are the raw integers and Scaled is false.
	Value  float64 `json:"value"`
	Min    float64 `json:"min"`
	Max    float64 `json:"max"`
	Unit   string  `json:"unit"`
	Scaled bool    `json:"scaled"`

	Verdict Verdict `json:"verdict"`
	// NoMin and NoMax say that a limit is the end of the range, the sign of an
	// unused limit (from memory of SAE J1979). With both, pass says nothing.
	NoMin bool `json:"no_min"`
	NoMax bool `json:"no_max"`
	// Cylinder is set for the misfire monitors A2 (cylinder 1) and up (common
	// practice, no source).
	Cylinder int    `json:"cylinder,omitempty"`
	Misfire  string `json:"misfire,omitempty"` // "ewma" for test 0B, "current" for 0C
}

// scaling is one units-and-scaling id.
type scaling struct {
	signed       bool
	scale, start float64
	unit         string
}

var scalings = sync.OnceValue(func() map[byte]scaling {
	out := map[byte]scaling{}
	for _, r := range table("uasid") {
		out[mustByte(r[0])] = scaling{signed: r[1] == "signed", scale: mustFloat(r[2]), start: mustFloat(r[3]), unit: r[4]}
	}
	return out
})

// Scale applies a units-and-scaling id to two raw bytes. Ids from 80 up are
// two's complement. ok is false for reserved ids: value is the raw integer then.
func Scale(id byte, raw uint16) (value float64, unitName string, ok bool) {
	n := signedBy(id, raw)
	s, ok := scalings()[id]
	if !ok {
		return float64(n), "", false
	}
	return float64(n)*s.scale + s.start, s.unit, true
}

func signedBy(id byte, raw uint16) int {
	if id >= 0x80 {
		return int(int16(raw))
	}
	return int(raw)
}

// EWMA is the next value of a test 0B register: 0.1 x the counts of this driving
// cycle + 0.9 x the register before (table mode06_tids).
func EWMA(before, counts float64) float64 { return 0.1*counts + 0.9*before }

// DecodeMonitor reads one block of nine bytes: MID TID UASID value min max. The
// verdict compares raw integers, limits included (40 CFR 86.010-18
// (k)(4)(v)(B)), so scaling cannot change it.
func DecodeMonitor(b []byte) (MonitorResult, error) {
	if len(b) < 9 {
		return MonitorResult{}, fmt.Errorf("%d bytes are not a test result; it has 9", len(b))
	}
	r := MonitorResult{MID: b[0], TID: b[1], UASID: b[2]}
	word := func(i int) uint16 { return uint16(b[i])<<8 | uint16(b[i+1]) }
	r.RawValue, r.RawMin, r.RawMax = signedBy(r.UASID, word(3)), signedBy(r.UASID, word(5)), signedBy(r.UASID, word(7))
	r.Value, r.Unit, r.Scaled = Scale(r.UASID, word(3))
	r.Min, _, _ = Scale(r.UASID, word(5))
	r.Max, _, _ = Scale(r.UASID, word(7))
	if r.UASID >= 0x80 {
		r.NoMin, r.NoMax = word(5) == 0x8000, word(7) == 0x7FFF
	} else {
		r.NoMin, r.NoMax = word(5) == 0, word(7) == 0xFFFF
	}
	switch {
	case word(3) == 0 && word(5) == 0 && word(7) == 0:
		r.Verdict, r.NoMin = NotRun, false
	case r.RawMin <= r.RawValue && r.RawValue <= r.RawMax:
		r.Verdict = Pass
	default:
		r.Verdict = Fail
	}
	r.Monitor, r.Test = MonitorName(r.MID), TestName(r.TID)
	if r.MID >= 0xA2 && r.MID <= 0xAD {
		r.Cylinder = int(r.MID - 0xA1)
	}
	if r.MID >= 0xA1 && r.MID <= 0xAD {
		switch r.TID {
		case 0x0B:
			r.Misfire = "ewma"
		case 0x0C:
			r.Misfire = "current"
		}
	}
	return r, nil
}

// MonitorName is the name of a monitor id.
func MonitorName(mid byte) string {
	if s, ok := monitorNames()[mid]; ok {
		return s
	}
	if mid >= 0xE1 {
		return "maker's own monitor " + hex2(mid)
	}
	return "reserved monitor " + hex2(mid)
}

// TestName is the name of a test id.
func TestName(tid byte) string {
	if s, ok := testNames()[tid]; ok {
		return s
	}
	if tid >= 0x80 && tid <= 0xFE {
		return "maker's own test " + hex2(tid)
	}
	return "reserved test " + hex2(tid)
}

// SI gives the value in SI where our unit table knows the unit.
func (r MonitorResult) SI() (unit.Quantity, bool) {
	name, ok := map[string]string{"mOhm": "mohm", "Ohm": "ohm", "kOhm": "kohm", "inch": "in"}[r.Unit]
	if !ok {
		name = r.Unit
	}
	u, err := unit.Parse(name)
	if err != nil || !r.Scaled || u.Symbol != name { // a loose match would take mHz for MHz
		return unit.Quantity{}, false
	}
	q, err := unit.New(r.Value, u)
	return q, err == nil
}

// String writes the result on one line: "MID A2 TID 0C: value 42, min 0, max
// 65535 count -> pass". Raw hex is shown when the scaling id is not known.
func (r MonitorResult) String() string {
	n := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	if !r.Scaled {
		return fmt.Sprintf("MID %02X TID %02X: raw %04X, min %04X, max %04X, scaling %02X not known -> %s", r.MID, r.TID, uint16(r.RawValue), uint16(r.RawMin), uint16(r.RawMax), r.UASID, r.Verdict)
	}
	return fmt.Sprintf("MID %02X TID %02X: value %s, min %s, max %s %s -> %s", r.MID, r.TID, n(r.Value), n(r.Min), n(r.Max), r.Unit, r.Verdict)
}

// decodeMonitors reads the answer of service 06 after the service byte: blocks
// of nine bytes, or support masks of five (monitor ids 00, 20, 40 ...).
func decodeMonitors(b []byte) (results []MonitorResult, supported []byte, asked bool, rest []byte) {
	for len(b) > 0 {
		if b[0]%0x20 == 0 {
			if len(b) < 5 {
				return results, supported, asked, b
			}
			supported, asked = append(supported, Supported(b[0], b[1:5])...), true
			b = b[5:]
			continue
		}
		r, err := DecodeMonitor(b)
		if err != nil {
			return results, supported, asked, b
		}
		results = append(results, r)
		b = b[9:]
	}
	return results, supported, asked, nil
}

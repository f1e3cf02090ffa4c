package obd

import (
	"encoding/json"
	"fmt"
	"strings"
	"sync"
)

// Code is a trouble code: two bytes, with failure type and status where the
// service gives them (ISO 14229-1).
type Code struct {
	Raw uint16
	// Failure is the failure type byte of a three-byte code; only with HasFailure.
	Failure    byte
	HasFailure bool
	// Status is the status byte of a three-byte code; only with HasStatus.
	Status    Status
	HasStatus bool
}

// String writes the code as people do: P0301, U0100-87. Bits 15 and 14 give the
// letter, 13 and 12 the first digit, the rest three hex digits (SAE J2012).
func (c Code) String() string {
	s := fmt.Sprintf("%c%d%03X", "PCBU"[c.Raw>>14], c.Raw>>12&3, c.Raw&0xFFF)
	if c.HasFailure {
		s += "-" + hex2(c.Failure)
	}
	return s
}

// MarshalJSON writes the code with what is known of it.
func (c Code) MarshalJSON() ([]byte, error) {
	v := struct {
		Code    string   `json:"code"`
		Owner   Owner    `json:"owner"`
		Text    string   `json:"text,omitempty"`
		Group   string   `json:"group,omitempty"`
		Unsure  bool     `json:"unsure,omitempty"`
		Failure string   `json:"failure,omitempty"`
		Status  []string `json:"status,omitempty"`
	}{Code: c.String(), Owner: c.Owner()}
	if m, ok := c.Meaning(); ok {
		v.Text, v.Group, v.Unsure = m.Text, m.Group, m.Unsure
	}
	v.Failure, _ = c.FailureText()
	if c.HasStatus {
		v.Status = c.Status.Names()
	}
	return json.Marshal(v)
}

// ParseCode reads "P0301" or "U0100-87", in any case.
func ParseCode(s string) (Code, error) {
	t := strings.ToUpper(strings.TrimSpace(s))
	bad := fmt.Errorf("%q is not a trouble code; write for example P0301 or U0100-87", s)
	body, failure, three := strings.Cut(t, "-")
	if len(body) != 5 {
		return Code{}, bad
	}
	letter := strings.IndexByte("PCBU", body[0])
	if letter < 0 || body[1] < '0' || body[1] > '3' {
		return Code{}, bad
	}
	c := Code{Raw: uint16(letter)<<14 | uint16(body[1]-'0')<<12, HasFailure: three}
	for i := 2; i < 5; i++ {
		v := strings.IndexByte("0123456789ABCDEF", body[i])
		if v < 0 {
			return Code{}, bad
		}
		c.Raw |= uint16(v) << (4 * (4 - i))
	}
	if three {
		b, ok := hexByte(failure)
		if !ok {
			return Code{}, bad
		}
		c.Failure = b
	}
	return c, nil
}

// Meaning is the generic text of a code.
type Meaning struct {
	Text   string
	Group  string // misfire, ignition, injector, fuel, ...
	Source string
	Unsure bool // the table's author was not sure of it
}

var meanings = sync.OnceValue(func() map[uint16]Meaning {
	out := map[uint16]Meaning{}
	for _, r := range table("dtc_generic") {
		c, err := ParseCode(r[0])
		if err != nil {
			panic("obd: " + err.Error())
		}
		out[c.Raw] = Meaning{Text: r[1], Group: r[2], Source: r[3], Unsure: strings.Contains(r[3], "LOW")}
	}
	return out
})

// Meaning looks the generic text up. Without one, ok is false and the code is
// shown as it is: the maker's own code, or one not in our table.
func (c Code) Meaning() (m Meaning, ok bool) {
	m, ok = meanings()[c.Raw]
	return m, ok
}

// FailureText is the meaning of the failure type byte (SAE J2012-DA).
func (c Code) FailureText() (string, bool) {
	if !c.HasFailure {
		return "", false
	}
	s, ok := failureTypes()[c.Failure]
	return s, ok
}

// Owner says who defines the code's number.
type Owner string

// Owners of code ranges (from memory of SAE J2012).
const (
	Generic  Owner = "generic"
	Maker    Owner = "maker"
	Reserved Owner = "reserved"
)

// Owner gives the owner of the code's range.
func (c Code) Owner() Owner {
	digit := c.Raw >> 12 & 3
	switch letter := c.Raw >> 14; {
	case letter == 0 && digit == 1:
		return Maker
	case letter == 0 && digit == 3 && c.Raw&0xFFF < 0x400: // P3000-P33FF
		return Maker
	case letter == 0 || digit == 0:
		return Generic
	case letter == 3 && digit == 3:
		return Generic
	case digit == 3:
		return Reserved
	}
	return Maker
}

// Cylinder is the cylinder a generic misfire code names (P0301 to P0312), else 0.
func (c Code) Cylinder() int {
	// The digits count in decimal: P0310 is cylinder 10.
	n := int(c.Raw>>4&15)*10 + int(c.Raw&15)
	if c.Raw>>8 == 0x03 && c.Raw&15 < 10 && n >= 1 && n <= 12 {
		return n
	}
	return 0
}

// Status is the status byte of ISO 14229-1.
type Status byte

// The bits of Status.
const (
	TestFailed Status = 1 << iota
	FailedThisCycle
	PendingBit
	ConfirmedBit
	NotCompletedSinceClear
	FailedSinceClear
	NotCompletedThisCycle
	WarningLamp
)

var statusNames = sync.OnceValue(func() (n [8]string) {
	for _, r := range table("uds_dtc_status") {
		n[mustInt(r[0])] = r[2]
	}
	return n
})

// Names lists the bits that are set, by the standard's names.
func (s Status) Names() []string {
	var out []string
	for i, n := range statusNames() {
		if s>>i&1 != 0 {
			out = append(out, n)
		}
	}
	return out
}

// decodeCodes reads the list of services 03, 07 and 0A from the bytes after the
// service byte. On CAN the first byte is the count; older buses have none, which
// shows in an even number of bytes. 0000 is fill, not a code.
func decodeCodes(b []byte, can bool) (codes []Code, count int, note string) {
	count = -1
	if can || len(b)%2 == 1 {
		if len(b) == 0 {
			return nil, 0, "the answer has no count byte"
		}
		count, b = int(b[0]), b[1:]
	}
	seen := 0
	for ; len(b) >= 2; b = b[2:] {
		if raw := uint16(b[0])<<8 | uint16(b[1]); raw != 0 {
			seen++
			codes = append(codes, Code{Raw: raw})
		}
	}
	switch {
	case count < 0:
		note = "codes without a count byte, read as older buses write them"
	case count >= 0 && seen != count:
		note = fmt.Sprintf("the module counts %d codes and lists %d", count, seen)
	case len(b) == 1 && b[0] != 0 && !filler(b):
		note = fmt.Sprintf("half a code is left over at the end: %02X", b[0])
	}
	return codes, count, note
}

// decodeStatusCodes reads three-byte codes with status (59 02 after the mask).
func decodeStatusCodes(b []byte) (codes []Code, note string) {
	for ; len(b) >= 4; b = b[4:] {
		codes = append(codes, Code{Raw: uint16(b[0])<<8 | uint16(b[1]), Failure: b[2], HasFailure: true, Status: Status(b[3]), HasStatus: true})
	}
	if len(b) > 0 && !filler(b) {
		note = fmt.Sprintf("% X is left over at the end: not a whole code with status", b)
	}
	return codes, note
}

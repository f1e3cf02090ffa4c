package obd

import (
	"fmt"
	"strconv"
	"strings"
	"sync"

	"proveout/vehicle"
)

// Info is one item of vehicle information (service 09).
type Info struct {
	Type byte   `json:"type"`
	Name string `json:"name"`
	// Values are the texts (VIN, calibration ids, module name), verification
	// numbers in hex, or counters in decimal with their names.
	Values []string `json:"values"`
	// VIN is set when the item is a VIN of 17 allowed characters.
	VIN    vehicle.VIN `json:"vin,omitempty"`
	Hint   string      `json:"hint,omitempty"`
	Raw    []byte      `json:"-"`
	Source Source      `json:"from"`
	Clears int         `json:"after_clears"`
}

var counterNames = sync.OnceValue(func() map[[2]byte]string {
	out := map[[2]byte]string{}
	for _, r := range table("perf_counters") {
		out[[2]byte{mustByte(r[0]), byte(mustInt(r[1]))}] = r[2]
	}
	return out
})

// decodeInfo reads the answer of service 09 after the service byte: info type,
// number of items, data.
func decodeInfo(b []byte) (in Info, supported []byte, note string) {
	if len(b) == 0 {
		return in, nil, "the answer names no info type"
	}
	in = Info{Type: b[0], Raw: append([]byte(nil), b...)}
	name, known := infoNames()[in.Type]
	in.Name = name
	if in.Type%0x20 == 0 {
		// The mask follows at once, or after the number of items: both are in use.
		d := b[1:]
		if len(d) == 5 {
			d = d[1:]
		}
		if len(d) < 4 {
			return in, nil, "the support mask is cut short"
		}
		in.Name = "supported info types"
		return in, Supported(in.Type, d), ""
	}
	if len(b) < 2 {
		return in, nil, "the answer is cut short"
	}
	count, d := int(b[1]), b[2:]
	need := func(each int) {
		if len(d) < count*each {
			note = fmt.Sprintf("%d items of %d bytes are announced and %d bytes are there", count, each, len(d))
		}
	}
	switch in.Type {
	case 0x02:
		text := printable(d)
		in.Values = []string{text}
		v, err := vehicle.ParseVIN(text)
		if err != nil {
			note = err.Error()
			break
		}
		in.VIN, in.Hint = v, v.CheckHint()
	case 0x04:
		need(16)
		for ; len(d) > 0 && len(in.Values) < count; d = d[min(16, len(d)):] {
			in.Values = append(in.Values, printable(d[:min(16, len(d))]))
		}
	case 0x06:
		need(4)
		for ; len(d) >= 4 && len(in.Values) < count; d = d[4:] {
			in.Values = append(in.Values, fmt.Sprintf("%X", d[:4]))
		}
	case 0x08, 0x0B:
		need(2)
		for i := 1; len(d) >= 2 && i <= count; d, i = d[2:], i+1 {
			n := counterNames()[[2]byte{in.Type, byte(i)}]
			if n == "" {
				n = "counter " + strconv.Itoa(i)
			}
			in.Values = append(in.Values, n+": "+strconv.Itoa(int(d[0])<<8|int(d[1])))
		}
	case 0x0A:
		// Short name, a zero byte, long name.
		for part := range strings.SplitSeq(string(d), "\x00") {
			if t := printable([]byte(part)); t != "" {
				in.Values = append(in.Values, t)
			}
		}
	default:
		if !known {
			in.Name = "unknown info type " + hex2(in.Type)
		}
		in.Values = []string{fmt.Sprintf("% X", d)}
	}
	return in, nil, note
}

// printable gives the text of bytes: fill (00, FF) at the ends off, other
// unprintable bytes written as \xNN so that nothing is hidden.
func printable(b []byte) string {
	fill := func(c byte) bool { return c == 0x00 || c == 0xFF || c == ' ' }
	for len(b) > 0 && fill(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && fill(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	s := string(b)
	var out strings.Builder
	for i := range len(s) {
		if c := s[i]; c >= ' ' && c < 0x7F {
			out.WriteByte(c)
		} else {
			fmt.Fprintf(&out, `\x%02X`, c)
		}
	}
	return out.String()
}

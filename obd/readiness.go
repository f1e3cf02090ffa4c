package obd

import (
	"fmt"
	"strings"
	"sync"
)

// Monitor is the readiness of one self-test of a module.
type Monitor struct {
	Name      string `json:"name"`
	Supported bool   `json:"supported"` // PID 41: enabled this drive cycle
	Complete  bool   `json:"complete"`
	// Continuous monitors (misfire, fuel, components) run all the time.
	Continuous bool `json:"continuous"`
}

// Readiness is the answer to PID 01 (since codes were cleared) or 41 (this drive
// cycle).
type Readiness struct {
	PID         byte      `json:"pid"`
	MIL         bool      `json:"mil"`        // PID 01 only
	CodeCount   int       `json:"code_count"` // PID 01 only
	Compression bool      `json:"compression_ignition"`
	Monitors    []Monitor `json:"monitors"` // all, in bit order; Complete means nothing where not Supported
}

// readinessNames are the monitors of bytes C and D, by ignition kind and bit.
var readinessNames = sync.OnceValue(func() (n [2][8]string) {
	for _, r := range table("readiness_bits") {
		if r[0] == "C" {
			k := 0
			if r[3] == "compression" {
				k = 1
			}
			n[k][mustInt(r[1])] = strings.TrimPrefix(r[2], "supported: ")
		}
	}
	return n
})

// DecodeReadiness reads the four data bytes of PID 01 or 41. Bits of byte D
// outside byte C mean nothing.
func DecodeReadiness(pid byte, d []byte) (Readiness, error) {
	if len(d) < 4 {
		return Readiness{}, fmt.Errorf("PID %02X has %d data bytes; readiness needs 4", pid, len(d))
	}
	r := Readiness{PID: pid, Compression: d[1]&8 != 0}
	if pid == 0x01 {
		r.MIL, r.CodeCount = d[0]&0x80 != 0, int(d[0]&0x7F)
	}
	for i, name := range []string{"misfire", "fuel", "components"} {
		r.Monitors = append(r.Monitors, Monitor{Name: name, Continuous: true, Supported: d[1]>>i&1 != 0, Complete: d[1]>>(4+i)&1 == 0})
	}
	k := 0
	if r.Compression {
		k = 1
	}
	for i, name := range readinessNames()[k] {
		r.Monitors = append(r.Monitors, Monitor{Name: name, Supported: d[2]>>i&1 != 0, Complete: d[3]>>i&1 == 0})
	}
	return r, nil
}

// Open lists the supported monitors that are not complete.
func (r Readiness) Open() []string {
	var out []string
	for _, m := range r.Monitors {
		if m.Supported && !m.Complete {
			out = append(out, m.Name)
		}
	}
	return out
}

// String writes lamp, count, ignition and the supported monitors.
func (r Readiness) String() string {
	parts := []string{"MIL=off", fmt.Sprintf("DTCs=%d", r.CodeCount), "spark"}
	if r.MIL {
		parts[0] = "MIL=on"
	}
	if r.Compression {
		parts[2] = "compression"
	}
	for _, m := range r.Monitors {
		if !m.Supported {
			continue
		}
		state := "complete"
		if !m.Complete {
			state = "not complete"
		}
		parts = append(parts, m.Name+":"+state)
	}
	return strings.Join(parts, "; ")
}

package obd

import "fmt"

// Sensor is the place of an oxygen sensor.
type Sensor struct {
	Bank, Position int
}

func (s Sensor) String() string { return fmt.Sprintf("B%dS%d", s.Bank, s.Position) }

// sensorAt gives the place of sensor number 1 to 8 (PIDs 14-1B, 24-2B, 34-3B).
// A vehicle that answers PID 13 counts four sensors on each of two banks; one
// that answers PID 1D counts two on each of four banks. Bit 0 is bank 1 sensor 1
// in both (public table; a recorded vehicle answer 33 = two sensors on each of
// two banks agrees).
func sensorAt(pid byte, number int) Sensor {
	n := number - 1
	if pid == 0x1D {
		return Sensor{n/2 + 1, n%2 + 1}
	}
	return Sensor{n/4 + 1, n%4 + 1}
}

// Sensors lists the oxygen sensors present by the data byte of PID 13 or 1D.
func Sensors(pid, mask byte) []Sensor {
	var out []Sensor
	for i := range 8 {
		if mask>>i&1 != 0 {
			out = append(out, sensorAt(pid, i+1))
		}
	}
	return out
}

// sensorNumber is the oxygen sensor a PID is about, 0 if none.
func sensorNumber(pid byte) int {
	for _, first := range []byte{0x14, 0x24, 0x34} {
		if pid >= first && pid < first+8 {
			return int(pid-first) + 1
		}
	}
	return 0
}

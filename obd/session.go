package obd

import (
	"fmt"
	"slices"

	"proveout/obd/canlog"
	"proveout/vehicle"
)

// Hex is bytes that are written in hex: "41 0C 1A F8".
type Hex []byte

// Text writes the bytes with blanks between. (There is no String method, so that
// fmt's % X still means the bytes.)
func (h Hex) Text() string { return fmt.Sprintf("% X", []byte(h)) }

// MarshalText makes JSON show hex, not base64.
func (h Hex) MarshalText() ([]byte, error) { return []byte(h.Text()), nil }

// Session is what a capture of diagnostic messages held.
type Session struct {
	Modules []*Module     `json:"modules"` // in the order in which they first answered
	Clears  []*Clear      `json:"clears"`
	VINs    []vehicle.VIN `json:"vins"` // different ones, in order of appearance
	// MixedVehicles is true when more than one VIN was read: the capture mixes
	// vehicles and must not be judged as one.
	MixedVehicles bool          `json:"mixed_vehicles"`
	Notes         []canlog.Note `json:"notes"`
	// Raw are requests of services that are not decoded.
	Raw      []Raw `json:"raw"`
	Records  int   `json:"records"`
	Messages int   `json:"messages"`
	// HasTime is true when every message has a time; First and Last span them, ns.
	HasTime bool  `json:"has_time"`
	First   int64 `json:"first_ns"`
	Last    int64 `json:"last_ns"`
}

// Source says where in the capture a value was read.
type Source struct {
	Record   int   `json:"record"` // first and last record, counted from 0
	Last     int   `json:"last_record"`
	Line     int   `json:"line,omitempty"` // 0 in binary captures
	LastLine int   `json:"last_line,omitempty"`
	Byte     int64 `json:"byte"`
}

// Module is one control module that answered.
type Module struct {
	// Address is the CAN id of its answers in hex: "7E8", "18DAF110"; empty when
	// the capture has no ids. Bus is the interface, where there are several.
	Address string `json:"address"`
	Bus     string `json:"bus,omitempty"`
	Name    string `json:"name,omitempty"` // its own name (service 09, 0A)

	Parameters   []*Series          `json:"parameters"` // by PID and place in it
	FreezeFrames []*FreezeFrame     `json:"freeze_frames"`
	Codes        []CodeList         `json:"codes"` // every list read, in order
	Monitors     []MonitorReading   `json:"monitor_results"`
	Readiness    []ReadinessReading `json:"readiness"`
	Info         []Info             `json:"info"`
	Negative     []Negative         `json:"negative"`
	Sensors      []Sensor           `json:"oxygen_sensors"`
	SensorsFrom  Source             `json:"oxygen_sensors_from,omitzero"`
	Raw          []Raw              `json:"raw"`

	SupportedPIDs     Hex `json:"supported_parameters"` // service 01
	SupportedMonitors Hex `json:"supported_monitors"`   // service 06
	SupportedInfo     Hex `json:"supported_info"`       // service 09

	// Clears is how many clears this module accepted.
	Clears int `json:"clears"`

	key       moduleKey
	bySignal  []*Series // by Signal.number
	sensors   byte      // PID that gave Sensors, 0 if not read
	waiting   map[byte]Source
	vin       legacyVIN
	lastClear int // record of the last accepted clear, -1 if none
}

// Sample is one value of a parameter at one time.
type Sample struct {
	Time   int64   `json:"t_ns"`
	Value  float64 `json:"value"` // SI
	Text   string  `json:"text,omitempty"`
	Source Source  `json:"from"`
}

// Series is one parameter over time.
type Series struct {
	Signal *Signal `json:"-"`
	ID     string  `json:"id"`
	Name   string  `json:"name"`
	PID    byte    `json:"pid"`
	Unit   string  `json:"shown_in"` // symbol of the standard's unit
	SIUnit string  `json:"unit"`     // symbol of the unit the samples are in
	// HasTime is true when every sample has a time.
	HasTime bool     `json:"has_time"`
	Samples []Sample `json:"samples"`
	// NotUsed counts answers in which the module said it does not give the value
	// (support bit, or oxygen sensor not used for trim). They are not samples.
	NotUsed int `json:"not_used"`
	// Place is where an oxygen sensor sits; zero when not known.
	Place Sensor `json:"place,omitzero"`
	// Hint says why the values may be scaled otherwise, empty if not. Factor is
	// then the module's maximum over the usual one; it has not been applied.
	Hint   string  `json:"hint,omitempty"`
	Factor float64 `json:"factor,omitempty"`
}

// Shown gives a sample's value in the standard's unit.
func (s *Series) Shown(x Sample) float64 { return s.Signal.Unit.FromSI(x.Value) }

// FreezeFrame is the stored snapshot of one fault (service 02).
type FreezeFrame struct {
	Number byte `json:"number"`
	// Code stored it; CodeRead says that PID 02 was read. A code of 0000 means that
	// no frame is stored.
	Code       Code         `json:"code"`
	CodeRead   bool         `json:"code_read"`
	CodeSource Source       `json:"code_from"`
	Supported  Hex          `json:"supported"`
	Values     []FrameValue `json:"values"`
	Unknown    []RawParam   `json:"unknown"`
	Clears     int          `json:"after_clears"`
}

// Empty reports whether the module said that no frame is stored.
func (f *FreezeFrame) Empty() bool { return f.CodeRead && f.Code.Raw == 0 }

// FrameValue is one value of a freeze frame.
type FrameValue struct {
	Value
	Source Source `json:"from"`
}

// RawParam is a parameter that is not in our tables.
type RawParam struct {
	PID    byte   `json:"pid"`
	Data   Hex    `json:"data"`
	Source Source `json:"from"`
}

// CodeKind says which list a code was on.
type CodeKind string

// The lists. ByStatus is the list of ISO 14229-1 service 19 02, where the status
// byte says what each code is.
const (
	Confirmed CodeKind = "confirmed"
	Pending   CodeKind = "pending"
	Permanent CodeKind = "permanent"
	ByStatus  CodeKind = "by status"
)

// CodeList is one list of codes as it was read.
type CodeList struct {
	Kind    CodeKind `json:"kind"`
	Codes   []Code   `json:"codes"` // empty: the module said there are none
	Count   int      `json:"count"` // as the module says, -1 if it does not
	Mask    Status   `json:"mask,omitempty"`
	HasTime bool     `json:"has_time"`
	Time    int64    `json:"t_ns"`
	Source  Source   `json:"from"`
	// Clears is how many clears the module had accepted before.
	Clears int `json:"after_clears"`
}

// MonitorReading is a monitor result and where it was read.
type MonitorReading struct {
	MonitorResult
	Source Source `json:"from"`
	Clears int    `json:"after_clears"`
}

// ReadinessReading is a readiness answer and where it was read.
type ReadinessReading struct {
	Readiness
	HasTime bool   `json:"has_time"`
	Time    int64  `json:"t_ns"`
	Source  Source `json:"from"`
	Clears  int    `json:"after_clears"`
}

// Negative is a refusal, or the word that the answer takes longer (code 78).
type Negative struct {
	Service byte   `json:"service"`
	Code    byte   `json:"code"`
	Text    string `json:"text"`
	Pending bool   `json:"pending"` // 78: not final
	Source  Source `json:"from"`
}

// Raw is a message, or a piece of one, that is not decoded.
type Raw struct {
	Address string `json:"address,omitempty"`
	Data    Hex    `json:"data"`
	Why     string `json:"why"`
	HasTime bool   `json:"has_time"`
	Time    int64  `json:"t_ns"`
	Source  Source `json:"from"`
}

// Module finds a module by its address.
func (s *Session) Module(address string) *Module {
	for _, m := range s.Modules {
		if m.Address == address {
			return m
		}
	}
	return nil
}

// Find gives the first module that has a parameter, and the parameter.
func (s *Session) Find(id string) (*Module, *Series) {
	for _, m := range s.Modules {
		if p := m.Series(id); p != nil {
			return m, p
		}
	}
	return nil, nil
}

// Series finds a parameter by signal id ("engine_speed"), nil if it was not read.
func (m *Module) Series(id string) *Series {
	i := slices.IndexFunc(m.Parameters, func(s *Series) bool { return s.ID == id })
	if i < 0 {
		return nil
	}
	return m.Parameters[i]
}

// Latest gives the list of a kind that was read last, nil if none was.
func (m *Module) Latest(k CodeKind) *CodeList {
	for i := len(m.Codes) - 1; i >= 0; i-- {
		if m.Codes[i].Kind == k {
			return &m.Codes[i]
		}
	}
	return nil
}

// LatestReadiness gives the readiness read last for PID 01 or 41, nil if none was.
func (m *Module) LatestReadiness(pid byte) *ReadinessReading {
	for i := len(m.Readiness) - 1; i >= 0; i-- {
		if m.Readiness[i].PID == pid {
			return &m.Readiness[i]
		}
	}
	return nil
}

package measure

import (
	"fmt"
	"strings"

	"proveout/evidence"
	"proveout/trace"
	"proveout/vehicle"
)

// Kinds of capture, as a job file writes them.
const (
	IgnitionSecondary = "ignition_secondary" // one coil or lead under a non-contact pickup, or a probe in kV
	ParameterLog      = "parameter_log"      // named parameters over time
	Diagnostic        = "diagnostic"         // raw module messages: decoded by obd, measured by Diagnostics
)

// Meta is what the job says about a capture, beside its samples. Zero values
// mean "not said".
type Meta struct {
	Item       int
	File       string           // path in the job folder, copied into each reading's source
	Subject    evidence.Subject // what the whole capture is about
	Columns    []Column         // what single channels are, where the job says so
	Condition  evidence.Condition
	Probe      string
	Calibrated bool // the probe's scale is trusted: amplitudes are volts
	Placement  string
	Inverted   bool // the probe is known to turn the signal over
	When       string
	Engine     vehicle.Engine
	Known      Known // what the person knows of a circuit; see known.go
}

// Column says what one channel of the recording is.
type Column struct {
	Channel string // name in the recording
	As      string // a kind of capture, a parameter role ("engine_speed"), or "ignore"
	Subject evidence.Subject
}

// column finds what the job says about a channel.
func (m Meta) column(name string) (Column, bool) {
	for _, c := range m.Columns {
		if c.Channel == name {
			return c, true
		}
	}
	return Column{}, false
}

// Note is something found out about the capture that is not a reading.
type Note struct {
	Text string // a sentence
	Flag evidence.Flag
	From evidence.Source
	// Trouble is true when it speaks against the data (a gap, an impossible jump, a
	// condition that is not the declared one), false when it only informs.
	Trouble bool
}

// NotMeasured is a feature that was asked of a capture and could not be had.
type NotMeasured struct {
	Feature string
	Subject evidence.Subject
	Why     string // what stood in the way
	Fix     string // what would make it measurable
	Flag    evidence.Flag
	Item    int
	When    string
	From    evidence.Source
}

// Mark is a stretch of samples a screen can show for a reading.
type Mark struct {
	Feature     string
	Channel     string
	Event       int // which firing, window or episode, from 0
	First, Last int // sample indices
	Text        string
}

// Result is what one capture gave.
type Result struct {
	Kind        string
	Recognised  bool               // the kind was found out, not declared
	Condition   evidence.Condition // as recognised from the data, where it can be
	Readings    []evidence.Reading
	NotMeasured []NotMeasured
	Notes       []Note
	Marks       []Mark
}

// Capture measures a recording. kind "" means: find out. The error is for input
// that cannot be worked on at all (unknown kind, no samples, a kind that is not a
// sampled trace); a trace that merely cannot be measured gives a Result whose
// NotMeasured says why.
func Capture(kind string, rec *trace.Recording, meta Meta) (Result, error) {
	if rec == nil || len(rec.Channels) == 0 {
		return Result{}, fmt.Errorf("the recording has no channels; check the column mapping")
	}
	recognised := false
	if kind == "" {
		found, why := Recognise(rec, meta)
		if found == "" {
			return Result{}, fmt.Errorf("what kind of capture this is could not be found out (%s); write kind: with one of %s", why, strings.Join(Kinds(), ", "))
		}
		kind, recognised = found, true
	}
	for _, k := range sampled() {
		if k.id == kind {
			if why := unevenTime(rec); why != "" && kind != ParameterLog {
				res := refuseUneven(kind, why, rec, meta)
				res.Kind, res.Recognised = kind, recognised
				return res, nil
			}
			res, err := k.measure(rec, meta)
			res.Kind, res.Recognised = kind, recognised
			res.Notes = append(res.Notes, saidOtherwise(kind, meta.Condition.State, res)...)
			return res, err
		}
	}
	if kind == Diagnostic {
		return Result{}, fmt.Errorf("kind %q is messages, not samples: decode it first", kind)
	}
	return Result{}, fmt.Errorf("kind %q is not known; write one of %s", kind, strings.Join(Kinds(), ", "))
}

// sampledKind is one kind of capture that is measured from samples. A new kind is
// a file of its own and one line in sampled.
type sampledKind struct {
	id      string
	measure func(*trace.Recording, Meta) (Result, error)
	// looks reports whether a recording is of this kind, by names, units or the look
	// of the signal; the text says what it went by, or what spoke against.
	looks func(*trace.Recording, Meta) (bool, string)
}

// sampled lists the kinds in the order in which they are tried: surest signs first.
func sampled() []sampledKind {
	return []sampledKind{
		{ParameterLog, parameterLog, looksLikeLog},
		{IgnitionParade, ignitionParade, looksLikeParade},
		{IgnitionPrimary, ignitionPrimary, looksLikePrimary},
		{InjectorKind, injectorCapture, looksLikeInjector},
		{CrankEdges, crankEdges, looksLikeCrank},
		{CrankingCurrent, crankingCurrent, looksLikeCranking},
		{BrakeMotorCurrent, brakeMotor, looksLikeBrakeMotor},
		{BatteryKind, batteryCapture, looksLikeBattery},
		{CylinderPressure, pressureCapture, looksLikePressure},
		{FuelPressureKind, fuelCapture, looksLikeFuel},
		{IgnitionSecondary, ignitionSecondary, looksLikeIgnition},
	}
}

// Kinds lists the kinds of capture that can be declared.
func Kinds() []string {
	var out []string
	for _, k := range sampled() {
		out = append(out, k.id)
	}
	return append(out, Diagnostic)
}

// Recognise finds out the kind of a recording: first from what the job says of
// its columns, then from names and units, last from the look of the signal. why
// says what it went by, or why nothing fits.
func Recognise(rec *trace.Recording, meta Meta) (kind, why string) {
	kinds := sampled()
	for _, c := range meta.Columns {
		for _, k := range kinds {
			if c.As == k.id {
				return k.id, fmt.Sprintf("column %q is declared as %s", c.Channel, c.As)
			}
		}
	}
	for _, k := range kinds {
		if ok, text := k.looks(rec, meta); ok {
			return k.id, text
		}
		if k.id == ParameterLog { // of many columns, before one of them is taken for the whole
			if kind, text := byName(rec, meta); kind != "" {
				return kind, text
			}
		}
	}
	return "", fmt.Sprintf("neither the names nor the signal of %s tell it", namesOf(rec))
}

package measure

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

// Roles a logged parameter can have.
const (
	EngineSpeed   = "engine_speed"
	VehicleSpeed  = "vehicle_speed"
	Coolant       = "coolant"
	IntakeAir     = "intake_air"
	EngineLoad    = "engine_load"
	Throttle      = "throttle"
	Pedal         = "pedal"
	ManifoldPress = "manifold_pressure"
	Barometer     = "barometer"
	Airflow       = "airflow"
	ShortTrim     = "short_trim"
	LongTrim      = "long_trim"
	Lambda        = "lambda"
	LambdaTarget  = "lambda_commanded"
	Oxygen        = "oxygen_voltage"
	OxygenAfter   = "oxygen_after" // behind the catalyst
	Supply        = "supply_voltage"
	FuelLevel     = "fuel_level"
	Misfires      = "misfire_count"
	PulseWidth    = "injector_pulse"
	Advance       = "ignition_advance"
	RunTime       = "run_time"
)

// role says how a parameter is recognised and what it can be.
type role struct {
	id   string
	unit string   // taken when the file gives none
	says string   // what it is, for people
	also []string // other words for it in a mapping
	// any one of any must be found, none of not: words of the folded name.
	any, not  []string
	and       []string // one of these too, where given
	low, high float64  // what it can be, SI
	// steepest change, SI per second, and the smallest step it is applied to.
	rate, stepMin float64
	source        string
}

var oxygenWords = []string{"o2 sensor", "oxygen sensor", "o2s11", "o2s12", "o2s21", "o2s22", "o2b1s1", "o2b1s2", "o2b2s1", "o2b2s2", "o2 voltage", "o2", "lambdasonde", "sondenspannung", "lambdasondenspannung"}

// roles in order of precedence: the first that fits names the channel. Words are
// our own list of what log headers say, in English and German.
var roleTable = []role{
	{id: Misfires, unit: "count", says: "misfires counted on one cylinder", also: []string{"misfires"},
		any: []string{"misfire", "misfires", "misf", "misfirecount", "aussetzer", "zundaussetzer", "aussetzerzahler", "verbrennungsaussetzer"}, low: 0, high: 1e6},
	{id: ShortTrim, unit: "%", says: "short-term fuel trim of a bank", also: []string{"stft"},
		any: []string{"stft", "stft1", "stft2", "shrtft", "shrtft1", "shrtft2", "short term fuel trim", "short term trim", "short fuel trim", "short trim", "stftb1", "stftb2", "kurzzeit trim", "kurzzeittrim", "kurzzeit kraftstofftrimm", "kurzzeit kraftstofftrim", "kurzzeit gemischkorrektur", "kurzfristige gemischkorrektur", "kurzfristige kraftstofftrimmung", "kurzzeit gemischanpassung", "kurzzeit trimm", "kurzzeit kraftstoff trim"}, low: -100, high: 100},
	{id: LongTrim, unit: "%", says: "long-term fuel trim of a bank", also: []string{"ltft"},
		any: []string{"ltft", "ltft1", "ltft2", "longft", "longft1", "longft2", "long term fuel trim", "long term trim", "long fuel trim", "long trim", "ltftb1", "ltftb2", "langzeit trim", "langzeittrim", "langzeit kraftstofftrimm", "langzeit kraftstofftrim", "langzeit gemischkorrektur", "langfristige gemischkorrektur", "langfristige kraftstofftrimmung", "langzeit gemischanpassung", "langzeit trimm", "langzeit kraftstoff trim"}, low: -100, high: 100},
	{id: PulseWidth, unit: "ms", says: "injector on-time", also: []string{"pulse_width"},
		any: []string{"pulse width", "pulsewidth", "injector duration", "injection time", "injector on time", "injector time", "ipw", "inj pw", "injpw", "pw", "einspritzzeit", "einspritzdauer", "einspritz zeit"}, low: 0, high: 0.1},
	{id: EngineSpeed, unit: "rpm", says: "engine speed", also: []string{"rpm"},
		any: []string{"engine rpm", "rpm", "engine speed", "crankshaft speed", "motordrehzahl", "drehzahl", "nmot", "motor drehzahl", "engine revs", "revs"}, not: []string{"target", "desired", "turbine", "wheel", "pump", "idle speed setpoint", "max"}, low: 0, high: 20000, rate: 9000, stepMin: 4000, source: "our choice: a free-revving engine gains some 6000 rpm in a second"},
	{id: VehicleSpeed, unit: "km/h", says: "road speed", also: []string{"speed"},
		any: []string{"vehicle speed", "vss", "road speed", "speed sensor", "geschwindigkeit", "vehicle velocity", "speed kmh", "speed", "fahrgeschwindigkeit", "fahrzeuggeschwindigkeit", "v fzg", "vfzg"}, not: []string{"engine", "fan", "pump", "wheel", "turbine", "idle", "cruise"}, low: 0, high: 120, rate: 12, stepMin: 8.3, source: "our choice: 1.2 g and 30 km/h"},
	{id: Coolant, unit: "degC", says: "coolant temperature", also: []string{"coolant_temperature", "ect"},
		any: []string{"coolant", "ect", "clt", "coolant temp", "water temperature", "kuhlmittel", "kuhlmitteltemperatur", "kuhlmitteltemp", "kuhlwassertemperatur", "kuhlwasser", "engine coolant", "water temp", "motortemperatur", "tmot"}, not: []string{"level", "pressure", "flow"}, low: -50, high: 140, rate: 2, stepMin: 6, source: "healthy logs step by at most 3 degC in a second (../shared/data/healthy-obd-etios)"},
	{id: IntakeAir, unit: "degC", says: "intake air temperature", also: []string{"iat"},
		any: []string{"intake air temp", "intake air temperature", "iat", "charge air temperature", "air intake temperature", "ansauglufttemperatur", "ansauglufttemp", "ladelufttemperatur", "inlet air temp", "inlet air temperature"}, low: -50, high: 120, rate: 4, stepMin: 12, source: "our choice"},
	{id: Barometer, unit: "kPa", says: "ambient pressure", also: []string{"barometric_pressure"},
		any: []string{"barometric", "baro", "barometric pressure", "atmospheric pressure", "ambient pressure", "umgebungsdruck", "luftdruck"}, low: 40e3, high: 115e3},
	{id: ManifoldPress, unit: "kPa", says: "intake manifold pressure", also: []string{"map"},
		any: []string{"manifold absolute pressure", "intake manifold pressure", "manifold pressure", "map", "intake pressure", "saugrohrdruck", "ansaugdruck", "saugrohr druck", "map sensor"}, not: []string{"desired", "target", "commanded"}, low: 0, high: 500e3},
	{id: Airflow, unit: "g/s", says: "air mass flow", also: []string{"maf"},
		any: []string{"maf", "mass air flow", "air flow rate", "mass airflow", "airflow", "air mass flow", "mass flow sensor", "luftmasse", "luftmassenmesser", "luftmassenstrom", "luftmassendurchfluss", "air mass"}, not: []string{"desired", "target", "secondary", "temperature"}, low: 0, high: 1},
	{id: EngineLoad, unit: "%", says: "calculated load", also: []string{"load"},
		any: []string{"engine load", "calculated load", "calc load", "load value", "load pct", "load", "clv", "motorlast", "lastwert", "berechnete last", "calculated engine load", "calculated load value"}, not: []string{"absolute", "abs", "electrical", "alternator", "generator"}, low: 0, high: 100},
	{id: Throttle, unit: "%", says: "throttle position", also: []string{"tps"},
		any: []string{"throttle", "throttle position", "tps", "throttle pos", "drosselklappe", "drosselklappenstellung", "drosselklappenwinkel", "drosselklappenposition"}, not: []string{"actuator", "commanded", "relative", "desired", "target", "b", "c", "time"}, low: -5, high: 105},
	{id: Pedal, unit: "%", says: "accelerator pedal",
		any: []string{"accelerator", "pedal", "accelerator pedal", "app", "gaspedal", "gaspedalstellung", "fahrpedal", "fahrpedalstellung", "pedalwert"}, not: []string{"e", "f", "brake", "clutch"}, low: -5, high: 105},
	{id: LambdaTarget, unit: "lambda", says: "lambda the module asks for", also: []string{"commanded_lambda"},
		any: []string{"lambda", "equivalence ratio", "equiv ratio", "lambdawert"}, and: []string{"commanded", "target", "desired", "cmd", "soll"}, not: []string{"voltage"}, low: 0.3, high: 9},
	{id: OxygenAfter, unit: "V", says: "oxygen sensor behind the catalyst of a bank", also: []string{"oxygen_downstream"},
		any: oxygenWords, and: []string{"o2s12", "o2s22", "o2b1s2", "o2b2s2", "b1s2", "b2s2", "s2", "sensor 2", "downstream", "post cat", "after catalyst", "nachkat", "hinter kat", "nach kat"}, low: -0.5, high: 6},
	{id: Lambda, unit: "lambda", says: "measured lambda of a bank",
		any: []string{"lambda", "equivalence ratio", "equiv ratio", "afr ratio", "lambdawert"}, not: []string{"commanded", "target", "desired", "cmd", "soll", "voltage"}, low: 0.3, high: 9},
	{id: Oxygen, unit: "V", says: "switching oxygen sensor of a bank", also: []string{"o2", "oxygen"},
		any: oxygenWords, low: -0.5, high: 6},
	{id: Supply, unit: "V", says: "supply voltage of the module",
		any: []string{"control module voltage", "module voltage", "battery voltage", "supply voltage", "system voltage", "vbat", "ubat", "battery", "bordspannung", "batt", "batt v", "battery volts", "batteriespannung", "bordnetzspannung", "versorgungsspannung", "klemme 30", "ecu voltage", "batterie"}, not: []string{"current", "soc", "temperature", "hybrid"}, low: 0, high: 40},
	{id: FuelLevel, unit: "%", says: "fuel level",
		any: []string{"fuel level", "fuel tank", "fuel tank level", "tank level", "tankinhalt", "tankfullstand", "kraftstoffstand", "kraftstoffvorrat", "fullstand tank"}, not: []string{"pressure", "evap"}, low: 0, high: 100},
	{id: Advance, unit: "deg", says: "ignition advance",
		any: []string{"timing advance", "ignition advance", "spark advance", "ignition timing", "zundwinkel", "zundzeitpunkt", "zundverstellung"}, low: -90, high: 90},
	{id: RunTime, unit: "s", says: "time since engine start",
		any: []string{"engine run time", "run time", "runtime", "run tine", "time since engine start", "time since start", "motorlaufzeit", "laufzeit"}, not: []string{"mil", "codes", "cleared"}, low: 0, high: 1e6},
}

func roleByID(id string) (role, bool) {
	for _, r := range roleTable {
		if r.id == id {
			return r, true
		}
	}
	return role{}, false
}

var (
	inBrackets = regexp.MustCompile(`[\[(][^\])]*[\])]`)
	camel      = regexp.MustCompile(`([a-z])([A-Z])`)
	notWord    = regexp.MustCompile(`[^a-z0-9]+`)
	bankRE     = regexp.MustCompile(`\b(?:bank|b)\s*([12])\b|(?:stft|ltft|shrtft|longft)b?([12])\b|\b(?:o2s|o2b|b)([12])s?[12]\b`)
	cylRE      = regexp.MustCompile(`\b(?:cylinder|cyl|zylinder|zyl)\s*(?:no\s*)?([0-9]{1,2})\b|\bmisf(?:ires?)?\s*([0-9]{1,2})\b|\b([0-9]{1,2})\s*misfires?\b`)
)

var accents = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "ß", "ss", "é", "e")

// foldName reduces a header to lower-case words: "Engine RPM [RPM]" becomes
// "engine rpm".
func foldName(s string) string {
	s = inBrackets.ReplaceAllString(s, " ")
	s = camel.ReplaceAllString(s, "$1 $2")
	s = strings.ToLower(s)
	s = accents.Replace(s)
	return strings.TrimSpace(notWord.ReplaceAllString(s, " "))
}

// recogniseName finds role and subject of a parameter by its name; ok is false
// when nothing fits.
func recogniseName(name string, u unit.Unit) (r role, subject evidence.Subject, ok bool) {
	n := " " + foldName(name) + " "
	if strings.TrimSpace(n) == "" {
		return role{}, subject, false
	}
	for _, c := range roleTable {
		own := strings.TrimSpace(n) == strings.ReplaceAll(c.id, "_", " ") // our own word for it, as a job file writes it
		hit := own
		for _, w := range c.any {
			if strings.Contains(n, " "+w+" ") {
				hit = true
				break
			}
		}
		if !hit {
			continue
		}
		for _, w := range c.not {
			if strings.Contains(n, " "+w+" ") {
				hit = false
			}
		}
		if len(c.and) > 0 && !own && !slices.ContainsFunc(c.and, func(w string) bool { return strings.Contains(n, " "+w+" ") }) {
			hit = false
		}
		want := unit.Must(c.unit)
		u := asTemperature(u, want.Dim)
		if u.Symbol != "" && u.Dim != unit.None && u.Dim != want.Dim {
			hit = false
		}
		if !hit {
			continue
		}
		if subject = c.subjectIn(n); subject.Kind == "" {
			continue // a total of misfires belongs to no cylinder
		}
		return c, subject, true
	}
	return role{}, subject, false
}

// subjectIn reads from a folded name which bank or cylinder a parameter belongs
// to: bank 1 where none is said, no cylinder where none is.
func (r role) subjectIn(folded string) evidence.Subject {
	folded = strings.TrimSpace(folded)
	switch r.id {
	case ShortTrim, LongTrim, Oxygen, OxygenAfter, Lambda:
		if m := bankRE.FindStringSubmatch(folded); m != nil {
			k, _ := strconv.Atoi(m[1] + m[2] + m[3])
			return evidence.BankNo(k)
		}
		return evidence.BankNo(1)
	case Misfires:
		if m := cylRE.FindStringSubmatch(folded); m != nil {
			if k, _ := strconv.Atoi(m[1] + m[2] + m[3]); k >= 1 && k <= 16 {
				return evidence.Cyl(k)
			}
		}
		return evidence.Subject{}
	}
	return evidence.WholeEngine
}

// asTemperature takes a unit F that stands at a temperature for Fahrenheit: nobody
// logs the farads of the coolant.
func asTemperature(u unit.Unit, want unit.Dimension) unit.Unit {
	if want == unit.Temperature && u.Symbol == "F" {
		return unit.Must("degF")
	}
	return u
}

// recognisedParameters counts the channels of a recording that are named like
// parameters, and lists what they were taken for.
func recognisedParameters(rec *trace.Recording, meta Meta) (int, []string) {
	var names []string
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		if c, ok := meta.column(ch.Name); ok {
			if r, ok := logRole(c.As); ok {
				names = append(names, strings.TrimSpace(ch.Name)+" = "+r.id)
			}
			if c.As != "" {
				continue
			}
		}
		if r, _, ok := recogniseName(ch.Name, ch.Unit); ok {
			names = append(names, strings.TrimSpace(ch.Name)+" = "+r.id)
		}
	}
	return len(names), names
}

// looksLikeLog: at least two channels are named like parameters.
func looksLikeLog(rec *trace.Recording, meta Meta) (bool, string) {
	if n, names := recognisedParameters(rec, meta); n >= 2 {
		return true, "channels named like parameters: " + strings.Join(names, ", ")
	}
	return false, ""
}

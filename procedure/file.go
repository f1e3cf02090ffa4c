package procedure

// SchemaID is the value of the "schema" field of a procedure file.
const SchemaID = "proveout/procedure/1"

// Overrides is the sentence every procedure carries.
const Overrides = "The vehicle maker's procedure overrides this one wherever they differ."

// File is a procedure as written. The YAML names are the public format.
type File struct {
	Schema    string                  `yaml:"schema"`
	ID        string                  `yaml:"id"`
	Version   int                     `yaml:"version"`
	Title     string                  `yaml:"title"`
	Summary   string                  `yaml:"summary"`
	Override  string                  `yaml:"override"` // must be Overrides
	Systems   []string                `yaml:"systems"`  // hazard classes; at least one
	Sources   []SourceNote            `yaml:"sources"`
	Facts     []Fact                  `yaml:"facts"` // beside those of the hazard classes
	Readings  []ReadingDef            `yaml:"readings"`
	Figures   []Figure                `yaml:"figures"`
	Identify  []Question              `yaml:"identify"`
	Watches   []Watch                 `yaml:"watches"`
	Before    []Gate                  `yaml:"before"` // preconditions, in order
	Steps     []Step                  `yaml:"steps"`
	Recovery  []Step                  `yaml:"recovery"`  // steps that make safe; startable only when held or stopping
	Disturbs  map[string][]Disturb    `yaml:"disturbs"`  // interruption -> facts that must be confirmed again
	Interrupt map[string]RecoveryRule `yaml:"interrupt"` // what to do for steps that say nothing else
	Dangers   []Danger                `yaml:"dangers"`   // what makes the vehicle dangerous to leave, and while what
	Rest      Guard                   `yaml:"rest"`      // the safe resting state: may be left and handed over
	Finish    Guard                   `yaml:"finish"`    // beside "every step is done"
	Never     []Rule                  `yaml:"never"`     // beside those of the hazard classes
	After     []string                `yaml:"after"`     // what is said at the end: notes for the record and the customer
}

// SourceNote names where a figure or an order comes from.
type SourceNote struct {
	ID   string `yaml:"id"`
	Text string `yaml:"text"`
}

// Fact is one thing about the physical state with a finite list of values. The
// value "unsure" is always there and is never written in a file.
type Fact struct {
	ID      string            `yaml:"id"`
	Sides   bool              `yaml:"sides"` // one for left, one for right
	Values  []string          `yaml:"values"`
	Initial string            `yaml:"initial"` // empty = unsure
	Say     map[string]string `yaml:"say"`     // value -> phrase; {side} is left or right
}

// ReadingDef is a number a person or an instrument gives.
type ReadingDef struct {
	ID   string `yaml:"id"`
	Ask  string `yaml:"ask"`
	Unit string `yaml:"unit"`
}

// Figure is a number that is written down as measured, with the maker's limit typed
// beside it. A means that names figures is given with all of them or not at all.
type Figure struct {
	ID    string `yaml:"id"`
	Sides bool   `yaml:"sides"` // one for left, one for right
	Ask   string `yaml:"ask"`   // what is measured; {side} is left or right
	Unit  string `yaml:"unit"`
	// Limit says how the value stands to the maker's limit: at_least, at_most, about, or
	// beside (written down, not held against it: a worn part that goes out).
	Limit    string `yaml:"limit"`
	LimitAsk string `yaml:"limit_ask"` // what the limit is, and where it stands
	Within   string `yaml:"within"`    // with about: how far it may be off, "5 %"
	// Ceiling goes with at_most: no limit above it is taken, whatever is typed, "60 V".
	Ceiling string `yaml:"ceiling"`
}

// FigureLimits are the ways a figure stands to its limit.
var FigureLimits = []string{"at_least", "at_most", "about", "beside"}

// Question tells the variant: which vehicle, which layout.
type Question struct {
	ID      string   `yaml:"id"`
	Ask     string   `yaml:"ask"`
	Answers []Answer `yaml:"answers"`
}

// Answer to a question. Refuse ends the procedure before anything is touched.
type Answer struct {
	ID     string            `yaml:"id"`
	Text   string            `yaml:"text"`
	Sets   map[string]string `yaml:"sets"`
	Refuse string            `yaml:"refuse"`
}

// Watch is a condition that must hold all through a step.
type Watch struct {
	ID       string `yaml:"id"`
	Quantity string `yaml:"quantity"` // what it is, in words: "supply voltage"
	Point    string `yaml:"point"`    // battery, connector, motor or another named place
	Start    string `yaml:"start"`    // a watched step starts at or above this
	Warn     string `yaml:"warn"`
	Hold     string `yaml:"hold"`
	Stop     string `yaml:"stop"`
	// Upper limits are for what must not rise too far (voltage, heat).
	WarnHigh string `yaml:"warn_high"`
	HoldHigh string `yaml:"hold_high"`
	StopHigh string `yaml:"stop_high"`
	Debounce string `yaml:"debounce"` // shorter excursions are inrush, not sag
	Rate     string `yaml:"rate"`     // least sample rate, "5 Hz"
	MaxAge   string `yaml:"max_age"`  // older than this is not watched
	// TypedGate lets a fresh typed reading open the start of a watched step when
	// there is no feed. The step is then recorded as not watched.
	TypedGate   bool     `yaml:"typed_gate"`
	TypedMaxAge string   `yaml:"typed_max_age"`
	Blind       string   `yaml:"blind"` // what is safe when the feed is lost
	From        []string `yaml:"from"`
}

// Gate is a precondition: confirmed before the first step.
type Gate struct {
	ID      string            `yaml:"id"`
	Text    string            `yaml:"text"`
	How     string            `yaml:"how"` // measured, reported, seen, photo, attested
	Reading string            `yaml:"reading"`
	AtLeast string            `yaml:"at_least"`
	AtMost  string            `yaml:"at_most"`
	Sets    map[string]string `yaml:"sets"`
	Hazards []Hazard          `yaml:"hazards"`
	From    []string          `yaml:"from"`
}

// Step is one thing to do.
type Step struct {
	ID  string   `yaml:"id"`
	For []string `yaml:"for"` // [left, right]: one step for each, in either order
	Who string   `yaml:"who"` // technician, second_person, module
	Act string   `yaml:"act"` // what it is to the hazard class; see Class
	Do  string   `yaml:"do"`
	// Wording says it otherwise for what the questions told; the first that holds counts.
	Wording []Wording `yaml:"wording"`
	Why     string    `yaml:"why"`
	Hazards []Hazard  `yaml:"hazards"`
	Needs   []string  `yaml:"needs"` // steps done before; the id of a two-sided step means both
	OnlyIf  Guard     `yaml:"only_if"`
	Guard   Guard     `yaml:"interlock"`
	Watch   []string  `yaml:"watch"`
	Wait    Wait      `yaml:"wait"`
	Confirm Confirm   `yaml:"confirm"`
	// Sets become true when the step is confirmed. Until then they are unsure.
	Sets     map[string]string `yaml:"sets"`
	Spoils   []string          `yaml:"spoils"` // facts no longer known once the step starts
	Outcomes []Outcome         `yaml:"outcomes"`
	// NoReturn says why there is no way back once the step has started.
	NoReturn  string                  `yaml:"point_of_no_return"`
	Dangerous string                  `yaml:"dangerous_to_leave"`
	Interrupt map[string]RecoveryRule `yaml:"interrupt"`
	From      []string                `yaml:"from"`
	// Applies: a recovery step that is owed counts only while this holds. Its interlock
	// is something else: what must be made so before it may begin.
	Applies Guard `yaml:"applies"`
	// OwedOnly: a recovery step that is done only when a recovery rule asks for it.
	OwedOnly bool `yaml:"owed_only"`
	// Again: what a recovery step undoes; these steps and all after them begin again.
	Again []string `yaml:"again"`
	// Cycle repeats the steps inside it; all other fields but ID, Needs and Times are then empty.
	Cycle []Step `yaml:"cycle"`
	Times int    `yaml:"times"`
}

// Wording is another text of a step, for one variant.
type Wording struct {
	When    Guard    `yaml:"when"`
	Do      string   `yaml:"do"`
	Hazards []Hazard `yaml:"hazards"` // beside those of the step
}

// Hazard with its ANSI Z535 signal word: consequence first, then the one thing to do.
type Hazard struct {
	Word string `yaml:"word"` // DANGER, WARNING, CAUTION, NOTICE
	Text string `yaml:"text"`
	Do   string `yaml:"do"`
}

// Wait of a step. Rest counts from the end of the movement (or of the action).
type Wait struct {
	Rest   string `yaml:"rest"`    // at least
	AtMost string `yaml:"at_most"` // the movement itself; later is "overdue"
	Until  string `yaml:"until"`   // in words: what the confirmation waits for
	Why    string `yaml:"why"`
	Maker  string `yaml:"maker"`   // source of a maker's figure shorter than the default
	WallOK bool   `yaml:"wall_ok"` // hours-long waits may be counted by the wall clock over a reboot or sleep
	Broken string `yaml:"broken"`  // what to do when it is broken early: wait (default) or step
}

// Confirm lists the means by which a step is confirmed and how many independent
// ones are needed. Two means of one kind are not independent.
type Confirm struct {
	Need int    `yaml:"need"` // 0 = 1
	By   []Mean `yaml:"by"`
}

// Mean is one way to know.
type Mean struct {
	How     string `yaml:"how"`
	Text    string `yaml:"text"`
	Reading string `yaml:"reading"`
	AtLeast string `yaml:"at_least"`
	AtMost  string `yaml:"at_most"`
	// Figures are written down with it, each beside its limit.
	Figures []string `yaml:"figures"`
}

// Outcome is one way a step may end, when there is more than one.
type Outcome struct {
	ID   string            `yaml:"id"`
	Text string            `yaml:"text"`
	Sets map[string]string `yaml:"sets"`
	Stop string            `yaml:"stop"` // not empty: stop, make safe, hand over; why
}

// RecoveryRule says what to do after an interruption.
type RecoveryRule struct {
	// Class: R0 harmless, go on; R1 run the step again; R2 run again from From;
	// R3 make safe first (First), then again from From or this step; R4 keep power
	// and session, try again before any key-off; R5 stop and hand over.
	Class string   `yaml:"class"`
	Text  string   `yaml:"text"`
	First []string `yaml:"first"`
	From  string   `yaml:"from"`
}

// Disturb lists facts that an interruption may have changed, unless something kept
// them. The step that last made each true must be confirmed again.
// With From, that step and all that follow it are done again instead.
type Disturb struct {
	Facts  []string `yaml:"facts"`
	From   string   `yaml:"from"`
	Unless Guard    `yaml:"unless"`
}

// Danger is a state in which the vehicle must not be left without saying so. The
// board shows it until it is over.
type Danger struct {
	Text  string `yaml:"text"`
	While Guard  `yaml:"while"`
}

// Rule says what must never be. Either Acts with Unless ("never push unless
// retracted") or State ("never this").
type Rule struct {
	ID     string   `yaml:"id"`
	Text   string   `yaml:"text"`
	Acts   []string `yaml:"acts"`
	Unless Guard    `yaml:"unless"`
	State  Guard    `yaml:"state"`
}

// Kinds of interruption. The last two concern one step, the others everything.
var Kinds = []string{"power_loss", "low_supply", "operator_leaves", "device_dies", "injury_or_fire", "not_as_expected", "overdue"}

// KindText puts an interruption into words.
var KindText = map[string]string{
	"power_loss":      "the vehicle or the support supply loses power",
	"low_supply":      "the supply falls below its stop line",
	"operator_leaves": "the technician leaves",
	"device_dies":     "the device that shows this procedure dies",
	"injury_or_fire":  "someone is hurt or there is fire",
	"not_as_expected": "it is not as the step expects",
	"overdue":         "it takes longer than it may",
}

// Hows are the kinds of means. Each is independent of the others.
var Hows = []string{"measured", "reported", "seen", "heard", "felt", "photo", "attested", "second_person"}

// SignalWords are those of ANSI Z535, most severe first (standards.md section 9).
var SignalWords = []string{"DANGER", "WARNING", "CAUTION", "NOTICE"}

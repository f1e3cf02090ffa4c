package shop

// ProofSchema is the value of the "schema" field of a proof answer.
const ProofSchema = "proveout/proof/1"

// ProofAnswer is what "prove --json" prints. Field names are stable; "proveout
// schema proof" prints their JSON Schema. What is worked out and not read is
// marked ≈ where it is shown; figures that cannot be said are null.
type ProofAnswer struct {
	Schema  string `json:"schema"`
	Program string `json:"program"`
	Job     string `json:"job"`

	Vehicle VehicleAnswer `json:"vehicle"`
	Said    string        `json:"said"`
	Causes  []CauseAnswer `json:"causes"`
	// State: proven, improved, not_yet, came_back, not_known.
	State string `json:"state"`
	// By is the way it is proven: road, measured, old_part_back; empty unless proven.
	By string `json:"by"`
	// Named is the one way that decides; NamedByPerson whether the job file names it.
	Named         string   `json:"named"`
	NamedByPerson bool     `json:"named_by_person"`
	Headline      string   `json:"headline"`
	Why           []string `json:"why"`

	Conditions ConditionsAnswer `json:"conditions"`
	Before     DrivesAnswer     `json:"before"`
	After      DrivesAnswer     `json:"after"`
	// Cells are the coverage map, row by row from the highest load down, engine speed
	// rising within a row.
	Cells []CellAnswer `json:"cells"`
	// CouldBeChance: a vehicle on which nothing changed does so well or better.
	CouldBeChance *float64 `json:"could_be_chance"`
	// Ratio of the rate after to the rate before, its two-sided 95 % limits, and the
	// one-sided 95 % bound; proven by road asks for a bound of at most RatioLimit.
	Ratio      *float64 `json:"ratio"`
	RatioLow   *float64 `json:"ratio_low"`
	RatioHigh  *float64 `json:"ratio_high"`
	RatioUpper *float64 `json:"ratio_upper"`
	RatioLimit float64  `json:"ratio_limit"`

	Plan        PlanAnswer         `json:"plan"`
	Measured    []MeasuredAnswer   `json:"measured"`
	Codes       CodesAnswer        `json:"codes"`
	Corrections []CorrectionAnswer `json:"corrections"`
	// NotTested is what this proof does not say, in sentences.
	NotTested  []string        `json:"not_tested"`
	Cautions   []CautionAnswer `json:"cautions"`
	LeftOut    []LeftOut       `json:"left_out"`
	HandedOver *HandoverAnswer `json:"handed_over,omitempty"`
}

// CauseAnswer is a cause the repair answers.
type CauseAnswer struct {
	Suspect  string        `json:"suspect"`
	Text     string        `json:"text"`
	Subject  SubjectAnswer `json:"subject"`
	State    string        `json:"state"`             // as the odds have it: shown, suspected, open
	ByWord   bool          `json:"by_word,omitempty"` // the state is a person's word against the tests
	Chance   float64       `json:"chance"`
	Reason   string        `json:"reason"`
	Item     int           `json:"item"`     // of the direct test that shows it, 0 when none does
	Sentence string        `json:"sentence"` // of that test
}

// ConditionsAnswer is the fault conditions and where they are from.
type ConditionsAnswer struct {
	Known      bool    `json:"known"`
	Text       string  `json:"text"`
	From       string  `json:"from"`
	Hint       string  `json:"hint,omitempty"` // for whoever writes the job file; no screen shows it
	RPMLow     float64 `json:"rpm_low"`
	RPMHigh    float64 `json:"rpm_high"`
	LoadLow    float64 `json:"load_low_pct"`
	LoadHigh   float64 `json:"load_high_pct"`
	LoadWithin string  `json:"load_within"`
	Warm       string  `json:"warm"`
	Gear       string  `json:"gear"`
	KmhAt1000  float64 `json:"kmh_at_1000_rpm"` // 0: the gear is not checked
}

// DrivesAnswer is the drives of one side of the repair.
type DrivesAnswer struct {
	Seconds  float64       `json:"seconds_inside"`
	Episodes int           `json:"episodes"`
	Outside  int           `json:"episodes_outside"`
	Drives   []DriveAnswer `json:"drives"`
}

// DriveAnswer is one drive as it was counted.
type DriveAnswer struct {
	Item           int             `json:"item"`
	File           string          `json:"file"`
	As             string          `json:"as"` // before, found, cause, after
	Used           bool            `json:"used"`
	Why            string          `json:"why"`
	SecondsInside  float64         `json:"seconds_inside"`
	SecondsInDoubt float64         `json:"seconds_in_doubt"`
	SecondsLogged  float64         `json:"seconds_logged"`
	EverySeconds   float64         `json:"every_seconds"`
	Climbs         int             `json:"climbs"`
	RoadMinutes    float64         `json:"road_minutes"`
	GearChecked    bool            `json:"gear_checked"`
	ClockFrom      float64         `json:"clock_from_s"`
	Episodes       []EpisodeAnswer `json:"episodes"`
	// Missed is the time that did not count, and why, longest first.
	Missed []MissedAnswer `json:"did_not_count"`
}

// EpisodeAnswer is one episode.
type EpisodeAnswer struct {
	At      float64 `json:"at_s"`
	To      float64 `json:"to_s"`
	Events  float64 `json:"events"`
	Of      string  `json:"of"`
	Inside  bool    `json:"inside"`
	Counted bool    `json:"counted"`
}

// MissedAnswer is time that did not count.
type MissedAnswer struct {
	Why     string  `json:"why"`
	Seconds float64 `json:"seconds"`
}

// CellAnswer is one cell of the coverage map, in seconds. Counted goes up to Need
// and no further.
type CellAnswer struct {
	RPMLow   float64 `json:"rpm_low"`
	RPMHigh  float64 `json:"rpm_high"`
	LoadLow  float64 `json:"load_low_pct"`
	LoadHigh float64 `json:"load_high_pct"`
	Before   float64 `json:"before"`
	Episodes int     `json:"episodes_before"`
	Need     float64 `json:"need"`
	Driven   float64 `json:"driven"`
	Counted  float64 `json:"counted"`
	NeedFar  float64 `json:"need_for_proven"`
	Left     float64 `json:"left"`
	LeftFar  float64 `json:"left_for_proven"`
}

// PlanAnswer is the drive to plan, or what is left of it.
type PlanAnswer struct {
	Possible bool   `json:"possible"`
	Why      string `json:"why"`
	// Name is the one way to write down before driving, and why that one.
	Name         string       `json:"name"`
	NameWhy      string       `json:"name_why"`
	Improve      TargetAnswer `json:"until_improved"`
	Prove        TargetAnswer `json:"until_proven_by_road"`
	ClimbSeconds float64      `json:"climb_seconds"`
	RoadPerClimb float64      `json:"road_minutes_per_climb"`
	// Instead lists what to do where the road is not practicable.
	Instead []string `json:"instead"`
	Rules   []string `json:"rules"`
}

// TargetAnswer is what is left to drive for one aim.
type TargetAnswer struct {
	Seconds     float64 `json:"seconds_left"`
	Climbs      int     `json:"climbs"`
	RoadMinutes float64 `json:"road_minutes"`
	Practicable bool    `json:"practicable"`
}

// MeasuredAnswer is one quantity before and after the repair, each place.
type MeasuredAnswer struct {
	Feature string `json:"feature"`
	Name    string `json:"name"`
	Unit    string `json:"unit"`
	// Decides: it is the direct test that showed a cause, repeated.
	Decides bool            `json:"decides"`
	Passed  bool            `json:"passed"`
	Before  []PlacedAnswer  `json:"before"`
	After   []PlacedAnswer  `json:"after"`
	Text    string          `json:"text"`
	At      []SubjectAnswer `json:"at"` // places of a cause
}

// PlacedAnswer is a value at one place.
type PlacedAnswer struct {
	Subject SubjectAnswer `json:"subject"`
	Item    int           `json:"item"`
	Value   float64       `json:"value"`
	Text    string        `json:"text,omitempty"` // where the result is a word
	State   string        `json:"state"`
}

// CodesAnswer is codes and monitors before and after.
type CodesAnswer struct {
	Before *CodesRead `json:"before"`
	After  *CodesRead `json:"after"`
	Erased string     `json:"erased"` // when, or "yes"; empty: not said
	Back   []string   `json:"back"`   // stored again after they were erased
	New    []string   `json:"new"`    // after the repair and not before
	Drive  string     `json:"permanent_drive"`
	Notes  []string   `json:"notes"`
}

// CodesRead is what one read-out of codes held.
type CodesRead struct {
	Item      int       `json:"item"`
	Confirmed CodesList `json:"confirmed"`
	Pending   CodesList `json:"pending"`
	Permanent CodesList `json:"permanent"`
	LampRead  bool      `json:"lamp_read"`
	Lamp      bool      `json:"lamp"`
	// MonitorsOpen are supported and not complete, MonitorsDone complete.
	MonitorsRead bool     `json:"monitors_read"`
	MonitorsOpen []string `json:"monitors_open"`
	MonitorsDone []string `json:"monitors_done"`
}

// CodesList is one list of codes; a list that was not read says nothing.
type CodesList struct {
	Read  bool     `json:"read"`
	Codes []string `json:"codes"`
}

// CorrectionAnswer is one thing done.
type CorrectionAnswer struct {
	Done   string       `json:"done"`
	Cause  string       `json:"cause"`
	At     string       `json:"at"`
	Who    string       `json:"who"`
	Reused string       `json:"reused"`
	Parts  []PartAnswer `json:"parts"`
}

// PartAnswer is a part that was fitted.
type PartAnswer struct {
	Name   string `json:"name"`
	Number string `json:"number"`
	Lot    string `json:"lot"`
	Count  int    `json:"count"`
}

// HandoverAnswer is how the job ended.
type HandoverAnswer struct {
	At         string  `json:"at"`
	OdometerKm float64 `json:"odometer_km"`
	Because    string  `json:"because"`
	Left       string  `json:"left"`
	AskAgain   string  `json:"ask_again"`
}

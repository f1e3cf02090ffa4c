package job

import (
	"proveout/book"
	"proveout/strict"
)

// SchemaID is the value of the "schema" field of a job file.
const SchemaID = "proveout/job/1"

// Names a job file may have, first match wins. Two of them in one folder is an error.
var Names = []string{"job.yaml", "job.yml", "job.json"}

// File is a job file as written. Field names in YAML are the public format: see
// docs/job-folder.md and the JSON Schema printed by "proveout schema job".
type File struct {
	Schema     string     `yaml:"schema"`
	Job        string     `yaml:"job"`
	Shop       string     `yaml:"shop"`
	Technician string     `yaml:"technician"`
	Opened     string     `yaml:"opened"` // RFC 3339 date or time
	Practice   bool       `yaml:"practice"`
	Vehicle    Vehicle    `yaml:"vehicle"`
	Complaint  Complaint  `yaml:"complaint"`
	History    History    `yaml:"history"`
	Equipment  []string   `yaml:"equipment"` // ids of what is on hand; empty = not said, all assumed
	Books      []string   `yaml:"books"`     // ids of fault books to use; empty = those that fit
	Known      Known      `yaml:"known"`     // facts of vehicle and circuit for every capture
	Captures   []Capture  `yaml:"captures"`
	Readings   []Reading  `yaml:"readings"`
	Limits     []Limit    `yaml:"limits"`
	Overrules  []Overrule `yaml:"overrules"`
	Kept       []Kept     `yaml:"kept"`   // readings that disagree and are kept all the same
	Tried      []Tried    `yaml:"tried"`  // parts replaced or changed in the search
	Search     *Search    `yaml:"search"` // how the next test is chosen, when the search ends
	// What was agreed, put right, proven and handed over; see repair.go.
	Customer    *Customer    `yaml:"customer"`
	Approvals   []Approval   `yaml:"approvals"`
	Corrections []Correction `yaml:"corrections"`
	Proof       *Proof       `yaml:"proof"`
	HandedOver  *Handover    `yaml:"handed_over"`
	// Own are suspects and tests of this job in the form of a fault book.
	Own *book.Book `yaml:"own"`

	doc      *strict.Document // where it was read from, for line numbers
	problems []Problem        // of notation, found by Parse
}

// Vehicle is the vehicle of the job.
type Vehicle struct {
	Make     string  `yaml:"make"`
	Model    string  `yaml:"model"`
	Year     int     `yaml:"year"`
	VIN      string  `yaml:"vin"`
	Plate    string  `yaml:"plate"`
	Odometer string  `yaml:"odometer"` // "128000 km"
	Engine   *Engine `yaml:"engine"`
}

// Engine is the layout as written; see vehicle.Engine.
type Engine struct {
	Cylinders    int     `yaml:"cylinders"`
	Arrangement  string  `yaml:"arrangement"`  // inline, vee, flat
	Banks        [][]int `yaml:"banks"`        // cylinders of bank 1, bank 2; empty = one bank
	FiringOrder  []int   `yaml:"firing_order"` //
	Ignition     string  `yaml:"ignition"`     // coil_on_plug, waste_spark, distributor
	Injection    string  `yaml:"injection"`    // port, direct
	Boosted      bool    `yaml:"boosted" also:"turbo"`
	Fuel         string  `yaml:"fuel"`         // petrol by default
	Displacement string  `yaml:"displacement"` // "1.6 L"
	Access       string  `yaml:"access"`       // easy, buried
}

// Complaint is what the customer said, and when it happens.
type Complaint struct {
	Said       string     `yaml:"said" alone:"yes"`
	Symptoms   []string   `yaml:"symptoms"` // symptom ids of the fault book, for example misfire_load
	Conditions Conditions `yaml:"conditions"`
}

// Conditions in which the complaint shows. Empty means not asked; "unknown"
// means asked and not known: both stay unknown.
type Conditions struct {
	State      []string `yaml:"state"` // idle, raised, snap, cruise, load, cranking, overrun
	Rpm        string   `yaml:"rpm"`   // "2100" or "1800 to 2600"
	LoadPct    string   `yaml:"load_pct"`
	Gear       string   `yaml:"gear"`
	Hill       string   `yaml:"hill"`        // yes, no, unknown
	Warm       string   `yaml:"warm"`        // cold, warm, hot, any, unknown
	Wet        string   `yaml:"wet"`         // wet, dry, any, unknown
	FuelLevel  string   `yaml:"fuel_level"`  // "20 %"
	RecentWork []string `yaml:"recent_work"` // in words
	Lamp       string   `yaml:"lamp"`        // off, steady, flashing, unknown
}

// History holds context facts by id of the fault book, yes, no or unknown, and the age
// of parts.
type History struct {
	Facts map[string]string `yaml:"facts"`
	Parts []PartAge         `yaml:"parts"`
	Notes []string          `yaml:"notes"`
}

// Where is the subject of a capture or reading; at most one is given.
type Where struct {
	Cylinder  int    `yaml:"cylinder" also:"cyl"`
	Cylinders []int  `yaml:"cylinders"` // a pair
	Bank      int    `yaml:"bank"`
	Corner    string `yaml:"corner"` // front_left, front_right, rear_left, rear_right
}

// Condition under which something was taken.
type Condition struct {
	State   string  `yaml:"state" alone:"yes"` // a bare "condition: idle" means this
	Rpm     float64 `yaml:"rpm" suffix:"rpm"`
	LoadPct float64 `yaml:"load_pct" suffix:"%"`
	Warm    string  `yaml:"warm"`
	Wet     string  `yaml:"wet"`
	Gear    string  `yaml:"gear"`
}

// Capture is a file of measurements and what was measured.
type Capture struct {
	Item int    `yaml:"item"` // number of the item; 0 = next in order
	File string `yaml:"file"` // path inside the folder, "/" separated; globs are allowed
	// Kind says what it is: ignition_secondary, parameter_log, diagnostic (raw
	// messages), or another kind the measurement package knows. Empty = found out.
	Kind       string `yaml:"kind"`
	Where      `yaml:",inline"`
	Condition  Condition `yaml:"condition"`
	Probe      Probe     `yaml:"probe"`
	When       string    `yaml:"when"`  // before (default) or after the repair
	Drive      *Drive    `yaml:"drive"` // of a parameter log: what it was driven for
	Taken      string    `yaml:"taken"` // RFC 3339
	Operator   string    `yaml:"operator"`
	Columns    []Column  `yaml:"columns"`
	Marks      []string  `yaml:"marks"`       // when it was felt, on the file's own time: ["95 s", "2.7 min"]
	Known      Known     `yaml:"known"`       // facts of this capture; they win over those of the job
	SampleRate string    `yaml:"sample_rate"` // "1 MHz", for files without a time column, and WAV is its own
	Delimiter  string    `yaml:"delimiter"`   // only where it is found out wrongly: ",", ";", "tab", "space"
	Decimal    string    `yaml:"decimal"`     // "." or ","
	SetAside   string    `yaml:"set_aside"`   // reason: shown, not counted
	Note       string    `yaml:"note"`
}

// Probe is the pickup, clamp or gauge.
type Probe struct {
	Name       string `yaml:"name"`
	Calibrated bool   `yaml:"calibrated"`
	Placement  string `yaml:"placement"` // "1", "2": which placement of the pickup on this coil
	Inverted   bool   `yaml:"inverted"`
}

// Column maps one column of a delimited file, or one channel of a WAV file.
type Column struct {
	Column string `yaml:"column"` // header name or 1-based number
	As     string `yaml:"as"`     // time, ignition_secondary, sync, engine_speed, ... or ignore
	Unit   string `yaml:"unit"`
	Scale  string `yaml:"scale"` // value per file unit: "1000" or "10 A" per full scale for WAV
	Where  `yaml:",inline"`
}

// Reading is one typed reading.
type Reading struct {
	Item        int    `yaml:"item"`
	Test        string `yaml:"test"`    // test id of the book: result or value
	Feature     string `yaml:"feature"` // or a feature of the catalogue: value
	Where       `yaml:",inline"`
	Value       string    `yaml:"value"`       // "1.42 mm"
	Values      Numbered  `yaml:"values"`      // several cylinders at once: {1: 1.42 mm, 2: 1.45 mm}, or a list in order
	Unit        string    `yaml:"unit"`        // of value and values where they are bare numbers
	Result      string    `yaml:"result"`      // outcome id of the test
	Results     Numbered  `yaml:"results"`     // several at once: {1: normal, 2: cracked}
	Uncertainty string    `yaml:"uncertainty"` // "0.05 mm"
	Condition   Condition `yaml:"condition"`
	Instrument  string    `yaml:"instrument"`
	Placement   string    `yaml:"placement"`
	Operator    string    `yaml:"operator"`
	When        string    `yaml:"when"`
	Taken       string    `yaml:"taken"`
	SetAside    string    `yaml:"set_aside"`
	Note        string    `yaml:"note"`
}

// Numbered is one word or quantity for each cylinder (bank, pair) by its
// number as written: "3", "1-4". In the file it may also be a list, which counts
// from 1.
type Numbered map[string]string

// Limit is a limit or nominal value for this vehicle from service information.
type Limit struct {
	Feature string `yaml:"feature"`
	Where   `yaml:",inline"`
	Min     string `yaml:"min"`
	Max     string `yaml:"max"`
	Nominal string `yaml:"nominal"`
	Source  string `yaml:"source"`
}

// Kept says that readings that disagree are all kept, with the reason: the
// disagreement stays on the record and no longer stands in the way.
type Kept struct {
	Items  []int  `yaml:"items"`
	Reason string `yaml:"reason"`
	Who    string `yaml:"who"`
}

// Overrule is the technician's own decision on a suspect, with the reason.
type Overrule struct {
	Suspect string `yaml:"suspect"` // suspect id, "plug_gap_wide@cyl3"
	State   string `yaml:"state"`   // open, suspected, ruled_out, shown (by word)
	Reason  string `yaml:"reason"`
	Who     string `yaml:"who"`
}

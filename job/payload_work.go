package job

// Dangerous marks a vehicle that must not be left or driven as it stands; MadeSafe
// takes the mark away.
type Dangerous struct {
	Text   string `json:"text"`
	Corner string `json:"corner,omitempty"` // front_left, ...
	Run    string `json:"run,omitempty"`    // the procedure run it comes from
}

// MadeSafe says what made it safe.
type MadeSafe struct {
	Text string `json:"text"`
}

// DriveAdded is a drive under the fault conditions, for the proof.
type DriveAdded struct {
	Minutes  float64 `json:"minutes,omitempty"`
	Km       float64 `json:"km,omitempty"`
	Episodes int     `json:"episodes"` // of the complaint, in this drive
	When     string  `json:"when"`     // before, after
	Item     int     `json:"item,omitempty"`
	Note     string  `json:"note,omitempty"`
}

// Note is a free remark. Names of people do not belong here: it stands in the
// chain for good.
type Note struct {
	Text string `json:"text"`
}

// PhotoAdded cites a photograph. It shows plates and people, so it lies encrypted
// under the customer's key, not among the captures.
type PhotoAdded struct {
	SHA256 string  `json:"sha256"` // of the bytes before encryption
	Size   int64   `json:"size"`
	Place  string  `json:"place,omitempty"` // on the car, in words or a view's name
	X      float64 `json:"x,omitempty"`     // on that view, 0 to 1
	Y      float64 `json:"y,omitempty"`
	Note   string  `json:"note,omitempty"`
}

// Agreed is time or money asked for or given. By is a person's opaque id or
// "customer".
type Agreed struct {
	Minutes float64 `json:"minutes"`
	Amount  string  `json:"amount,omitempty"`
	By      string  `json:"by,omitempty"`
	How     string  `json:"how,omitempty"` // signed, phone, message, in_person
	For     string  `json:"for,omitempty"`
}

// TimePunch begins or ends a person's time on the job.
type TimePunch struct {
	What string `json:"what"` // in, out
}

// HandOver gives the job to another person or shift.
type HandOver struct {
	To   string `json:"to,omitempty"` // person id
	Card string `json:"card"`         // what the next one must know
}

// Interrupted records where the work stood, in one tap.
type Interrupted struct {
	State string `json:"state"`
	Card  string `json:"card"`
	Run   string `json:"run,omitempty"`
}

// Resumed ends an interruption.
type Resumed struct {
	Text string `json:"text,omitempty"`
}

// Closed ends the job with what was proven.
type Closed struct {
	Result   string `json:"result"` // proven, improved, not_proven
	Because  string `json:"because"`
	Left     string `json:"left,omitempty"` // what is left to do
	AskAgain string `json:"ask_again,omitempty"`
	Odometer string `json:"odometer,omitempty"`
}

// Reopened opens a closed job again.
type Reopened struct {
	Because string `json:"because"`
}

// Undo takes back the effect of an entry; the entry stays. An undo can be undone.
type Undo struct {
	Entry  string `json:"entry"`
	Reason string `json:"reason,omitempty"`
}

// Pin names one thing a conclusion was drawn with.
type Pin struct {
	ID      string `json:"id"`
	Version string `json:"version,omitempty"`
	SHA256  string `json:"sha256,omitempty"`
}

// Odds is one suspect as a conclusion saw it.
type Odds struct {
	Suspect string  `json:"suspect"`
	Chance  float64 `json:"chance"`
	Before  float64 `json:"before"`
	State   string  `json:"state"`
}

// Conclusion stores what the program concluded and from what, so that it can be
// held against it later even when books and program have changed.
type Conclusion struct {
	Answer     string  `json:"answer"`  // SHA-256 of the answer's JSON
	Record     int     `json:"record"`  // entries of the job it was drawn from
	Program    string  `json:"program"` //
	Books      []Pin   `json:"books"`
	Procedures []Pin   `json:"procedures,omitempty"`
	Decoder    string  `json:"decoder"` // version of decoding and measuring
	Settings   string  `json:"settings,omitempty"`
	Headline   string  `json:"headline"`
	Odds       []Odds  `json:"odds"`
	NotListed  float64 `json:"not_listed"`
	Stopped    bool    `json:"stopped"`
}

// Settings of a shop. A limit of safety may be tightened here, never loosened.
type Settings struct {
	Equipment     []string           `json:"equipment,omitempty"` // ids on hand; empty: all
	AccessMinutes map[string]float64 `json:"access_minutes,omitempty"`
	Thresholds    map[string]float64 `json:"thresholds,omitempty"`
	Units         string             `json:"units,omitempty"`    // si, us
	Language      string             `json:"language,omitempty"` // en, de
	ShopName      string             `json:"shop_name,omitempty"`
}

package book

import (
	"slices"

	"proveout/strict"
	"proveout/vehicle"
)

// SchemaID is the value of the "schema" field of a fault book.
const SchemaID = "proveout/book/1"

// Book is one fault book as written in YAML.
type Book struct {
	Schema     string             `yaml:"schema"`
	ID         string             `yaml:"id"`
	Version    string             `yaml:"version"`
	Title      string             `yaml:"title"`
	Applies    Layout             `yaml:"applies"`
	Sources    map[string]string  `yaml:"sources"`   // tag to full citation; every src names one of these
	Equipment  map[string]string  `yaml:"equipment"` // id to name
	Hazards    map[string]Hazard  `yaml:"hazards"`
	Access     map[string]Access  `yaml:"access"`     // access several tests share, paid once
	Symptoms   map[string]string  `yaml:"symptoms"`   // complaint pattern id to text
	Context    map[string]Fact    `yaml:"context"`    // fact id to what is asked at reception
	Settings   Settings           `yaml:"settings"`   //
	Features   map[string]Feature `yaml:"features"`   // features of its own, beside the catalogue
	Components []Component        `yaml:"components"` //
	Faults     []Fault            `yaml:"faults"`     //
	Tests      []Test             `yaml:"tests"`      //

	doc   *strict.Document // where it was read from, for line numbers; nil if made in Go
	steps []any            // path of the book inside doc
	sum   string           // SHA-256 of the text it was read from, hexadecimal; empty if it has no file of its own
}

// Fact is something asked at reception that makes a fault more or less likely.
type Fact struct {
	Ask string `yaml:"ask" alone:"yes"`
	// Share is the share of the vehicles that come in for which it holds. A fault's rate
	// is the mean over vehicles for which it holds and others, so that with a factor t the
	// answer no multiplies its odds by (1 - share t)/(1 - share). Without a share, no
	// moves nothing.
	Share Num `yaml:"share"`
}

// MostShare is how much of a fault's rate the vehicles for which a fact holds may make
// up, share times factor (our choice): a word at reception may make a fault less likely,
// never rule it out.
const MostShare = 0.8

// No is the factor of the answer no for a fault that the fact multiplies by times.
// It is 1 where the book gives no share.
func (f Fact) No(times float64) float64 {
	s := f.Share.Value
	if f.Share.Source == "" || !(s > 0 && s < 1) {
		return 1
	}
	return (1 - min(s*times, MostShare)) / (1 - s)
}

// Num is a number with its source tag, written [0.25, EST].
type Num struct {
	Value  float64
	Source string
}

// Settings are the book's own constants.
type Settings struct {
	// NothingWrong and NotListed are shares of the prior, given a complaint, held
	// by "nothing wrong" and "something not listed".
	NothingWrong Num `yaml:"nothing_wrong"`
	NotListed    Num `yaml:"not_listed"`
	// Coverage: how much of a fault a test sees when it was done outside the
	// conditions in which the complaint shows. 1 = fully, 0 = not at all.
	CoverageWarm    Num `yaml:"coverage_warm"`    // complaint only hot (or cold), test not
	CoverageWet     Num `yaml:"coverage_wet"`     // complaint only wet, test dry
	CoverageState   Num `yaml:"coverage_state"`   // test done in another operating state than it asks for
	CoverageUnknown Num `yaml:"coverage_unknown"` // condition of the test not written down
	// Unreliable is the chance that a reading is simply wrong (slip, wrong channel):
	// its likelihood is mixed with a flat one to this share.
	Unreliable Num `yaml:"unreliable"`
}

// Layout says for which engines something exists. Empty lists mean any.
type Layout struct {
	Fuel         []string            `yaml:"fuel"`
	Ignition     []vehicle.Ignition  `yaml:"ignition"`
	Injection    []vehicle.Injection `yaml:"injection"`
	Boosted      *bool               `yaml:"boosted"`
	MinCylinders int                 `yaml:"min_cylinders"`
	MinBanks     int                 `yaml:"min_banks"`
}

// Matches reports whether the engine has the layout.
func (l Layout) Matches(e vehicle.Engine) bool {
	in := func(n int, f func(i int) bool) bool {
		if n == 0 {
			return true
		}
		for i := range n {
			if f(i) {
				return true
			}
		}
		return false
	}
	return in(len(l.Fuel), func(i int) bool { return l.Fuel[i] == e.Fuel }) &&
		in(len(l.Ignition), func(i int) bool { return l.Ignition[i] == e.Ignition }) &&
		in(len(l.Injection), func(i int) bool { return l.Injection[i] == e.Injection }) &&
		(l.Boosted == nil || *l.Boosted == e.Boosted) &&
		e.Cylinders >= l.MinCylinders && e.Banks() >= l.MinBanks
}

// Hazard is a caution with its ANSI Z535 signal word.
type Hazard struct {
	Word   string `yaml:"word"` // DANGER, WARNING, CAUTION, NOTICE
	Text   string `yaml:"text"` // consequence first, then the one thing to do
	Source string `yaml:"src"`
	// Load marks tests that load the engine or drive the car: with a flashing lamp
	// they are short tests only (catalyst at risk).
	Load bool `yaml:"load"`
}

// Access is work that opens the way to several tests and is paid once.
type Access struct {
	Name   string `yaml:"name"`
	Easy   Num    `yaml:"easy"`   // minutes
	Buried Num    `yaml:"buried"` // minutes
	// Cool is minutes of cooling first when the engine is hot (alloy head threads).
	Cool Num `yaml:"cool"`
}

// Feature declares a feature that the catalogue does not have.
type Feature struct {
	Name string `yaml:"name"`
	Unit string `yaml:"unit"`
	Per  string `yaml:"per"` // cylinder, bank, engine, pair
}

// Component is a part that can fail, or a circuit, or a condition of the fuel.
type Component struct {
	ID   string `yaml:"id"`
	Name string `yaml:"name"`
	// System is what it belongs to, as one would say it: ignition, injection, fuel,
	// air, mechanical, signals. Used to sum up; empty: not said.
	System string `yaml:"system"`
	// Per is how often it exists: cylinder, coil_pair (waste spark), neighbours
	// (two cylinders over one gasket), bank, engine.
	Per  string `yaml:"per"`
	When Layout `yaml:"when"`
	// Exchange: it can be changed for a known-good one and put back, which is then
	// offered as a test of it (A-B-A).
	Exchange bool `yaml:"exchange"`
}

// Fault is one way in which a component may have failed.
type Fault struct {
	ID        string `yaml:"id"`
	Component string `yaml:"component"`
	Name      string `yaml:"name"`
	// Rate is the chance that a vehicle of this kind, at reception, has the fault
	// somewhere: it is spread evenly over the instances (cylinders).
	Rate Num `yaml:"rate"`
	// Complaint is P(symptom | this fault alone) for the symptoms of the book. A
	// symptom not named has the chance Settings would give a healthy vehicle.
	Complaint map[string]Num `yaml:"complaint"`
	// Context multiplies the odds when a fact is known to hold, or not to hold: Fact.
	Context []Factor `yaml:"context"`
	// Shows is how much of the fault is there in an operating state other than the
	// one a test asks for (0 to 1); a state not named takes Settings.CoverageState.
	Shows map[string]Num `yaml:"shows"`
	// Only is the part of the conditions outside which the fault does not show at
	// all, if any: "hot", "cold", "wet".
	Only string `yaml:"only"`
	When Layout `yaml:"when"`
	// Repair is what putting it right takes.
	Repair Repair `yaml:"repair"`
	Why    string `yaml:"why"` // one sentence for the apprentice
}

// Factor multiplies the odds of a fault when a context fact is "yes".
type Factor struct {
	Fact  string `yaml:"fact"`
	Times Num    `yaml:"times"`
}

// Repair is minutes and parts to put a fault right.
type Repair struct {
	Text    string `yaml:"text"`
	Minutes Num    `yaml:"minutes"`
	Parts   Num    `yaml:"parts"` // cost in units of the shop's minute rate: minutes of labour the parts are worth
	// Set: the repair renews the part on every cylinder at once, as a set of plugs.
	Set bool `yaml:"set"`
}

// Test is one thing a technician can do.
type Test struct {
	ID   string `yaml:"id"`
	Name string `yaml:"name"`
	Per  string `yaml:"per"` // cylinder, coil_pair, neighbours, bank, engine
	When Layout `yaml:"when"`
	// Reads is the numeric feature behind the test; nil for a yes/no or picked
	// outcome.
	Reads *Reads `yaml:"reads"`
	// Codes ties the test to trouble codes: a capture of diagnostic messages in which
	// the codes were read answers it by itself.
	Codes *Codes `yaml:"codes"`
	// Outcomes in order; exactly one has Normal set.
	Outcomes []Outcome `yaml:"outcomes"`
	// Healthy is P(outcome | no fault bears on the test); the false alarms.
	Healthy Row `yaml:"healthy"`
	// Given is P(outcome | fault) for the faults that bear on it. An outcome not
	// named in a row takes what is left, in proportion to Healthy.
	Given map[string]Row `yaml:"given"`
	// At lists the operating states in which the test is valid; empty: any.
	At []string `yaml:"at"`
	// Static tests look at the part itself, and do not care whether the complaint
	// is present at that moment (a gap, a resistance, a crack).
	Static bool `yaml:"static"`
	// Direct names the faults the test looks at directly: they may be shown by an
	// outcome marked Proves, and ruled out by the normal one.
	Direct []string `yaml:"direct"`
	// Neighbours: to show a fault the other cylinders must have been tested too.
	Neighbours bool `yaml:"neighbours"`
	// ShareOfWhole: the values are shares of one total; when one is high it carries
	// the fact alone and the others are not counted a second time.
	ShareOfWhole bool `yaml:"share_of_whole"`
	// Fact: tests with the same fact on the same subject count once.
	Fact string `yaml:"fact"`
	// Group and Rho: readings of one group on one subject are correlated; m of them
	// count as m/(1+(m-1)*rho).
	Group string `yaml:"group"`
	Rho   Num    `yaml:"rho"`

	Minutes   Minutes  `yaml:"minutes"`
	Access    string   `yaml:"access"`
	Equipment []string `yaml:"equipment"`
	Hazards   []string `yaml:"hazards"`
	// Invasive: a part is taken off or moved.
	Invasive bool   `yaml:"invasive"`
	Do       string `yaml:"do"`   // what to do, in two sentences
	Says     string `yaml:"says"` // what it says and what it does not
	Source   string `yaml:"src"`
	// Exchanges is the component that a test made by Instantiate changes there and back;
	// a book does not write it.
	Exchanges string `yaml:"-"`
}

// Reads ties a test to a feature of the catalogue.
type Reads struct {
	Feature string `yaml:"feature"`
	// Versus: "others" (ratio to the other cylinders, leave one out), "difference"
	// (minus the median of the others, SI), "limit" (ratio to a limit or nominal
	// value that the job or the book gives; not judged without one), "absolute"
	// (the value itself, in Unit), "count" (counts compared as shares).
	Versus string `yaml:"versus"`
	Unit   string `yaml:"unit"` // unit of From and To for absolute and difference
	// Nominal is a generic limit of the book, used when the job gives none.
	Nominal *Num `yaml:"nominal"`
}

// Codes says which trouble codes answer a test.
type Codes struct {
	// Match lists codes, such as P0335. "nn" stands for the number of the cylinder
	// or bank in two digits (P03nn is P0301 on cylinder 1), "n" for one digit.
	Match []string `yaml:"match"`
	Found string   `yaml:"found"` // outcome when one of them is stored, pending or permanent
	None  string   `yaml:"none"`  // outcome when the codes were read and none of them is there
}

// Outcome is one possible result.
type Outcome struct {
	ID   string `yaml:"id"`
	Text string `yaml:"text"`
	// From and To bound the effect for a numeric test (see Reads.Versus). All
	// outcomes together cover one stretch without holes; values beyond it count as
	// at its end.
	From   float64 `yaml:"from"`
	To     float64 `yaml:"to"`
	Source string  `yaml:"src"`
	Normal bool    `yaml:"normal"`
	// Proves: a direct test with this outcome shows the fault.
	Proves bool `yaml:"proves"`
	// Returns: the part was changed and changed back, and the complaint went and came
	// with it (A-B-A). It shows a part that has no neighbour and no limit.
	Returns bool `yaml:"returns"`
}

// Uncited are the source tags that name no publication: a limit with one of them is
// an estimate or a habit, and does not show a part by itself.
var Uncited = []string{"", "EST", "BOOK", "CP", "MEM", OwnTag}

// Cited reports whether the bounds or the words of an outcome come from a source
// that can be looked up.
func (t *Test) Cited(outcome int) bool {
	src := t.Outcomes[outcome].Source
	if src == "" {
		src = t.Source
	}
	return !slices.Contains(Uncited, src)
}

// Row is chances by outcome id, with where it holds and its source.
type Row struct {
	P map[string]float64
	// Where: "own" (fault on the tested subject, the default), "other" (fault on
	// another instance), "any".
	Where  string
	Source string
}

// Minutes by access class, set-up included.
type Minutes struct {
	Easy   Num `yaml:"easy"`
	Buried Num `yaml:"buried"`
	// More is minutes for each further subject once set up (a pickup moved to the
	// next coil); 0 = each subject costs the full time.
	More Num `yaml:"more"`
}

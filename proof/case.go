package proof

// Role is what a drive before the repair was for.
type Role string

// Roles of a drive before the repair.
const (
	// AsBefore: driven after the cause was shown, to be the before. All of it counts.
	AsBefore Role = "before"
	// AsFound: the fault was met on it and it was kept for that; it led to the
	// diagnosis. The clock starts at its first episode, which is not counted: a drive
	// chosen because the fault showed would otherwise show it too often.
	AsFound Role = "found"
	// AsCause: the cause was read from it. It is never the before.
	AsCause Role = "cause"
)

// Way is a way to prove a repair.
type Way string

// Ways. One is named before driving; others inform.
const (
	Road        Way = "road"          // the fault conditions driven clean
	Measured    Way = "measured"      // the direct test repeated: like its healthy neighbours now
	OldPartBack Way = "old_part_back" // old part in again, fault back; new part in again, fault gone
)

// BeforeDrive is a drive before the repair.
type BeforeDrive struct {
	Log
	Role Role
	// CauseWhy says why the drive is taken as AsCause, where it was found out.
	CauseWhy string
}

// Test is a proof other than by road that was done.
type Test struct {
	Done, Passed bool
	Text         string // a sentence, shown
}

// Case is everything a verdict depends on.
type Case struct {
	Conditions Conditions
	Rule       Rule
	Before     []BeforeDrive
	After      []Log
	// Named is the way that was written down before driving; empty: the plan's.
	Named Way
	// CanMeasure says that a direct test showed the cause and can be repeated.
	CanMeasure  bool
	Measured    Test
	OldPartBack Test
	// CodeBack names a code that the module stored again after it was erased.
	CodeBack string
	// Told is how many episodes after the repair were told of and not logged.
	Told int
	// LampFlashing bounds a climb to LampSeconds.
	LampFlashing bool
}

// LampSeconds is the longest pull while the lamp flashed before the repair: raw fuel burns
// in the catalyst (our choice; rest LampRest between).
const (
	LampSeconds = 60.0
	LampRest    = 120.0
)

// State is where the proof stands.
type State string

// States.
const (
	Proven   State = "proven"    // by the way named
	Improved State = "improved"  // something changed (95 %); that the fault is gone is not proven
	NotYet   State = "not_yet"   // clean so far, or not driven; could be chance
	CameBack State = "came_back" // it showed again after the repair
	NotKnown State = "not_known" // nothing to hold a drive against, or not readable
)

// Tally is one drive as it was counted.
type Tally struct {
	Exposure
	Role     Role // of a drive before
	Episodes []Episode
	// Counted is how many of Episodes are counted: inside the conditions, and after
	// the clock started.
	Counted   int
	ClockFrom float64 // s
	Used      bool
	Why       string // it is not used, or how it is
}

// Count is the drives of one side together.
type Count struct {
	Drives   []Tally
	Cells    Grid
	Seconds  float64
	Episodes Grid
	Total    int // episodes counted
	Outside  int // episodes outside the fault conditions
}

// Verdict is where a repair stands.
type Verdict struct {
	State         State
	By            Way // of Proven
	Named         Way // the way that decides
	NamedByPerson bool
	Before, After Count
	// Need is the drive at which no episode could be chance 5 times in 100, by cell;
	// Far that for proven by road. Counted and CountedFar are the seconds after the
	// repair, each cell up to its need.
	Need, Far, Counted, CountedFar Grid
	// Chance is the chance that a vehicle on which nothing changed does so well or
	// better.
	Chance float64
	// Ratio is the rate after over the rate before, Low and High its two-sided 95 %
	// limits, Upper the one-sided bound that Proven asks for; NaN or +Inf when it
	// cannot be said.
	Ratio, Low, High, Upper float64
	// Lines say why, in order of weight.
	Lines []string
}

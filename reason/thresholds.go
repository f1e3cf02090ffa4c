package reason

// Threshold is one figure the judgement rests on, with where it comes from.
type Threshold struct {
	Name   string
	Value  float64
	Says   string
	Source string
}

// Limits are the figures by which odds become words. Default gives the tool's
// own; a shop may change them through Options.
type Limits struct {
	StopAt            float64
	ShownAt           float64
	SuspectedAt       float64
	ProofRatio        float64
	GroupRatio        float64
	RuledOutFactor    float64
	RuledOutChance    float64
	RuledOutSum       float64
	EliminationChance float64
	CoverageNeeded    float64
	ClassSure         float64
	ConflictRatio     float64
	ConflictPull      float64
	ConflictMoves     float64
	ConflictRest      float64
	ConflictLone      float64
	NotListedFloor    float64
	NotListedHealthy  float64
	Unreliable        float64
	Leak              float64
	RhoRepeat         float64
	RhoWide           float64
	RhoHand           float64
	RhoSymptom        float64
	OnlyMismatch      float64
	MaxRate           float64
	CoverageWarm      float64
	CoverageWet       float64
	CoverageState     float64
	CoverageUnknown   float64
	NothingWrong      float64
	NotListed         float64
	DoubtWeight       float64
	WorthBits         float64
	ReferMinutes      float64
	RepairMinutes     float64
	DangerMinutes     float64
	WarningMinutes    float64
	CautionMinutes    float64
	InvasiveMinutes   float64
	TriedShows        float64
	TriedRuns         float64
	TriedBadNew       float64
	TriedBadUsed      float64
	TriedBadGood      float64
	TriedBadMended    float64
	TriedDisturbs     float64
	TriedCures        float64
}

const ours = "our choice"

// limitTable is the one place where the figures stand. Every entry binds a name,
// the value, what it means and its source to a field of Limits.
var limitTable = []struct {
	Threshold
	field func(*Limits) *float64
}{
	{Threshold{"stop_at", 0.90, "chance the shown parts need together before the search may stop", "trade.md 3.5 stop rule"}, func(l *Limits) *float64 { return &l.StopAt }},
	{Threshold{"shown_at", 0.70, "chance a part needs, all its ways of failing together, before a direct test of it may show it", ours + ", on the played vehicles of docs/evaluation.md"}, func(l *Limits) *float64 { return &l.ShownAt }},
	{Threshold{"proof_ratio", 3, "how many times likelier than on a sound part an outcome must be under a fault to prove that fault", ours}, func(l *Limits) *float64 { return &l.ProofRatio }},
	{Threshold{"suspected_at", 0.10, "chance from which a suspect is called suspected rather than open", ours}, func(l *Limits) *float64 { return &l.SuspectedAt }},
	{Threshold{"group_ratio", 0.10, "a suspect with at least this share of the leader's chance counts as not yet separated from it", ours}, func(l *Limits) *float64 { return &l.GroupRatio }},
	{Threshold{"ruled_out_factor", 0.20, "a direct reading must have cut the odds to this share or less to rule a suspect out", ours}, func(l *Limits) *float64 { return &l.RuledOutFactor }},
	{Threshold{"ruled_out_chance", 0.0005, "chance below which a direct normal reading rules a suspect out", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.RuledOutChance }},
	{Threshold{"ruled_out_sum", 0.0001, "the chances of everything ruled out together may not exceed this", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.RuledOutSum }},
	{Threshold{"elimination_chance", 0.00001, "chance below which a suspect without a direct reading is ruled out by elimination", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.EliminationChance }},
	{Threshold{"coverage_needed", 0.80, "a test that covered less of the fault conditions never rules out", ours}, func(l *Limits) *float64 { return &l.CoverageNeeded }},
	{Threshold{"class_sure", 0.90, "how sure a numeric reading must be of its outcome to prove or rule out by it", ours}, func(l *Limits) *float64 { return &l.ClassSure }},
	{Threshold{"conflict_ratio", 2.5, "a reading is doubtful when the evidence is at least this many times likelier with the reading taken as wrong", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.ConflictRatio }},
	{Threshold{"conflict_moves", 8, "a doubtful reading matters when it moves the odds of the leader, with or without it, at least so many times", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.ConflictMoves }},
	{Threshold{"conflict_rest", 0.5, "all other readings together must make the doubtful one at least so many times less likely than the complaint alone", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.ConflictRest }},
	{Threshold{"conflict_lone", 4, "the ratio of conflict_ratio where only one other reading contradicts the doubtful one", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.ConflictLone }},
	{Threshold{"conflict_pull", 1.1, "another reading contradicts the doubtful one when leaving it out makes the doubtful one at least this many times likelier", ours + ", set by simulation (reason/evaluate)"}, func(l *Limits) *float64 { return &l.ConflictPull }},
	{Threshold{"not_listed_floor", 0.01, "'something not listed' never falls below this chance", ours + " (DECISIONS, Odds)"}, func(l *Limits) *float64 { return &l.NotListedFloor }},
	{Threshold{"not_listed_healthy", 0.70, "share of the healthy row in what 'something not listed' expects of a test; the rest is flat", ours + " (DECISIONS, Odds)"}, func(l *Limits) *float64 { return &l.NotListedHealthy }},
	{Threshold{"unreliable", 0.02, "share of readings that are simply wrong, where the book gives none", ours}, func(l *Limits) *float64 { return &l.Unreliable }},
	{Threshold{"leak", 0.01, "chance of a symptom from a cause other than the faults assumed present", ours}, func(l *Limits) *float64 { return &l.Leak }},
	{Threshold{"rho_repeat", 0.50, "correlation of like readings where the book gives none", ours}, func(l *Limits) *float64 { return &l.RhoRepeat }},
	{Threshold{"rho_wide", 0.80, "correlation, for a fault of the whole engine or another cylinder, of one test done on several cylinders", ours}, func(l *Limits) *float64 { return &l.RhoWide }},
	{Threshold{"rho_hand", 0.10, "correlation of readings of different tests taken with one instrument, from one signal of one recording, or by one person's eye, where no group of the book holds them", ours}, func(l *Limits) *float64 { return &l.RhoHand }},
	{Threshold{"rho_symptom", 0.50, "correlation of the symptoms of one complaint", ours}, func(l *Limits) *float64 { return &l.RhoSymptom }},
	{Threshold{"only_mismatch", 0.10, "what is left of a complaint chance when the fault shows only in conditions the complaint excludes", ours}, func(l *Limits) *float64 { return &l.OnlyMismatch }},
	{Threshold{"max_rate", 0.50, "a prior rate above this is held at it", ours}, func(l *Limits) *float64 { return &l.MaxRate }},
	{Threshold{"coverage_warm", 0.30, "coverage of a test done at another engine temperature, where the book gives none", ours}, func(l *Limits) *float64 { return &l.CoverageWarm }},
	{Threshold{"coverage_wet", 0.30, "coverage of a dry test for a wet complaint, where the book gives none", ours}, func(l *Limits) *float64 { return &l.CoverageWet }},
	{Threshold{"coverage_state", 0.30, "coverage of a test done in another operating state, where neither fault nor book gives one", ours}, func(l *Limits) *float64 { return &l.CoverageState }},
	{Threshold{"coverage_unknown", 0.70, "coverage of a test whose condition was not written down, where the book gives none", ours}, func(l *Limits) *float64 { return &l.CoverageUnknown }},
	{Threshold{"nothing_wrong", 0.05, "prior share of 'nothing wrong' given a complaint, where the book gives none", ours}, func(l *Limits) *float64 { return &l.NothingWrong }},
	{Threshold{"not_listed", 0.05, "prior share of 'something not listed' given a complaint, where the book gives none", "reasoning.md 4: 2-5 %, our choice"}, func(l *Limits) *float64 { return &l.NotListed }},
	{Threshold{"doubt_weight", 0.5, "what removing all doubt is worth beside ending the search, when tests are ranked", ours}, func(l *Limits) *float64 { return &l.DoubtWeight }},
	{Threshold{"worth_bits", 0.02, "a test that cannot end the search and removes less doubt than this many bits is not recommended", ours}, func(l *Limits) *float64 { return &l.WorthBits }},
	{Threshold{"refer_minutes", 180, "minutes a specialist takes to find a cause that is not listed, or that the repairs did not meet", ours}, func(l *Limits) *float64 { return &l.ReferMinutes }},
	{Threshold{"repair_minutes", 60, "minutes a repair is taken to cost where the book gives none", ours}, func(l *Limits) *float64 { return &l.RepairMinutes }},
	{Threshold{"danger_minutes", 15, "minutes a test with a DANGER is held back by in the ranking", ours}, func(l *Limits) *float64 { return &l.DangerMinutes }},
	{Threshold{"warning_minutes", 5, "the same for a WARNING", ours}, func(l *Limits) *float64 { return &l.WarningMinutes }},
	{Threshold{"caution_minutes", 1, "the same for a CAUTION", ours}, func(l *Limits) *float64 { return &l.CautionMinutes }},
	{Threshold{"invasive_minutes", 3, "the same for a test that takes a part off or moves it", ours}, func(l *Limits) *float64 { return &l.InvasiveMinutes }},
	{Threshold{"tried_shows", 0.80, "chance that the complaint shows in one run under its conditions when its cause is still there, where the job gives none", ours}, func(l *Limits) *float64 { return &l.TriedShows }},
	{Threshold{"tried_runs", 4, "runs that a check is taken for, where the job gives no chance; they count as repeats with rho_repeat", ours + ": a change there and back must weigh more than a swap one way of the book (about 10)"}, func(l *Limits) *float64 { return &l.TriedRuns }},
	{Threshold{"tried_bad_new", 0.03, "chance that a new part that was fitted is bad itself, or the wrong one", ours}, func(l *Limits) *float64 { return &l.TriedBadNew }},
	{Threshold{"tried_bad_used", 0.10, "the same for a used part", ours}, func(l *Limits) *float64 { return &l.TriedBadUsed }},
	{Threshold{"tried_bad_good", 0.02, "the same for a part taken from a place where it works", ours}, func(l *Limits) *float64 { return &l.TriedBadGood }},
	{Threshold{"tried_bad_mended", 0.10, "chance that a part cleaned or repaired is still bad", ours}, func(l *Limits) *float64 { return &l.TriedBadMended }},
	{Threshold{"tried_disturbs", 0.03, "chance that fitting a part disturbs a connector or seal so that the complaint stays", ours}, func(l *Limits) *float64 { return &l.TriedDisturbs }},
	{Threshold{"tried_cures", 0.05, "chance that the moving about hides a cause that lies elsewhere (a connector seated anew)", ours}, func(l *Limits) *float64 { return &l.TriedCures }},
}

// DefaultLimits returns the figures of the table.
func DefaultLimits() Limits {
	var l Limits
	for _, t := range limitTable {
		*t.field(&l) = t.Value
	}
	return l
}

// Table lists every figure with the value in force, what it means and its source.
func (l Limits) Table() []Threshold {
	out := make([]Threshold, len(limitTable))
	for i, t := range limitTable {
		out[i] = t.Threshold
		if v := *t.field(&l); v != t.Value {
			out[i].Value, out[i].Source = v, "set by the shop (default "+number(t.Value)+")"
		}
	}
	return out
}

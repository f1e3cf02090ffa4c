package procedure

// Open is a machine laid open as plain data: facts, steps, conditions, timers,
// recovery, each by index, with the words of its conditions. Package table makes the
// state table of a page out of it; nothing in it can be changed back into a machine.
type Open struct {
	Facts    []OpenFact      `json:"facts"`
	Steps    []OpenStep      `json:"steps"`
	Timers   []OpenTimer     `json:"timers"`
	Rest     Cond            `json:"rest"`
	Finish   Cond            `json:"finish"`
	Dangers  []OpenDanger    `json:"dangers"`
	Disturbs [][]OpenDisturb `json:"disturbs"` // by kind of interruption
}

// Cond is a condition. Op is true, all, any, not, fact, done, means, hands, command or
// timer.
type Cond struct {
	Op   string `json:"op"`
	Kids []Cond `json:"kids,omitempty"`
	I    int    `json:"i"` // index of a fact, step or timer
	Set  []int  `json:"set,omitempty"`
	N    int    `json:"n,omitempty"`
	Text string `json:"text,omitempty"`
}

// OpenFact is a fact, or a reading with the cuts between its bands.
type OpenFact struct {
	ID      string    `json:"id"`
	Say     []string  `json:"say"` // by value; 0 is unsure
	Initial int       `json:"initial"`
	Reading string    `json:"reading,omitempty"`
	Cuts    []OpenCut `json:"cuts,omitempty"`
	Setters []int     `json:"setters"`
}

// OpenCut lies between two bands; at_most cuts lie just above their value.
type OpenCut struct {
	SI    float64 `json:"si"`
	Upper bool    `json:"upper,omitempty"`
}

// OpenStep is a step.
type OpenStep struct {
	ID        string         `json:"id"`
	Kind      string         `json:"kind"` // question, precondition, step, recovery
	Side      string         `json:"side,omitempty"`
	Do        string         `json:"do"`
	Wording   []OpenWording  `json:"wording,omitempty"`
	Hazards   []Hazard       `json:"hazards,omitempty"`
	Command   bool           `json:"command,omitempty"`
	Hands     bool           `json:"hands,omitempty"`
	Powers    bool           `json:"powers,omitempty"`
	Critical  bool           `json:"critical,omitempty"`
	OwedOnly  bool           `json:"owed_only,omitempty"`
	Owable    bool           `json:"owable,omitempty"`
	KeepGiven bool           `json:"keep_given,omitempty"`
	Rest      float64        `json:"rest_s"`
	RestFloor float64        `json:"rest_floor_s"`
	AtMost    float64        `json:"at_most_s"`
	WallOK    bool           `json:"wall_ok,omitempty"`
	BreakStep bool           `json:"break_step,omitempty"`
	Need      int            `json:"need"`
	Before    []int          `json:"before"` // every step that must be done, near and far
	OnlyIf    Cond           `json:"only_if"`
	OnlyText  string         `json:"only_text,omitempty"`
	Guard     Cond           `json:"guard"`
	Applies   Cond           `json:"applies"`
	Watch     []int          `json:"watch"`
	Sets      [][2]int       `json:"sets"`
	Spoils    []int          `json:"spoils"`
	Outcomes  []OpenOutcome  `json:"outcomes"`
	Means     []OpenMean     `json:"means"`
	Rules     []OpenRule     `json:"rules"`
	Recovers  []OpenRecovery `json:"recovers"`
	Timers    []int          `json:"timers"`
	Again     []int          `json:"again"`
	Dangerous string         `json:"dangerous,omitempty"`
}

// OpenWording is another text of a step.
type OpenWording struct {
	When    Cond     `json:"when"`
	Do      string   `json:"do"`
	Hazards []Hazard `json:"hazards,omitempty"`
}

// OpenOutcome is one way a step may end.
type OpenOutcome struct {
	ID   string   `json:"id"`
	Text string   `json:"text"`
	Stop string   `json:"stop,omitempty"`
	Sets [][2]int `json:"sets"`
}

// OpenMean is one way to confirm. Reading is the fact of its reading, -1 for none;
// Pass the values of it that count.
type OpenMean struct {
	How     string   `json:"how"`
	Text    string   `json:"text"`
	Reading int      `json:"reading"`
	Ask     string   `json:"ask,omitempty"`
	Limit   string   `json:"limit,omitempty"` // in words
	Pass    []int    `json:"pass,omitempty"`
	Figures []string `json:"figures,omitempty"`
}

// OpenRule is a never rule about a step.
type OpenRule struct {
	Text   string `json:"text"`
	Unless Cond   `json:"unless"`
}

// OpenRecovery is what to do about one kind of interruption.
type OpenRecovery struct {
	Class int    `json:"class"`
	Text  string `json:"text"`
	First []int  `json:"first"`
	Reset []int  `json:"reset"`
}

// OpenTimer is a time since a step was done.
type OpenTimer struct {
	Step    int     `json:"step"`
	Seconds float64 `json:"seconds"`
}

// OpenDanger is why the vehicle must not be left, and while what.
type OpenDanger struct {
	Text  string `json:"text"`
	While Cond   `json:"while"`
}

// OpenDisturb is what an interruption puts in doubt.
type OpenDisturb struct {
	Facts  []int `json:"facts"`
	Reset  []int `json:"reset"`
	Unless *Cond `json:"unless,omitempty"`
}

var condOps = [...]string{"true", "all", "any", "not", "fact", "done", "means", "hands", "command", "timer"}

func openCond(n *node) Cond {
	c := Cond{Op: condOps[n.op], I: n.idx, N: n.n, Text: n.text, Set: bitsOf(n.set)}
	for i := range n.kids {
		c.Kids = append(c.Kids, openCond(&n.kids[i]))
	}
	return c
}

func bitsOf(set uint64) []int {
	var out []int
	for i := 0; set>>i != 0; i++ {
		if set>>i&1 == 1 {
			out = append(out, i)
		}
	}
	return out
}

func pairs(as []assign) [][2]int {
	out := [][2]int{}
	for _, a := range as {
		out = append(out, [2]int{a.fact, a.value})
	}
	return out
}

func list(xs []int) []int { return append([]int{}, xs...) }

// Open lays the machine open.
func (m *Machine) Open() Open {
	o := Open{Rest: openCond(&m.rest), Finish: openCond(&m.finish), Timers: []OpenTimer{}, Dangers: []OpenDanger{}}
	for i := range m.Facts {
		f := &m.Facts[i]
		of := OpenFact{ID: f.ID, Initial: f.Initial, Reading: f.Reading, Setters: list(f.setters)}
		for v := range f.Values {
			of.Say = append(of.Say, f.Phrase(v))
		}
		for _, k := range f.Cuts {
			of.Cuts = append(of.Cuts, OpenCut{k.si, k.upper})
		}
		o.Facts = append(o.Facts, of)
	}
	for _, t := range m.Timers {
		o.Timers = append(o.Timers, OpenTimer{t.Step, t.Seconds})
	}
	for i := range m.dangers {
		o.Dangers = append(o.Dangers, OpenDanger{m.File.Dangers[i].Text, openCond(&m.dangers[i])})
	}
	for _, ds := range m.disturbs {
		out := []OpenDisturb{}
		for _, d := range ds {
			od := OpenDisturb{Facts: list(d.facts), Reset: list(d.reset)}
			if d.unless != nil {
				c := openCond(d.unless)
				od.Unless = &c
			}
			out = append(out, od)
		}
		o.Disturbs = append(o.Disturbs, out)
	}
	for i := range m.Steps {
		o.Steps = append(o.Steps, m.openStep(i))
	}
	return o
}

func (m *Machine) openStep(i int) OpenStep {
	st := &m.Steps[i]
	s := OpenStep{ID: st.ID, Kind: st.Origin(), Side: st.side, Do: st.Do, Hazards: st.Hazards, Command: st.Command, Hands: st.Hands, Powers: st.Powers, Critical: st.Critical,
		OwedOnly: st.OwedOnly, Owable: st.owable, KeepGiven: st.keepGiven && st.given.mask != 0, Rest: st.RestSeconds, RestFloor: st.RestFloor, AtMost: st.AtMostSeconds, WallOK: st.Wait.WallOK, BreakStep: st.Wait.Broken == "step", Need: st.Need,
		OnlyIf: openCond(&st.onlyIf), OnlyText: m.SayOnlyIf(i), Guard: openCond(&st.guard), Applies: openCond(&st.applies), Watch: list(st.watch), Sets: pairs(st.sets), Spoils: list(st.spoils),
		Timers: list(st.timers), Again: list(st.again), Dangerous: st.Dangerous, Before: []int{}, Means: []OpenMean{}, Rules: []OpenRule{}}
	for j := range m.Steps {
		if j != i && contains(m.Steps[j].after, i) {
			s.Before = append(s.Before, j)
		}
	}
	for k, w := range st.Wording {
		s.Wording = append(s.Wording, OpenWording{openCond(&st.wordings[k]), w.Do, w.Hazards})
	}
	for k, out := range st.outcomes {
		oo := OpenOutcome{Sets: pairs(out.sets)}
		if k < len(st.Outcomes) {
			oo.ID, oo.Text, oo.Stop = st.Outcomes[k].ID, st.Outcomes[k].Text, st.Outcomes[k].Stop
		}
		s.Outcomes = append(s.Outcomes, oo)
	}
	for k, mean := range st.means {
		by := st.Confirm.By[k]
		om := OpenMean{How: by.How, Text: by.Text, Reading: mean.reading, Figures: by.Figures}
		if mean.reading >= 0 {
			om.Ask, om.Pass = m.readingAsk(by.Reading), bitsOf(mean.pass)
			om.Limit = limitText(om.Ask, by.AtLeast, by.AtMost)
		}
		s.Means = append(s.Means, om)
	}
	for _, r := range st.rules {
		s.Rules = append(s.Rules, OpenRule{m.Rules[r.rule].Text, openCond(&r.unless)})
	}
	for _, r := range st.Recovers {
		s.Recovers = append(s.Recovers, OpenRecovery{int(r.class), r.Rule.Text, list(r.first), list(r.reset)})
	}
	return s
}

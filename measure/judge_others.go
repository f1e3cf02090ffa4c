package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
)

// versusOthers holds each subject of a group against the median of the others.
func (t Task) versusOthers(g group, f evidence.Feature, a Ask, usable []evidence.Reading, family int) []evidence.Finding {
	o := CompareOptions{Versus: a.Versus, Level: t.Level, Family: family, Normal: a.Normal}
	c, err := Compare(f, usable, o)
	if err != nil {
		var out []evidence.Finding
		for _, rs := range bySubject(usable) {
			fd := base(f, a, rs)
			fd.State = evidence.NotJudged
			fd.Sentence = sentence(fmt.Sprintf("%s: %s %s; %s.", spokenSubject(rs[0].Subject), f.Name, show(fd0(rs), f), err))
			fd.Why = "One cylinder alone has no yardstick: the others are it."
			out = append(out, fd)
		}
		return out
	}
	all := t.allMeasured(f, len(c.Rows))
	c.all = all
	var out []evidence.Finding
	for _, r := range c.Rows {
		fd := base(f, a, r.Readings)
		fd.Value, fd.Sigma = fromSI(r.Value, f), step(r.ValueSD, f)
		fd.Effect, fd.EffectSigma = r.Effect, r.EffectSD
		fd.State, fd.More, fd.AllCompared = r.State, r.More, all
		once := f.PlacementCV > 0 && r.Placements < 2
		if once {
			fd.Flags = uniqueFlags(append(fd.Flags, evidence.PlacedOnce))
		}
		fd.Sentence = c.say(r)
		fd.Why = c.why(r)
		if d := c.Drift; d != nil && d.Established {
			fd.Flags = uniqueFlags(append(fd.Flags, evidence.Drifted))
			fd.Sentence += " " + c.sayDrift()
		}
		out = append(out, fd)
	}
	return out
}

func fd0(rs []evidence.Reading) float64 { return rs[len(rs)-1].Value.SI }

// base fills what every finding of a set of readings shares.
func base(f evidence.Feature, a Ask, rs []evidence.Reading) evidence.Finding {
	fd := evidence.Finding{
		Item: rs[0].Item, Test: a.Test, Feature: f.ID, Subject: rs[0].Subject, Unit: f.Unit,
		Value: fromSI(fd0(rs), f), Condition: rs[0].Condition, When: rs[0].When,
	}
	for _, r := range rs {
		fd.Flags = append(fd.Flags, r.Flags...)
		if r.From != (evidence.Source{}) {
			fd.From = append(fd.From, r.From)
		}
		if r.Instrument != "" && !slices.Contains(fd.Instruments, r.Instrument) {
			fd.Instruments = append(fd.Instruments, r.Instrument)
		}
	}
	fd.Flags = uniqueFlags(fd.Flags)
	return fd
}

// say is the sentence of one row.
func (c *Comparison) say(r Row) string {
	f := c.Feature
	who := spokenSubject(r.Subject)
	what := f.Name + " "
	if f.Amplitude {
		// No number in volts: the pickup's gain is not known.
		what += c.effect(r)
	} else {
		what += show(r.Value, f) + ", " + c.effect(r)
	}
	n := ""
	if r.N > r.Placements {
		n = fmt.Sprintf(" over %d firings", r.N)
	}
	often := howOften(r.Placements, f.PlacementCV > 0)
	spread := fmt.Sprintf("%s ± %s", c.number(r.Effect), c.width(r.EffectSD))
	switch {
	case len(c.Rows) == 2 && r.State == evidence.Normal:
		return fmt.Sprintf("%s: %s; the two agree (%s, %s%s).", who, what, spread, often, n)
	case r.WhichUnknown || len(c.Rows) == 2:
		return fmt.Sprintf("%s: %s (%s, %s%s); %s it cannot be said which is off. %s.", who, what, spread, often, n, c.few(), c.settles())
	case r.State == evidence.High || r.State == evidence.Low:
		return fmt.Sprintf("%s: %s; established (%s, %s%s, could be chance: %s).", who, what, spread, often, n, chance(r.PFamily))
	case r.State == evidence.Normal && r.Established:
		return fmt.Sprintf("%s: %s; a real difference, but too small to matter (%s, %s%s).", who, what, spread, often, n)
	case r.State == evidence.Normal:
		return fmt.Sprintf("%s: %s, like the others (%s, %s%s).", who, what, spread, often, n)
	}
	seen := c.seen(r.Effect)
	do := "measure it " + moreTimes(r.More)
	switch {
	case r.More == 0:
		do = "repeating will not settle it, another kind of test may"
	case f.PlacementCV > 0:
		do = "place it " + moreTimes(r.More)
	}
	if r.coarse() {
		do += ", at 1 MS/s or more: too few samples saw the crest"
	}
	if seen {
		return fmt.Sprintf("%s: %s; not established (%s, %s%s): %s.", who, what, spread, often, n, do)
	}
	return fmt.Sprintf("%s: %s; no difference seen, but one of %s could hide (%s%s): %s.", who, what, c.hidden(r), often, n, do)
}

// few says why it cannot be said which subject is off.
func (c *Comparison) few() string {
	plainly := 0
	for _, r := range c.Rows {
		if r.State == evidence.High || r.State == evidence.Low {
			plainly++
		}
	}
	switch {
	case len(c.Rows)-plainly > 2:
		return "the others do not agree either:"
	case plainly > 0:
		return "with two left to compare"
	}
	return "with two to compare"
}

// settles says what would tell which subject is off.
func (c *Comparison) settles() string {
	if c.all {
		return "Hold them against a limit"
	}
	return "Measure another " + string(c.Feature.Per)
}

func (c *Comparison) none() float64 {
	if c.Versus == Others {
		return 1
	}
	return 0
}

// effect puts the size of a difference in words.
func (c *Comparison) effect(r Row) string {
	if c.Versus == Difference {
		if strings.Trim(strings.Fields(showStep(math.Abs(r.Effect), c.Feature))[0], "0.") == "" {
			return "equal to the middle of the others"
		}
		dir := "above"
		if r.Effect < 0 {
			dir = "below"
		}
		return fmt.Sprintf("%s %s the middle of the others", showStep(math.Abs(r.Effect), c.Feature), dir)
	}
	d := r.Effect - 1
	switch {
	case math.Abs(d) < 0.005:
		return "equal to the middle of the others"
	case r.Effect >= 2:
		return fmt.Sprintf("%.1f times the middle of the others", r.Effect)
	case d > 0:
		return percent(d) + " above the middle of the others"
	}
	return percent(-d) + " below the middle of the others"
}

func (c *Comparison) number(e float64) string {
	if c.Versus == Difference {
		if s := showStep(e, c.Feature); !strings.HasPrefix(s, "-") || strings.Trim(strings.Fields(s)[0], "-0.") != "" {
			return s
		}
		return showStep(0, c.Feature)
	}
	return fmt.Sprintf("%.2f times", e)
}

func (c *Comparison) width(sd float64) string {
	if c.Versus == Difference {
		return showStep(1.96*sd, c.Feature)
	}
	return fmt.Sprintf("%.2f", 1.96*sd)
}

// hidden is the 95 % reach of one row, in words.
func (c *Comparison) hidden(r Row) string {
	reach := math.Max(math.Abs(r.High-c.none()), math.Abs(r.Low-c.none()))
	if c.Versus == Difference {
		return showStep(reach, c.Feature)
	}
	return percent(reach)
}

// why is the sentence for the apprentice.
func (c *Comparison) why(r Row) string {
	f := c.Feature
	if r.WhichUnknown {
		return "A difference has two ends: who is off can only be told where most of the others agree, or by a limit."
	}
	if r.State == evidence.Normal {
		return "Cylinders are held against each other, so a change that all of them share does not show here; hold the value against a limit to see that."
	}
	if f.Amplitude {
		return "The height of an uncalibrated pickup changes by 15 to 30 % each time it is laid on again; only what repeats over several placements belongs to the cylinder."
	}
	switch familyOf(f.ID) {
	case "ignition":
		return "Times and ratios from one placement do not depend on how the pickup lies, so a difference in them belongs to the cylinder."
	case "compression", "cylinder", "cranking":
		return "A cylinder that differs from its neighbours in the same minute with the same gauge differs in the engine, not in the gauge."
	}
	return "The other cylinders share battery, fuel and air with this one: what differs from them is this cylinder's own."
}

// sayDrift tells of the first cylinder measured again at the end.
func (c *Comparison) sayDrift() string {
	d := c.Drift
	change := percent(math.Abs(d.Change))
	if c.Versus == Difference {
		change = showStep(math.Abs(d.Change), c.Feature)
	}
	dir := "higher"
	if d.Change < 0 {
		dir = "lower"
	}
	return fmt.Sprintf("Careful: %s, measured again at the end, came out %s %s; conditions drifted, and that is counted in.", d.Subject, change, dir)
}

// chance writes a small probability.
func chance(p float64) string {
	if p < 0.001 {
		return "under 0.1 %"
	}
	return percent(p)
}

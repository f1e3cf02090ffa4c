package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/unit"
)

// worseLevel is the chance of a count by chance, corrected for picking the worst,
// below which one cylinder is called worse: the table of trade.md 3.2 is for 1 %.
const worseLevel = 0.01

// atLeastCounts is the count on one cylinder from which it is worth pursuing, however
// it came (trade.md 3.2: five in one cylinder, the others 0).
const atLeastCounts = 5

// tally is the count of one subject.
type tally struct {
	subject  evidence.Subject
	readings []evidence.Reading
	count    float64
	events   int // what the test is made on: episodes where they are known
	chances  float64
	known    bool // exposure known
}

// versusCounts compares misfire counts as shares of the whole.
//
// Is one cylinder really worse? If all were alike each event would fall on any of
// the m cylinders: the chance that the greatest count is this great is at most m
// times the binomial tail. The worst is tested first; once it is established the
// next is tested among the rest. Misfires come in bursts: where the episodes are
// known they are tested, not the single counts. Effect is the share, its
// uncertainty binomial.
func (t Task) versusCounts(g group, f evidence.Feature, a Ask, usable []evidence.Reading) []evidence.Finding {
	if f.Dim == unit.Percent {
		return t.typedShares(f, a, usable)
	}
	var ts []tally
	total, events, chances := 0.0, 0, 0.0
	exposed, bursts := true, true
	for _, rs := range bySubject(usable) {
		ta := tally{subject: rs[0].Subject, readings: rs, known: true}
		episodes := 0
		for _, r := range rs {
			ta.count += r.Value.SI
			ta.chances += r.Opportunities
			ta.known = ta.known && r.Opportunities > 0
			episodes += r.Episodes
			bursts = bursts && (r.Episodes > 0 || r.Value.SI == 0)
		}
		ta.events = episodes
		exposed = exposed && ta.known
		total += ta.count
		chances = math.Max(chances, ta.chances)
		ts = append(ts, ta)
	}
	for i := range ts {
		if !bursts {
			ts[i].events = int(math.Floor(ts[i].count + 1e-9))
		}
		events += ts[i].events
	}
	m := len(ts)
	all := t.allMeasured(f, m)
	worse := worseOf(ts)
	var out []evidence.Finding
	for i, ta := range ts {
		fd := base(f, a, ta.readings)
		fd.Value, fd.AllCompared = ta.count, all
		share := 1 / float64(max(m, 1))
		n := float64(events)
		if total > 0 {
			share = ta.count / total
		}
		// The yardstick is this cylinder beside the sound ones: another one that is
		// worse too has its own finding and must not make this one look better.
		beside, besideEvents := share, n
		if total > 0 {
			restCount, restEvents := total, n
			for j, other := range ts {
				if j != i && worse[j] {
					restCount -= other.count
					restEvents -= float64(other.events)
				}
			}
			if restCount > 0 {
				beside, besideEvents = ta.count/restCount, math.Max(restEvents, 0)
			}
		}
		p := (beside*besideEvents + 0.5) / (besideEvents + 1)
		fd.Effect, fd.EffectSigma = beside, math.Sqrt(p*(1-p)/(besideEvents+1))
		fd.Sigma = math.Sqrt(math.Max(ta.count, 1))
		rate := ""
		if ta.known {
			rate = fmt.Sprintf(" in %.0f firings of the cylinder (%.2g %%)", ta.chances, 100*ta.count/ta.chances)
		}
		what := "misfires"
		if f.ID == "misfire.ewma" {
			what = "in the weighted register"
			rate = fmt.Sprintf(", at least %.0f counts in all", CountsBehindRegister(ta.count))
		}
		who := spokenSubject(ta.subject)
		fd.Why = "Misfires are only worth comparing with the other cylinders of the same drive: how many there are depends on how it was driven."
		switch {
		case total == 0 && !exposed:
			fd.State = evidence.NotJudged
			fd.Flags = uniqueFlags(append(fd.Flags, evidence.NoExposure))
			fd.Sentence = fmt.Sprintf("%s: no %s counted on any cylinder, but it is not noted over how many revolutions under the fault conditions; that says nothing.", who, what)
			fd.Why = "No misfire is only good news if the engine was driven the way the fault needs; after a clear the counter is zero too."
		case total == 0:
			upper, _ := stats.RuleOfThree(int(math.Max(1, ta.chances)), 0.95)
			fd.State = evidence.Normal
			fd.Sentence = fmt.Sprintf("%s: no %s in %.0f firings; under %.2g %% at 95 %%, under these conditions.", who, what, ta.chances, 100*upper)
			fd.Why = "Nothing in n tries leaves room for about 3 in n: the rule of three."
		case m < 2:
			fd.State = evidence.NotJudged
			fd.Sentence = fmt.Sprintf("%s: %s %s%s; the other cylinders' counts are missing, so it is not known whether it stands out.", who, plain(ta.count), what, rate)
		case worse[i]:
			fd.State = evidence.High
			fd.Sentence = fmt.Sprintf("%s: %s of %s %s%s, %s of the whole; more than chance would put on one of %d sound cylinders.", who, plain(ta.count), plain(total), what, rate, percent(share), m)
		case share > muchOf(m) && (ta.events >= 3 || ta.count >= atLeastCounts):
			fd.State = evidence.NotEstablished
			fd.More = 1
			fd.Sentence = fmt.Sprintf("%s: %s of %s %s%s, %s of the whole; not established: %s could be chance on one of %d cylinders. Drive it again under the fault conditions.", who, plain(ta.count), plain(total), what, rate, percent(share), soFew(ta.count, float64(ta.events)), m)
		case ta.count == 0 && f.ID == "misfire.ewma":
			fd.State = evidence.Normal
			fd.Sentence = fmt.Sprintf("%s: nothing in the weighted register.", who)
		case ta.count == 0:
			fd.State = evidence.Normal
			fd.Sentence = fmt.Sprintf("%s: none of %s %s%s.", who, plain(total), what, rate)
		case share > muchOf(m):
			fd.State = evidence.Normal
			fd.Sentence = fmt.Sprintf("%s: %s of %s %s%s, so few that chance explains them.", who, plain(ta.count), plain(total), what, rate)
		default:
			fd.State = evidence.Normal
			fd.Sentence = fmt.Sprintf("%s: %s of %s %s%s, no more than its share.", who, plain(ta.count), plain(total), what, rate)
		}
		if bursts && total > 0 && ta.count > float64(ta.events) && fd.State != evidence.NotEstablished { // there it is said already
			fd.Sentence += fmt.Sprintf(" They came in %s.", plural(ta.events, "one burst", "%d bursts"))
		}
		if f.ID == "misfire.ewma" {
			fd.Why = "The register keeps 0.9 of itself each drive cycle: after ten clean cycles 35 % is still there, so it shows what was, not what is."
		}
		out = append(out, fd)
	}
	return out
}

// worseOf marks the tallies that are established as worse than the rest.
func worseOf(ts []tally) []bool {
	out := make([]bool, len(ts))
	left := 0
	for _, t := range ts {
		left += t.events
	}
	all := left
	for rest := len(ts); rest >= 2; rest-- {
		top := -1
		for i, t := range ts {
			if !out[i] && (top < 0 || t.events > ts[top].events) {
				top = i
			}
		}
		// A tenth of all is what the regulation calls a second cylinder (40 CFR
		// 86.010-18 (h)(2)(i)(C)).
		if stats.WorstOfEqual(ts[top].events, left, rest) >= worseLevel || 10*ts[top].events <= all {
			break
		}
		out[top] = true
		left -= ts[top].events
	}
	return out
}

// typedShares handles shares that were typed as such: without the counts behind
// them it cannot be said whether chance explains them. The effect is the share; its
// uncertainty is that of 20 counts (our choice).
func (t Task) typedShares(f evidence.Feature, a Ask, usable []evidence.Reading) []evidence.Finding {
	groups := bySubject(usable)
	all := t.allMeasured(f, len(groups))
	var out []evidence.Finding
	for _, rs := range groups {
		fd := base(f, a, rs)
		p := math.Min(1, math.Max(0, fd0(rs)/100))
		fd.Effect, fd.EffectSigma = p, math.Sqrt((p*20+0.5)/21*(1-(p*20+0.5)/21)/21)
		fd.AllCompared = all
		fd.State = evidence.Normal
		fd.Why = "A share says nothing about how many there were: one misfire of one is 100 %."
		fd.Sentence = fmt.Sprintf("%s: %s of all misfires.", spokenSubject(rs[0].Subject), percent(p))
		if m := max(t.Engine.Cylinders, len(groups), 2); p > 2/float64(m) {
			fd.State, fd.More = evidence.NotEstablished, 1
			fd.Sentence = fmt.Sprintf("%s: %s of all misfires; not established without the counts behind it. Write the counts of all cylinders.", spokenSubject(rs[0].Subject), percent(p))
		}
		out = append(out, fd)
	}
	return out
}

// muchOf is the share of all counts from which one of m cylinders has more than its own
// to speak of: twice its own, or half way from that to all where only few were counted.
// Our choice.
func muchOf(m int) float64 {
	own := 1 / float64(m)
	return math.Min(2*own, (1+own)/2)
}

// soFew says why a count is too small to settle which cylinder it is: misfires
// that come in bursts count as episodes, however many there are in one.
func soFew(count, episodes float64) string {
	if episodes == 1 && count > 1 {
		return "they came in one burst, and a single one"
	}
	if episodes > 0 && episodes < count {
		return fmt.Sprintf("they came in %s bursts, and so few", plain(episodes))
	}
	return "so few"
}

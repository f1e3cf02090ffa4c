package shop

import (
	"fmt"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/reason"
	"proveout/vehicle"
)

// forFiles stands between what is said to everybody and the hint for whoever writes the
// job file, which the command line alone prints.
const forFiles = "\x00"

// headline sums the answer up in one or two sentences. It never says more than
// the states allow: nothing is called shown that no direct test showed.
func headline(w *work, r *reason.Answer) string {
	if len(r.Suspects) == 0 {
		return "No suspect is known for this vehicle: no fault book fits and the job brings none of its own. The findings below stand for themselves."
	}
	var shown, repaired, word, stays []string
	for i := range r.Suspects {
		switch s := &r.Suspects[i]; s.State {
		case reason.Shown:
			if !s.WasShown() {
				word = append(word, fmt.Sprintf("%s (the readings give it %s)", suspectWords(s), percent(s.Chance)))
				continue
			}
			if s.Stays != "" {
				stays = append(stays, shownWords(r, s))
				continue
			}
			shown = append(shown, shownWords(r, s))
		case reason.Repaired:
			repaired = append(repaired, shownWords(r, &r.Suspects[i]))
		}
	}
	switch {
	case len(shown) == 0 && len(repaired) > 0:
		return "Shown by direct test and put right: " + strings.Join(repaired, "; ") + ". The complaint is gone; that it stays away is not proven yet." + forFiles + "proveout prove says how far it is"
	case len(repaired) > 0:
		return "Shown by direct test: " + strings.Join(shown, "; ") + ". Put right already: " + strings.Join(repaired, "; ") + "."
	case len(stays) > 0:
		return fmt.Sprintf("Shown by direct test and put right, and the complaint stays: %s. Something else is wrong as well, or what was fitted is bad too.", strings.Join(stays, "; "))
	case len(shown) > 0:
		return "Shown by direct test: " + strings.Join(shown, "; ") + "."
	case len(word) > 0:
		return "Shown by word, by no direct test: " + strings.Join(word, "; ") + "."
	}
	top := leader(r)
	switch {
	case w.noComplaint(r):
		return "No symptom is stated, so the odds start from a sound vehicle and nothing stands out. The findings stand for themselves." + forFiles + "complaint.symptoms in the job file; \"proveout book show\" lists them"
	case r.NothingWrong > top.Chance && r.NothingWrong > r.NotListed:
		return fmt.Sprintf("Nothing is found wrong so far (%s). Nothing is proven either: drive the fault conditions before saying so.", percent(r.NothingWrong))
	case r.NotListed > top.Chance && r.NotListed > 0.3:
		return fmt.Sprintf("What was read fits none of the listed suspects well; something not listed is the likeliest (%s). Nothing is shown.", percent(r.NotListed))
	case len(r.Group) > 1 && r.GroupText != "" && groupSize(r) <= 4:
		return fmt.Sprintf("%s (%s). Nothing is shown.", upperFirst(strings.TrimSuffix(r.GroupText, ".")), percent(groupChance(r)))
	case top.Chance >= 0.5 && strings.HasPrefix(top.Reason, notShown):
		return fmt.Sprintf("Most likely: %s (%s), not shown yet: %s", suspectWords(top), percent(top.Chance), strings.TrimSpace(strings.TrimPrefix(top.Reason, notShown)))
	case top.Chance >= 0.5:
		return fmt.Sprintf("Most likely: %s (%s), not shown: no direct test of the part has been done.", suspectWords(top), percent(top.Chance))
	}
	second := ""
	for i := range r.Suspects {
		if s := &r.Suspects[i]; s != top && s.State != reason.RuledOut {
			second = fmt.Sprintf(", then %s (%s)", suspectWords(s), percent(s.Chance))
			break
		}
	}
	return strings.TrimSpace(fmt.Sprintf("No suspect stands out yet. First: %s (%s)%s. %s", suspectWords(top), percent(top.Chance), second, pointsTo(r)))
}

// noComplaint reports whether there is nothing to search for: no symptom is
// stated and no finding makes a suspect likelier than a sound vehicle.
func (w *work) noComplaint(r *reason.Answer) bool {
	for i := range r.Suspects {
		if s := r.Suspects[i].State; s == reason.Shown || s == reason.Repaired {
			return false
		}
	}
	return len(r.Suspects) > 0 && len(w.resolved.Complaint.Symptoms) == 0 && r.NothingWrong > leader(r).Chance
}

// pointsTo sums the chances of one system on one cylinder or bank up, and names
// the one that the findings have raised most: it is what a technician would say
// when no single part stands out. Empty when nothing was raised to speak of.
func pointsTo(r *reason.Answer) string {
	type key struct {
		system  string
		subject evidence.Subject
	}
	type sum struct {
		now, before float64
		parts       []string
	}
	sums, order := map[key]*sum{}, []key{}
	for i := range r.Suspects {
		s := &r.Suspects[i]
		if s.Suspect.Component.System == "" || s.Suspect.Subject.Kind == evidence.Engine || s.State == reason.RuledOut {
			continue
		}
		k := key{s.Suspect.Component.System, s.Suspect.Subject}
		t := sums[k]
		if t == nil {
			t = &sum{}
			sums[k] = t
			order = append(order, k)
		}
		t.now += s.Chance
		t.before += s.Before
		if n := s.Suspect.Component.Name; s.Chance >= 0.01 && !slices.Contains(t.parts, n) {
			t.parts = append(t.parts, n)
		}
	}
	var best key
	lift := 1.4 // our choice: less is not worth a sentence
	for _, k := range order {
		if t := sums[k]; t.now >= 0.08 && t.before > 0 && t.now/t.before > lift {
			best, lift = k, t.now/t.before
		}
	}
	if best.system == "" || len(sums[best].parts) == 0 {
		return ""
	}
	t := sums[best]
	article := "a"
	if strings.ContainsRune("aeiou", rune(best.system[0])) {
		article = "an"
	}
	parts := t.parts[0]
	if n := len(t.parts); n > 1 {
		parts = strings.Join(t.parts[:n-1], ", ") + " or " + t.parts[n-1] + ", not yet separated"
	}
	return fmt.Sprintf("The findings point most to %s %s part of %s (%s): from %s to %s.", article, best.system, best.subject, parts, percent(t.before), percent(t.now))
}

// notShown is how package reason begins the reason of a suspect that a direct
// test speaks for without showing it.
const notShown = "Suspected, not shown:"

// leader is the likeliest suspect that nobody has ruled out.
func leader(r *reason.Answer) *reason.SuspectAnswer {
	for i := range r.Suspects {
		if r.Suspects[i].State != reason.RuledOut {
			return &r.Suspects[i]
		}
	}
	return &r.Suspects[0]
}

// shownWords names what is shown: the way it failed where that is clear, else
// the part alone.
func shownWords(r *reason.Answer, s *reason.SuspectAnswer) string {
	rest := 0.0
	for i := range r.Suspects {
		if o := &r.Suspects[i]; o != s && o.Suspect.Component == s.Suspect.Component && o.Suspect.Subject == s.Suspect.Subject {
			rest += o.Chance
		}
	}
	if rest < 0.1 || rest < 0.1*s.Chance {
		return suspectWords(s)
	}
	name := s.Suspect.Component.Name
	if s.Suspect.Subject.Kind != evidence.Engine {
		name += ", " + s.Suspect.Subject.String()
	}
	return name + " (which way it failed is not separated; likeliest: " + s.Suspect.Fault.Name + ")"
}

// groupSize counts the different parts in the group: a long list of parts tells
// a person nothing.
func groupSize(r *reason.Answer) int {
	seen := map[string]bool{}
	for _, id := range r.Group {
		for i := range r.Suspects {
			if s := r.Suspects[i].Suspect; s.ID == id {
				seen[s.Component.ID+s.Subject.Key()] = true
			}
		}
	}
	return len(seen)
}

func groupChance(r *reason.Answer) float64 {
	sum := 0.0
	for _, id := range r.Group {
		for i := range r.Suspects {
			if r.Suspects[i].Suspect.ID == id {
				sum += r.Suspects[i].Chance
			}
		}
	}
	return min(sum, 1)
}

// percent writes a reckoned chance, led by the sign for "worked out", never as
// a bare 0 or 100.
func percent(x float64) string {
	switch {
	case x > 0.99:
		return "≈ over 99 %"
	case x < 0.01:
		return "≈ under 1 %"
	}
	return fmt.Sprintf("≈ %.0f %%", 100*x)
}

// engineWords says what the engine is.
func engineWords(e vehicle.Engine) string {
	parts := []string{fmt.Sprintf("%d cylinders", e.Cylinders)}
	if e.Arrangement != "" {
		parts[0] += " " + e.Arrangement
	}
	if e.Ignition != "" && e.Ignition != vehicle.NoIgnition {
		parts = append(parts, strings.ReplaceAll(string(e.Ignition), "_", " "))
	}
	if e.Injection != "" {
		parts = append(parts, string(e.Injection)+" injection")
	}
	if e.Boosted {
		parts = append(parts, "boosted")
	}
	return strings.Join(parts, ", ")
}

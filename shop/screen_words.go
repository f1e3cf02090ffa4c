package shop

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// stepNamed is a step by its id, as the runner writes it for whoever reads the record.
var stepNamed = regexp.MustCompile(`([Ss]tep )"([^"]+)"`)

// inWords names steps in a sentence by what they say to do, as a screen does.
func inWords(m *procedure.Machine, s string) string {
	return stepNamed.ReplaceAllStringFunc(s, func(x string) string {
		part := stepNamed.FindStringSubmatch(x)
		i, ok := m.StepIndex(part[2])
		if !ok {
			return x
		}
		return part[1] + `"` + firstSentence(m.Steps[i].Do) + `"`
	})
}

// firstSentence is what a step's text begins with, without its full stop.
func firstSentence(s string) string {
	first, _, _ := strings.Cut(strings.TrimSpace(s), ". ")
	return strings.TrimRight(first, ".")
}

// inWords puts what the runner says into the words of the screen. Who made a step fail
// stands in the run's own record: no id of a person belongs on a mark that stays.
func (s *Screen) inWords(m *procedure.Machine, failed []runner.Failure) {
	plain := len(s.Dangers) - len(failed)
	for i, f := range failed {
		if at := plain + i; at >= 0 {
			s.Dangers[at] = fmt.Sprintf("Do not drive: step %q failed (%s; %s) and has not been shown right since.", f.Step, f.Why, time.Unix(0, f.At.Wall).UTC().Format("2006-01-02 15:04 UTC"))
		}
	}
	lists := append([][]string{s.Dangers, s.WhyNot, s.Ways, s.WayOut}, s.Leave...)
	for i := range s.NotYet {
		lists = append(lists, s.NotYet[i].Why)
	}
	for _, l := range lists {
		for i := range l {
			l[i] = inWords(m, l[i])
		}
	}
	for i := range s.KeepOff {
		s.KeepOff[i].Text = inWords(m, s.KeepOff[i].Text)
	}
}

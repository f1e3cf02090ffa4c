package shop

import (
	"fmt"
	"slices"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/job"
	"proveout/obd"
)

// storedCodes are the codes a session holds from before any clear.
type storedCodes struct {
	codes []string
	from  evidence.Source
}

// readCodes collects them. A list that was never read answers nothing: no code is
// not the same as codes not asked for. Lists read after a clear say nothing about
// the fault and are passed over.
func readCodes(file string, s *obd.Session) *storedCodes {
	if s.MixedVehicles {
		return nil
	}
	var out *storedCodes
	for _, m := range s.Modules {
		for _, l := range m.Codes {
			if l.Clears > 0 {
				continue
			}
			if out == nil {
				out = &storedCodes{from: evidence.Source{File: file, Channel: m.Address, First: l.Source.Record, Last: l.Source.Last, Line: l.Source.Line}}
			}
			for _, code := range l.Codes {
				code.HasFailure = false
				if !slices.Contains(out.codes, code.String()) {
					out.codes = append(out.codes, code.String())
				}
			}
		}
	}
	return out
}

// codeFindings answers the tests that ask for trouble codes (book.Test.Codes).
func (w *work) codeFindings(c job.CaptureFile, stored *storedCodes) {
	for _, t := range w.instance.Tests {
		if t.Test.Codes != nil {
			w.findings = append(w.findings, codeFinding(t, stored.codes, c, stored.from))
		}
	}
}

// countedCodes is how many codes a module says it stores.
type countedCodes struct {
	module string
	lamp   bool
	codes  int
}

// countCodes tells which modules count codes, and which had their codes read.
func countCodes(s *obd.Session) (counted []countedCodes, listed []string) {
	for _, m := range s.Modules {
		if len(m.Codes) > 0 {
			listed = append(listed, m.Address)
		}
		if r := m.LatestReadiness(0x01); r != nil && (r.MIL || r.CodeCount > 0) {
			counted = append(counted, countedCodes{m.Address, r.MIL, r.CodeCount})
		}
	}
	return counted, listed
}

// unreadCodes warns when a module counts codes that no capture of the job reads:
// they, and the freeze frame, are gone with the first clear, and they cost
// minutes where a test costs an hour.
func (w *work) unreadCodes() {
	for i, m := range w.counted {
		if slices.Contains(w.listed, m.module) || slices.ContainsFunc(w.counted[:i], func(o countedCodes) bool { return o.module == m.module }) {
			continue
		}
		lamp := "has its warning lamp off"
		if m.lamp {
			lamp = "has its warning lamp on"
		}
		w.answer.Cautions = append(w.answer.Cautions, CautionAnswer{Word: "NOTICE", Text: fmt.Sprintf(
			"Module %s %s and counts %d code%s, which were not read. Clearing would destroy them: read and save the codes and the freeze frame first.", m.module, lamp, m.codes, plural(m.codes))})
		w.answer.First = append(w.answer.First, fmt.Sprintf("Read and save the codes and the freeze frame of module %s.", m.module))
	}
}

func codeFinding(t book.TestAt, stored []string, c job.CaptureFile, from evidence.Source) evidence.Finding {
	f := evidence.Finding{
		ID: t.ID, Item: c.Item, Test: t.Test.ID, Subject: t.Subject, Outcome: t.Test.Codes.None, State: evidence.Normal,
		When: c.When, From: []evidence.Source{from}, SetAside: c.SetAside != "", Why: t.Test.Says,
	}
	if f.When == "after" {
		f.ID += "/after"
	}
	if f.SetAside {
		f.ID += "/set-aside"
	}
	said := "no code for it is stored."
	for _, m := range t.Test.Codes.Match {
		code := strings.NewReplacer("nn", fmt.Sprintf("%02d", t.Subject.Number), "n", fmt.Sprint(t.Subject.Number)).Replace(m)
		if slices.Contains(stored, code) {
			f.Outcome, f.State = t.Test.Codes.Found, evidence.Abnormal
			said = code + " is stored."
			break
		}
	}
	f.Sentence = upperFirst(fmt.Sprintf("%s, %s: %s", t.Subject, t.Test.Name, said))
	return f
}

package shop

import (
	"fmt"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/job"
)

// taken is a capture with what it says.
type taken struct {
	c       job.CaptureFile
	m       measured
	silent  bool // counts nothing
	because string
}

// sameBytes lets a recording count once. Kept again as the same thing it is no second
// look; kept as another cylinder, condition or side of the repair, one of the two is
// wrong, nobody can know which, and neither counts until one is set aside. A file may be
// kept twice for different channels.
func sameBytes(all []taken) {
	for i := range all {
		for j := range i {
			a, b := &all[j], &all[i]
			if a.m.sha256 == "" || a.m.sha256 != b.m.sha256 || a.c.SetAside != "" || b.c.SetAside != "" || !a.m.read || !sameStretch(a.m.readings, b.m.readings) {
				continue
			}
			if !sameClaim(a, b) {
				why := fmt.Sprintf("items %d and %d are the same file, byte for byte, and are said to be different things (%s; %s): neither counts until one of them is set aside", a.c.Item, b.c.Item, claim(a.c), claim(b.c))
				a.silence(why)
				b.silence(why)
			} else if !a.silent {
				b.silence(fmt.Sprintf("the same file as item %d, byte for byte: it counts once, as that item", a.c.Item))
			}
		}
	}
	for i := range all {
		if t := &all[i]; t.silent {
			t.m.readings, t.m.notMeasured, t.m.codes, t.m.counted, t.m.listed = nil, nil, nil, nil, nil
			t.m.leaveOut(t.c.Line, t.because)
			t.m.itemNotes = append(t.m.itemNotes, "not counted: "+t.because)
		}
	}
}

// silence keeps the first reason.
func (t *taken) silence(why string) {
	if !t.silent {
		t.silent, t.because = true, why
	}
}

// sameStretch reports whether two items read the same feature off the same samples. Items
// that read nothing cannot be told apart.
func sameStretch(a, b []evidence.Reading) bool {
	if len(a) == 0 || len(b) == 0 {
		return len(a) == len(b)
	}
	return slices.ContainsFunc(a, func(x evidence.Reading) bool {
		return slices.ContainsFunc(b, func(y evidence.Reading) bool {
			return x.Feature == y.Feature && x.From.Channel == y.From.Channel && x.From.First <= y.From.Last && y.From.First <= x.From.Last
		})
	})
}

func sameClaim(a, b *taken) bool {
	return a.c.Subject == b.c.Subject && a.c.When == b.c.When && a.c.Condition.State == b.c.Condition.State
}

// claim is what an item is said to be.
func claim(c job.CaptureFile) string {
	parts := []string{c.Subject.String()}
	if c.Condition.State != "" {
		parts = append(parts, string(c.Condition.State))
	}
	if c.When != "" {
		parts = append(parts, c.When+" the repair")
	}
	return strings.Join(parts, ", ")
}

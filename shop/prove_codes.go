package shop

import (
	"fmt"
	"slices"
	"strings"

	"proveout/obd"
	"proveout/proof"
)

// codes compares what the modules stored before and after the repair. A code that
// was never erased says nothing when it is still there.
func (p *proving) codes() {
	out := &p.out.Codes
	out.Erased = p.resolved.Proof.Erased
	if out.Erased == "no" {
		out.Erased = ""
	}
	for _, r := range p.sessions {
		if r.capture.SetAside != "" || r.session.MixedVehicles {
			continue
		}
		read := codesRead(r.capture.Item, r.session, r.capture.When == "after")
		if read == nil {
			continue
		}
		if r.capture.When != "after" {
			if out.Before == nil { // the first: read before anything was touched
				out.Before = read
			}
			continue
		}
		out.After = read
		for _, c := range r.session.Clears {
			if c.Outcome == obd.Accepted && out.Erased == "" {
				out.Erased = "yes"
				out.Notes = append(out.Notes, fmt.Sprintf("The codes were erased within item %d.", r.capture.Item))
			}
		}
	}
	if out.Before == nil || out.After == nil {
		return
	}
	had := append(append(slices.Clone(out.Before.Confirmed.Codes), out.Before.Pending.Codes...), out.Before.Permanent.Codes...)
	for _, c := range append(slices.Clone(out.After.Confirmed.Codes), out.After.Pending.Codes...) {
		switch {
		case !slices.Contains(had, c):
			if !slices.Contains(out.New, c) {
				out.New = append(out.New, c)
			}
		case out.Erased != "":
			if !slices.Contains(out.Back, c) {
				out.Back = append(out.Back, c)
			}
		default:
			out.Notes = append(out.Notes, c+" is still stored. It is not said that the codes were erased after the repair (proof.erased), so it says nothing yet.")
		}
	}
	p.c.CodeBack = strings.Join(out.Back, ", ")
}

// codesRead sums up the codes and monitors of all modules of a session; nil when
// neither was read. After the repair only the lists read last count.
func codesRead(item int, s *obd.Session, last bool) *CodesRead {
	out := &CodesRead{Item: item, MonitorsOpen: []string{}, MonitorsDone: []string{}}
	any := false
	for _, m := range s.Modules {
		for kind, to := range map[obd.CodeKind]*CodesList{obd.Confirmed: &out.Confirmed, obd.Pending: &out.Pending, obd.Permanent: &out.Permanent} {
			l := firstCodes(m, kind)
			if last {
				l = m.Latest(kind)
			}
			if l == nil {
				continue
			}
			any, to.Read = true, true
			for _, c := range l.Codes {
				if !slices.Contains(to.Codes, c.String()) {
					to.Codes = append(to.Codes, c.String())
				}
			}
		}
		if r := m.LatestReadiness(0x01); r != nil {
			any, out.LampRead, out.MonitorsRead = true, true, true
			out.Lamp = out.Lamp || r.MIL
			for _, mon := range r.Monitors {
				if !mon.Supported {
					continue
				}
				to := &out.MonitorsOpen
				if mon.Complete {
					to = &out.MonitorsDone
				}
				if !slices.Contains(*to, mon.Name) {
					*to = append(*to, mon.Name)
				}
			}
		}
	}
	if !any {
		return nil
	}
	for _, l := range []*CodesList{&out.Confirmed, &out.Pending, &out.Permanent} {
		if l.Codes == nil {
			l.Codes = []string{}
		}
	}
	// A monitor of one module that is open is open, whatever another says.
	out.MonitorsDone = slices.DeleteFunc(out.MonitorsDone, func(n string) bool { return slices.Contains(out.MonitorsOpen, n) })
	return out
}

func firstCodes(m *obd.Module, k obd.CodeKind) *obd.CodeList {
	for i := range m.Codes {
		if m.Codes[i].Kind == k {
			return &m.Codes[i]
		}
	}
	return nil
}

// permanentDrive says whether a drive after the repair meets what a module needs
// to erase a permanent code by itself.
func (p *proving) permanentDrive() string {
	best := ""
	for _, l := range p.c.After {
		d, ok := proof.GeneralDrive(l)
		if !ok {
			continue
		}
		met, why := d.Met()
		if met {
			return "A drive after the repair meets what permanent codes ask for (10 min running, 5 min at 40 km/h or more, 30 s of idle)."
		}
		best = "No drive after the repair meets what permanent codes ask for yet; " + why + "."
	}
	return best
}

// CodesSentence says what one read-out of codes held.
func CodesSentence(r *CodesRead) string {
	list := func(name string, l CodesList) string {
		switch {
		case !l.Read:
			return name + " not read"
		case len(l.Codes) == 0:
			return name + " none"
		}
		return name + " " + strings.Join(l.Codes, ", ")
	}
	parts := []string{list("stored", r.Confirmed), list("pending", r.Pending), list("permanent", r.Permanent)}
	if r.LampRead {
		lamp := "lamp off"
		if r.Lamp {
			lamp = "lamp on"
		}
		parts = append(parts, lamp)
	}
	switch {
	case !r.MonitorsRead:
		parts = append(parts, "monitors not read")
	case len(r.MonitorsOpen) > 0:
		parts = append(parts, "monitors not run yet: "+strings.Join(r.MonitorsOpen, ", "))
	default:
		parts = append(parts, "all monitors complete")
	}
	return strings.Join(parts, "; ")
}

package reason

// decision is what would be told and done: the leader, the suspects not yet
// separated from it, and whether the search ends.
type decision struct {
	leader int
	group  uint64
	ends   bool
}

const (
	leaderNothing = -1
	leaderOther   = -2
)

func (e *Engine) decision(chance []float64, none, other float64) decision {
	best, at := 0.0, 0
	for i, p := range chance {
		if p > best && !e.away[i] {
			best, at = p, i
		}
	}
	d := decision{leader: at}
	if none > best {
		d.leader, best = leaderNothing, none
	}
	if other > best {
		d.leader = leaderOther
	}
	if best < e.m.limits.SuspectedAt {
		return d
	}
	for i, p := range chance {
		if p >= best*e.m.limits.GroupRatio && !e.away[i] {
			d.group = d.group*1099511628211 + uint64(i) + 14695981039346656037
		}
	}
	return d
}

// endsWith reports whether the stop rule holds after outcome o: a part, all its
// ways of failing together, at or above the stop chance, and shown by this
// outcome or by a direct finding had before.
func (e *Engine) endsWith(k, o int, after []float64) bool {
	stop := e.m.limits.StopAt
	for i, p := range after {
		if p < e.m.limits.SuspectedAt || e.spent[i] || e.away[i] || !e.nearly[i] && !e.proves(k, o, i) {
			continue
		}
		of, sum := partOf(&e.m.in.Suspects[i]), 0.0
		for j, q := range after {
			if partOf(&e.m.in.Suspects[j]) == of {
				sum += q
			}
		}
		if sum >= stop {
			return true
		}
	}
	return false
}

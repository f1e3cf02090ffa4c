package measure

// signal is a channel that may have been recorded upside down: it is turned over
// where it is looked at, since a copy would take as much memory again.
type signal struct {
	v    []float64
	down bool
}

func (s signal) at(i int) float64 {
	if s.down {
		return -s.v[i]
	}
	return s.v[i]
}

// sum of samples from..to-1.
func (s signal) sum(from, to int) float64 {
	sum := 0.0
	for _, x := range s.v[from:to] {
		sum += x
	}
	if s.down {
		return -sum
	}
	return sum
}

// part is samples from..to-1, not to be changed.
func (s signal) part(from, to int) []float64 {
	if s.down {
		return scaledBy(s.v[from:to], -1)
	}
	return s.v[from:to]
}

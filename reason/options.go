package reason

func (o Options) withDefaults() Options {
	if o.MaxFaults <= 0 || o.MaxFaults > 3 {
		o.MaxFaults = 3
	}
	if o.Rank == "" {
		o.Rank = ByEnding
	}
	if o.Tests == 0 {
		o.Tests = 8
	}
	if o.Limits == nil {
		l := DefaultLimits()
		o.Limits = &l
	}
	return o
}

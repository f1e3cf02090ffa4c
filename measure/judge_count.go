package measure

import "proveout/evidence"

func (t Task) versusCounts(g group, f evidence.Feature, a Ask, usable []evidence.Reading) []evidence.Finding {
	return nil
}

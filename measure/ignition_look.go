package measure

import "proveout/trace"

// looksLikeIgnition tries the first channel that could be one: its pulses must
// have the shape of sparks. The text says what it went by or what spoke against.
func looksLikeIgnition(rec *trace.Recording, meta Meta) (bool, string) {
	text := ""
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		subject, use := ignitionChannel(ch, meta)
		if !use {
			continue
		}
		w, ok := newWave(rec, ch)
		if !ok {
			continue
		}
		g := &ignition{readout: readout{meta: meta}, ch: ch, subject: subject, w: w}
		why, _, _ := g.find()
		if why == "" && len(g.sparks) >= 3 {
			return true, "channel " + ch.Name + " has firing lines followed by spark lines"
		}
		if why == "" {
			why = "too few pulses to tell"
		}
		text = "channel " + ch.Name + ": " + why
	}
	return false, text
}

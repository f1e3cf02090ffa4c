package shop

import (
	"fmt"
	"strings"

	"proveout/obd"
	"proveout/proof"
)

// conditions settles the fault conditions: what the proof entry says, else the
// freeze frame, else what the customer said. Each part comes from the first that
// has it, and the answer says which.
func (p *proving) conditions() {
	w, said := p.resolved.Proof, p.resolved.Complaint
	frame, frameFrom := p.freezeFrame()
	how := proof.Points
	if w.Relative {
		how = proof.Relative
	}
	var rpm, load struct{ low, high, point float64 }
	var from sources
	note := from.note
	typed := "what was typed in"
	if w.From != "" {
		typed = w.From
	}
	switch {
	case w.RpmPoint && w.RpmHigh > 0:
		rpm.point = w.RpmHigh
		note("engine speed", typed)
	case w.RpmHigh > 0:
		rpm.low, rpm.high = w.RpmLow, w.RpmHigh
		note("engine speed", typed)
	case frame["engine_speed"] > 0:
		rpm.point = frame["engine_speed"]
		note("engine speed", frameFrom)
	case said.RpmHigh > said.RpmLow:
		rpm.low, rpm.high = said.RpmLow, said.RpmHigh
		note("engine speed", "the complaint")
	case said.RpmHigh > 0:
		rpm.point = said.RpmHigh
		note("engine speed", "the complaint")
	}
	switch {
	case w.LoadPoint && w.LoadHigh > 0:
		load.point = w.LoadHigh
		note("load", typed)
	case w.LoadHigh > 0:
		load.low, load.high = w.LoadLow, w.LoadHigh
		note("load", typed)
	case frame["calculated_load"] > 0:
		load.point = frame["calculated_load"]
		note("load", frameFrom)
	case said.LoadHigh > said.LoadLow:
		load.low, load.high = said.LoadLow, said.LoadHigh
		note("load", "the complaint")
	case said.LoadHigh > 0:
		load.point = said.LoadHigh
		note("load", "the complaint")
	}
	if rpm.point == 0 && rpm.high == 0 || load.point == 0 && load.high == 0 {
		p.out.Conditions.Text = "not known: there is no freeze frame with engine speed and load before the repair, and nobody has said them"
		p.out.Conditions.Hint = "proof.conditions: {rpm: 2400, load_pct: 80}"
		return
	}
	c := proof.Around(rpm.point, load.point, how)
	if rpm.point == 0 {
		c.RPMLow, c.RPMHigh = rpm.low, rpm.high
	}
	if load.point == 0 {
		c.LoadLow, c.LoadHigh = load.low, load.high
	}
	switch {
	case w.Warm != "" && w.Warm != "unknown":
		c.Warm = warmth(w.Warm)
	case frame["coolant_temperature"] != 0:
		if c.Warm = proof.Cold; frame["coolant_temperature"] >= proof.WarmFrom {
			c.Warm = proof.Warm
		}
		note("warm-up state", frameFrom)
	default:
		c.Warm = warmth(said.Condition.Warm)
	}
	at := rpm.point
	if at == 0 {
		at = (rpm.low + rpm.high) / 2
	}
	switch v := frame["vehicle_speed"]; {
	case w.RoadKmh > 0:
		c.KmhPer1000 = 1000 * w.RoadKmh / at
	case v > 5 && frame["engine_speed"] > 0 && w.Gear == "":
		c.KmhPer1000 = 1000 * v / frame["engine_speed"]
		note("gear", frameFrom)
	}
	p.c.Conditions = c
	gear := w.Gear
	if gear == "" {
		gear = said.Condition.Gear
	}
	p.out.Conditions = ConditionsAnswer{
		Known: true, Text: conditionWords(c, gear), From: from.String(), RPMLow: round(c.RPMLow), RPMHigh: round(c.RPMHigh), LoadLow: round(c.LoadLow), LoadHigh: round(c.LoadHigh),
		LoadWithin: string(how), Warm: string(c.Warm), Gear: gear, KmhAt1000: round(c.KmhPer1000),
	}
	p.c.Rule = proof.Rule{Gap: w.GapS, AtLeast: float64(w.AtLeast)}
	p.c.Named = proof.Way(w.By)
	p.c.LampFlashing = said.Lamp == "flashing"
}

// sources says which part came from where: "engine speed and load from the freeze
// frame (item 1), gear from what was typed in".
type sources []struct {
	source string
	parts  []string
}

func (s *sources) note(part, source string) {
	for i := range *s {
		if (*s)[i].source == source {
			(*s)[i].parts = append((*s)[i].parts, part)
			return
		}
	}
	*s = append(*s, struct {
		source string
		parts  []string
	}{source, []string{part}})
}

func (s sources) String() string {
	var out []string
	for _, x := range s {
		parts := x.parts[0]
		if n := len(x.parts); n > 1 {
			parts = strings.Join(x.parts[:n-1], ", ") + " and " + x.parts[n-1]
		}
		out = append(out, parts+" from "+x.source)
	}
	return strings.Join(out, "; ")
}

// conditionWords writes the conditions: "2025 to 2775 rpm, load 60 to 100 %, third
// gear, warm".
func conditionWords(c proof.Conditions, gear string) string {
	s := fmt.Sprintf("%.0f to %.0f rpm, load %.0f to %.0f %%", c.RPMLow, c.RPMHigh, c.LoadLow, c.LoadHigh)
	switch {
	case gear != "":
		s += ", gear " + gear
	case c.KmhPer1000 > 0:
		s += ", the same gear"
	}
	switch c.Warm {
	case proof.Warm:
		s += fmt.Sprintf(", coolant over %.0f °C", proof.WarmFrom)
	case proof.Cold:
		s += fmt.Sprintf(", coolant under %.0f °C", proof.WarmFrom)
	}
	return s
}

// freezeFrame gives the values of the first frame before the repair that holds
// engine speed and load, in the units of the standard.
func (p *proving) freezeFrame() (map[string]float64, string) {
	for _, r := range p.sessions {
		if r.capture.When == "after" || r.capture.SetAside != "" || r.session.MixedVehicles {
			continue
		}
		for _, m := range r.session.Modules {
			for _, f := range m.FreezeFrames {
				if v := frameValues(f); v["engine_speed"] > 0 && v["calculated_load"] > 0 {
					from := fmt.Sprintf("the freeze frame (item %d)", r.capture.Item)
					if f.CodeRead && !f.Empty() {
						from = fmt.Sprintf("the freeze frame of %s (item %d)", f.Code, r.capture.Item)
					}
					return v, from
				}
			}
		}
	}
	return nil, ""
}

func frameValues(f *obd.FreezeFrame) map[string]float64 {
	out := map[string]float64{}
	for _, v := range f.Values {
		if !v.NotUsed && v.Signal != nil {
			out[v.Signal.ID] = v.Number
		}
	}
	return out
}

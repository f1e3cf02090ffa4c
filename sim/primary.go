package sim

import (
	"bytes"
	"fmt"
	"math/rand/v2"
)

// PrimaryRow is the primary side of one coil: current, voltage at its feed pin,
// at the battery's posts, and at its ground pin.
type PrimaryRow struct{ Seconds, Amp, Feed, Battery, Ground float64 }

// PrimaryCurrent records the primary of a cylinder's coil at idle with a low-amp
// clamp (10 mA of noise, 1 % of gain, from memory) and three back-probes:
//
//	i = V/R (1 - exp(-t R/L)),  feed = V - i R(feed),  ground = i R(ground)
//
// with what shorted turns add at once. The battery itself sags by 15 mohm.
func (v *Vehicle) PrimaryCurrent(rng *rand.Rand, cylinder int, u Under, seconds, rateHz float64) ([]PrimaryRow, error) {
	if err := v.cylinder(cylinder); err != nil {
		return nil, err
	}
	p := v.at(u)
	c := p.cyl[cylinder-1]
	gain := 1 + 0.01*rng.NormFloat64()
	extra := c.Wiring.FeedOhm + c.Wiring.GroundOhm
	moments := Profile(IdleProfile(v.running(u).rpm)).Moments(rng, seconds, false)
	var out []PrimaryRow
	k := 0
	for i := 0; i < int(seconds*rateHz); i++ {
		t := float64(i) / rateHz
		for k+1 < len(moments) && t >= moments[k].At {
			k++
		}
		rest := moments[k].Battery - 14.1 + p.common.BatteryVolt
		dwell := c.Coil.Dwell(rest) * c.Wiring.DwellFactor
		amp := 0.0
		if since := t - (moments[k].At - dwell); since >= 0 && since < dwell {
			amp, _ = c.Coil.Charge(rest, extra, since)
		}
		row := PrimaryRow{Seconds: t, Amp: gain*amp + 0.01*rng.NormFloat64(), Battery: rest - 0.015*amp + 0.01*rng.NormFloat64()}
		row.Feed = rest - 0.015*amp - amp*c.Wiring.FeedOhm + 0.01*rng.NormFloat64()
		row.Ground = amp*c.Wiring.GroundOhm + 0.005*rng.NormFloat64()
		out = append(out, row)
	}
	return out, nil
}

// PrimaryCSV writes the recording as delimited text.
func PrimaryCSV(rows []PrimaryRow) []byte {
	var b bytes.Buffer
	b.WriteString("Time (ms),Coil current (A),Coil feed (V),Battery (V),Coil ground (V)\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "%.3f,%.3f,%.2f,%.2f,%.3f\n", r.Seconds*1e3, r.Amp, r.Feed, r.Battery, r.Ground)
	}
	return b.Bytes()
}

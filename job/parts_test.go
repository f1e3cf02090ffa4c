package job

import (
	"strings"
	"testing"
)

// Each line is an entry of history.parts or of recent work with the odometer at
// 128000 km, and what must follow from it.
func TestAgeOfParts(t *testing.T) {
	for _, c := range []struct {
		parts, work string
		plugs, lately,
		said string
	}{
		{parts: "{part: spark plugs, fitted: 60000 km, interval: 60000 km}", plugs: "yes", said: "fitted 68000 km ago at an interval of 60000 km"},
		{parts: "{part: spark plugs, fitted: 90000 km, interval: 60000 km}", plugs: "no"},
		{parts: "{part: Zündkerzen, fitted: 60000 km, interval: 60000 km}", plugs: "yes"},
		{parts: "{part: spark plugs, fitted: 50000 mi, interval: 40000 mi}", plugs: "no", said: "fitted 47533 km ago"},
		{parts: "{part: spark plugs, fitted: 127500 km, interval: 60000 km}", plugs: "no", lately: "yes"},
		{parts: "{part: ignition coil, fitted: 127500 km}", lately: "yes"},
		{parts: "{part: ignition coil, fitted: 100000 km}"},
		{parts: "{part: spark plugs, fitted: unknown}", plugs: "yes", said: "nobody can say"},
		{parts: "{part: spark plugs, fitted: 90000 km}"},
		{parts: "{part: spark plugs, fitted: 130000 km, interval: 60000 km}", said: "one of the two is wrong"},
		{parts: "{part: spark plugs, fitted: 12 kPa}", said: "is no distance"},
		{parts: "{fitted: 12 km}", said: "write which part"},
		{work: "new plugs at 90000 km", said: "too long to be taken as"},
		{work: "new plugs at 90,000 km", said: "38000 km ago"},
		{work: "new plugs at 127.400 km", lately: "yes"},
		{work: "neue Zündkerzen bei 127400 km", lately: "yes"},
		{parts: "{part: spark plugs, fitted: 127.900 km, interval: 60.000 km}", plugs: "no", lately: "yes"},
		{parts: "{part: spark plugs, fitted: \"60,000 km\", interval: 60 000 km}", plugs: "yes"},
		{parts: "{part: spark plugs, fitted: 90000 km, interval: 60 km}", said: "is no interval of spark plugs"},
		{parts: "{part: spark plug 1, fitted: unknown}\n    - {part: spark plug 2, fitted: 120000 km, interval: 60000 km}", plugs: "yes"},
		{parts: "{part: spark plugs, fitted: 60000 km, interval: 60000 km}\n    - {part: spark plug 4, fitted: 127900 km, interval: 60000 km}", plugs: "yes", lately: "yes"},
		{parts: "{part: glow plugs, fitted: unknown}"},
		{parts: "{part: oil drain plug, fitted: 127900 km, interval: 60000 km}"},
		{work: "new coil, still misses at 80 km/h", lately: "yes"},
		{work: "new coil, misses at 60 miles per hour", lately: "yes"},
		{work: "new plugs at 90000 km, coil 3 renewed at 127900 km", lately: "yes"},
		{work: "coil renewed 200 km ago, plugs at 90000 km", lately: "yes"},
		{work: "new plugs at 300 km", lately: "yes"}, // hardly the odometer
		{work: "oil change with new plugs", lately: "yes"},
		{work: "oil drain plug sealed"},
		{work: "CV boot replaced"},
		{work: "new plugs last week", lately: "yes"},
		{work: "new plugs at 150000 km", lately: "yes"}, // past the odometer: a slip, not long ago
	} {
		text := "schema: proveout/job/1\nvehicle: {odometer: 128000 km, engine: {cylinders: 4, ignition: coil_on_plug}}\n"
		if c.parts != "" {
			text += "history:\n  parts:\n    - " + c.parts + "\n"
		}
		if c.work != "" {
			text += "complaint:\n  conditions:\n    recent_work: [\"" + c.work + "\"]\n"
		}
		r, said := resolved(t, "job.yaml", []byte(text))
		if !strings.Contains(said, c.said) {
			t.Errorf("%s%s: want %q in\n%s", c.parts, c.work, c.said, said)
		}
		if r == nil {
			continue
		}
		if f := r.Complaint.Facts; f[PlugsBeyondInterval] != c.plugs || f[RecentPlugOrCoilWork] != c.lately {
			t.Errorf("%s%s: plugs beyond their interval %q, worked on lately %q\n%s", c.parts, c.work, f[PlugsBeyondInterval], f[RecentPlugOrCoilWork], said)
		}
	}
}

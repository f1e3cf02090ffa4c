//go:build unix

package measure

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"

	"proveout/stats"
	"proveout/trace"
)

// TestWriteForSciPy writes data, what this code makes of them, and how long it
// took, to the folder in PROVEOUT_SCIPY. tools/scipy/compare.sh calls it and has
// SciPy do the same to the same data.
func TestWriteForSciPy(t *testing.T) {
	dir := os.Getenv("PROVEOUT_SCIPY")
	if dir == "" {
		t.Skip("part of tools/scipy/compare.sh")
	}
	w := &scipyWriter{t: t, dir: dir, Cases: []scipyCase{}, Times: map[string]float64{}, Features: map[string]map[string]float64{}}
	w.robust()
	w.tests()
	w.filters()
	w.speed()
	b, err := json.MarshalIndent(w, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "go.json"), b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// scipyCase is one function on one input: In as numbers or as the name of a file
// of little-endian doubles.
type scipyCase struct {
	Name string    `json:"name"`
	Fn   string    `json:"fn"`
	Data string    `json:"data,omitempty"`
	More string    `json:"more,omitempty"`
	Args []float64 `json:"args"`
	Go   []float64 `json:"go"`
}

type scipyWriter struct {
	t        *testing.T
	dir      string
	Cases    []scipyCase                   `json:"cases"`
	Times    map[string]float64            `json:"times"` // seconds, best of several
	Features map[string]map[string]float64 `json:"features"`
}

func (w *scipyWriter) file(name string, v []float64) string {
	b := make([]byte, 8*len(v))
	for i, x := range v {
		binary.LittleEndian.PutUint64(b[8*i:], math.Float64bits(x))
	}
	if err := os.WriteFile(filepath.Join(w.dir, name), b, 0o644); err != nil {
		w.t.Fatal(err)
	}
	return name
}

func (w *scipyWriter) add(name, fn, data, more string, args, got []float64) {
	w.Cases = append(w.Cases, scipyCase{name, fn, data, more, append([]float64{}, args...), got})
}

func (w *scipyWriter) robust() {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 5, 40, 1001, 20000} {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64() * math.Exp(2*rng.NormFloat64())
			y[i] = math.Round(4*x[i] + 3*rng.NormFloat64())
		}
		data, more := w.file("x"+itoa(n), x), w.file("y"+itoa(n), y)
		w.add("median of "+itoa(n), "median", data, "", nil, []float64{stats.Median(x)})
		w.add("MAD sigma of "+itoa(n), "mad", data, "", nil, []float64{stats.MADSigma(x)})
		for _, p := range []float64{0, 0.1, 0.25, 0.9, 1} {
			w.add("quantile of "+itoa(n), "quantile", data, "", []float64{p}, []float64{stats.Quantile(x, p)})
		}
		if n >= 5 {
			w.add("rank correlation of "+itoa(n), "spearman", data, more, nil, []float64{rankCorrelation(x, y)})
			all := make([]int, n)
			for i := range all {
				all[i] = i
			}
			slope, _ := followGain(x, y, all, 0, 10)
			w.add("slope of "+itoa(n), "slope", data, more, nil, []float64{slope})
		}
	}
}

func itoa(n int) string { b, _ := json.Marshal(n); return string(b) }

func (w *scipyWriter) tests() {
	for _, c := range [][2]int{{0, 20}, {3, 40}, {17, 18}, {250, 1000}} {
		lo, hi := stats.ClopperPearson(c[0], c[1], 0.95)
		w.add("Clopper-Pearson", "clopper_pearson", "", "", []float64{float64(c[0]), float64(c[1]), 0.95}, []float64{lo, hi})
		w.add("binomial, two-sided", "binomtest", "", "", []float64{float64(c[0]), float64(c[1]), 0.2}, []float64{stats.BinomialTwoSided(c[0], c[1], 0.2)})
		w.add("binomial, at least", "binom_sf", "", "", []float64{float64(c[0]), float64(c[1]), 0.2}, []float64{stats.BinomialAtLeast(c[0], c[1], 0.2)})
	}
	for _, k := range []int{0, 1, 7, 60} {
		lo, hi := stats.PoissonLimits(k, 0.95)
		w.add("Poisson limits", "poisson_limits", "", "", []float64{float64(k), 0.95}, []float64{lo, hi})
	}
	for _, c := range [][4]int{{3, 1, 1, 3}, {9, 2, 3, 11}, {0, 5, 7, 4}} {
		f := stats.FisherExact(c[0], c[1], c[2], c[3])
		w.add("Fisher's exact test", "fisher", "", "", []float64{float64(c[0]), float64(c[1]), float64(c[2]), float64(c[3])}, []float64{f.TwoSided})
	}
	for _, nu := range []float64{1, 2.5, 8, 31, 400} {
		for _, p := range []float64{0.6, 0.975, 0.9995} {
			w.add("Student quantile", "t_ppf", "", "", []float64{p, nu}, []float64{stats.TQuantile(p, nu)})
		}
		w.add("Student, two-sided", "t_two", "", "", []float64{2.1, nu}, []float64{stats.TTwoSided(2.1, nu)})
	}
	for _, n := range []int{3, 8, 30} {
		w.add("Grubbs limit", "grubbs", "", "", []float64{float64(n), 0.05}, []float64{stats.GrubbsCritical(n, 0.05, false)})
	}
}

func (w *scipyWriter) filters() {
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]float64, 1<<14)
	for i := range x {
		x[i] = math.Sin(float64(i)/37) + 0.4*math.Sin(float64(i)/5.3) + 0.2*rng.NormFloat64()
	}
	data := w.file("wave", x)
	w.add("moving mean of 41", "moving_mean", data, "", []float64{41}, smoothed(x, 40))
	s := stack{dt: 5e-6, y: x, sd: 1}
	d, half, _ := s.slopes()
	w.add("fitted slopes", "savgol_slope", data, "", []float64{float64(half), s.dt}, d[half:len(d)-half])
	c := stats.NewFFT(len(x)).Spectrum(nil, x)
	var flat []float64
	for _, z := range c {
		flat = append(flat, real(z), imag(z))
	}
	w.add("spectrum", "rfft", data, "", nil, flat)
	at := make([]float64, 3000)
	for i := range at {
		at[i] = float64(i)*0.01 + 0.003*rng.Float64()
	}
	times := w.file("times", at)
	var ls []float64
	for _, hz := range []float64{3, 7.25, 11, 29.5} {
		ls = append(ls, explained(at, x[:len(at)], hz))
	}
	w.file("wave3000", x[:len(at)])
	w.add("Lomb-Scargle", "lombscargle", "wave3000", times, []float64{3, 7.25, 11, 29.5}, ls)
	p := trace.NewPyramid(x)
	var ends []float64
	for _, b := range p.View(0, len(x), 512) {
		ends = append(ends, b.Min, b.Max)
	}
	w.add("least and greatest of 64", "minmax", data, "", []float64{64}, ends)
	for _, k := range []int{9, 40} {
		top, height, _ := crest(x[40 : 40+k])
		w.add("crest by parabola", "parabola", data, "", []float64{40, float64(k)}, []float64{top, height})
	}
}

// best is the least processor time of several runs.
func best(f func()) float64 {
	least := math.Inf(1)
	for range 15 {
		begin := cpuSeconds()
		f()
		least = math.Min(least, cpuSeconds()-begin)
	}
	return least
}

func (w *scipyWriter) speed() {
	s := plainSynth()
	rec, _ := s.draw()
	w.file("secondary", rec.Channels[0].Values)
	w.feature("secondary", IgnitionSecondary, rec, onCylinder(1), map[string]string{"firing": "ignition.firing_height_idle", "burn": "ignition.burn_time_idle"})
	coil := plainRamps()
	coil.n, coil.rate = 60, 200e3
	m := cyl2()
	m.Known = Known{SupplyVolts: 14, DriverVolts: 0.5}
	rec = sampledAt(coil.rate, channel("clamp", "A", coil.draw()))
	w.file("primary", rec.Channels[0].Values)
	w.feature("primary", IgnitionPrimary, rec, m, map[string]string{"dwell": "coil.dwell", "peak": "coil.primary_current", "inductance": "coil.inductance", "resistance": "coil.primary_resistance"})
	start := plainStarter()
	start.seconds, start.rate = 6, 20e3
	rec = start.draw()
	w.file("cranking", rec.Channels[0].Values)
	w.file("cranking_volt", rec.Channels[1].Values)
	w.file("cranking_sync", rec.Channels[2].Values)
	w.feature("cranking", CrankingCurrent, rec, start.meta(), map[string]string{"rpm": "cranking.speed", "current": "cranking.current", "lowest": "cranking.voltage_min", "first_cylinder": "cranking.ripple", "first_hump": "cranking.hump"})

	x := make([]float64, 1<<20)
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	w.file("million", x)
	fft := stats.NewFFT(len(x))
	out := make([]complex128, len(x)/2+1)
	w.Times["FFT of 2^20"] = best(func() { fft.Spectrum(out, x) })
	short := stats.NewFFT(1 << 12)
	w.Times["256 FFTs of 2^12"] = best(func() {
		for i := 0; i < len(x); i += 1 << 12 {
			short.Spectrum(out[:1<<11+1], x[i:i+1<<12])
		}
	})
	w.Times["moving mean of 41 over 2^20"] = best(func() { smoothed(x, 40) })
	w.Times["least and greatest of 64 over 2^20"] = best(func() { trace.NewPyramid(x) })
	y := slices.Clone(x)
	w.Times["median of 2^20"] = best(func() { copy(y, x); stats.MedianInPlace(y) })
	w.Times["MAD sigma of 2^20"] = best(func() { stats.MADSigma(x) })
}

func (w *scipyWriter) feature(name, kind string, rec *trace.Recording, meta Meta, want map[string]string) {
	var res Result
	w.Times["features: "+name] = best(func() {
		var err error
		if res, err = Capture(kind, rec, meta); err != nil {
			w.t.Fatal(err)
		}
	})
	w.Features[name] = map[string]float64{"rate": rec.Time.RateHz()}
	for key, id := range want {
		r, ok := find(res.Readings, id)
		if !ok {
			w.t.Fatalf("%s: %s was not measured: %+v", name, id, res.NotMeasured)
		}
		w.Features[name][key] = r.Value.SI
	}
}

// cpuSeconds is the processor time this process has used: on a machine with other
// work the wall clock measures that.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) * 1e-9
}

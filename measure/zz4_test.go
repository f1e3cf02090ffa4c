package measure
import ("testing";"fmt";"math";"math/rand/v2";"proveout/stats")
func TestZ4(t *testing.T){
	for sc := 0; sc < 6; sc++ {
	 for _, rate := range []float64{100e3,200e3} {
	rng := rand.New(rand.NewPCG(11, 12))
	var zt, zs, bias, rel []float64
	for i := range 60 {
		s := plainSynth()
		s.rate = rate
		s.seconds = 1.2+1.0*rng.Float64()
		s.seed = uint64(1000 + i)
		s.burn = (0.8 + 1.2*rng.Float64()) * 1e-3
		s.burnCV = 0.05 + 0.10*rng.Float64()
		s.noise = 0.01 + 0.06*rng.Float64()
		s.ringHz = 4e3 + 10e3*rng.Float64()
		s.slope = -0.6 + 0.6*rng.Float64()
		switch sc {
		case 1:
			s.hum, s.humHz = 0.4*rng.Float64(), 50
		case 2:
			s.droop = 10e-3 + 50e-3*rng.Float64()
		case 3:
			s.step = 20.0 / 256
		case 4: s.ringHz=4e3
		case 5: s.ringHz=14e3
		}
		rec, tr := s.draw()
		res := capture(t, rec, onCylinder(1))
		r, ok := find(res.Readings, "ignition.burn_time_idle")
		if !ok {continue}
		zt = append(zt, (r.Value.SI-s.burn)/r.Uncertainty)
		zs = append(zs, (r.Value.SI-stats.Median(tr.burns))/r.Uncertainty)
		bias = append(bias, (r.Value.SI-stats.Median(tr.burns))*1e6)
		rel = append(rel, r.Uncertainty/s.burn)
	}
	in := 0.0
	for _, z := range zt { if math.Abs(z)<1.96 {in++} }
	fmt.Printf("sc %d rate %.0f cover %.2f  z sd %.2f mean %.2f | bias us median %.1f sd %.1f  rel u %.3f\n", sc, rate, in/float64(len(zt)), stats.MADSigma(zt), mean(zt), stats.Median(bias), stats.MADSigma(bias), mean(rel))
	}}
}

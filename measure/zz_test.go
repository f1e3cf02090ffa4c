package measure
import ("testing";"fmt")
func TestZZ(t *testing.T){
	var rs = typed("ignition.firing_height_snap", "x", []float64{22.1, 23.0, 22.6}, []float64{21.9, 21.0, 22.8}, []float64{13.8, 13.1, 14.6}, []float64{23.1, 24.0, 22.0})
	rs = append(rs, typed("ignition.firing_height_idle", "x", []float64{8}, []float64{8.1}, []float64{10.6}, []float64{7.8})...)
	rs = append(rs, typed("ignition.snap_ratio", "x", []float64{2.8}, []float64{2.9}, []float64{1.75}, []float64{2.75})...)
	rs = append(rs, typed("compression.dry", "psi", []float64{172}, []float64{165}, []float64{120}, []float64{175})...)
	rs = append(rs, typed("plug.gap", "mm", []float64{1.42}, []float64{1.45}, []float64{1.44}, []float64{1.41})...)
	rs = append(rs, typed("cylinder.leak", "%", []float64{7}, []float64{8}, []float64{26}, []float64{9})...)
	gap := 1.1e-3
	for _, f := range Judge(Task{Engine: four, Readings: rs, Limits: []Limit{{Feature: "plug.gap", Nominal: &gap, Source: "handbook"}}}) {
		fmt.Printf("%-36s %-16s %.3f±%.3f more=%d %v\n   %s\n   %s\n", f.ID, f.State, f.Effect, f.EffectSigma, f.More, f.Flags, f.Sentence, f.Why)
	}
}

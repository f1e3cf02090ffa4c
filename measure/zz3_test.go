package measure
import ("testing";"fmt";"proveout/stats")
func TestZ3(t *testing.T){
	s := snapSynth()
	rec, tr := s.draw()
	m := onCylinder(3); m.Condition.State=""
	g := &ignition{ch:&rec.Channels[0], meta:m}
	g.w,_ = newWave(rec,g.ch)
	fmt.Println(g.find())
	sp := g.speeds()
	ps,_ := g.phases()
	in := map[int]string{}
	for _, p := range ps { for _, i := range p.at { in[i]=p.suffix } }
	var hi,hs []float64
	for i,s2 := range g.sparks { _ = i; if s.snapOf(s2.t) {hs=append(hs,s2.height)} else {hi=append(hi,s2.height)}; fmt.Printf("%.4f h=%.3f truth %.3f  n=%.0f %s %v\n", s2.t, s2.height, tr.crests[i], sp[i], in[i], s.snapOf(s2.t)) }
	fmt.Println(stats.Median(hs)/stats.Median(hi), len(hs))
}

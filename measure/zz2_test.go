package measure
import ("testing";"fmt";"os";"compress/gzip";"bufio";"strings";"strconv";"path/filepath";"math"
 "proveout/trace";"proveout/unit";"proveout/evidence")
func loadTrace(path string) *trace.Recording {
	f,_ := os.Open(path); defer f.Close()
	z,_ := gzip.NewReader(f)
	sc := bufio.NewScanner(z)
	var ts []int64; var v []float64
	k := 1000.0
	for sc.Scan(){
		if strings.Contains(sc.Text(), "(ms)") { k = 1e6 }
		p := strings.FieldsFunc(sc.Text(), func(r rune) bool {return r==',' || r==';' || r=='\t'})
		if len(p)<2 {continue}
		a,e1 := strconv.ParseFloat(strings.TrimSpace(p[0]),64); b,e2 := strconv.ParseFloat(strings.TrimSpace(p[1]),64)
		if e1!=nil||e2!=nil {continue}
		ts=append(ts,int64(math.Round(a*k))); v=append(v,b*1e-3)
	}
	r := &trace.Recording{Time: trace.TimeBase{Stamps: ts, N: len(ts)}, Channels: []trace.Channel{{Name:"A", Unit: unit.Must("mV"), Values: v}}}
	// segments at time jumps
	start:=0
	for i:=1;i<len(ts);i++ { if ts[i]-ts[i-1] > 3*(ts[1]-ts[0]) { r.Segments=append(r.Segments, trace.Segment{First:start,End:i}); start=i } }
	r.Segments=append(r.Segments, trace.Segment{First:start,End:len(ts)})
	return r
}
func TestZExamples(t *testing.T){
	for _, d := range []string{"01-stumble-on-the-hill","02-one-placement-only","03-lean-injector"} {
		fs,_ := filepath.Glob("../examples/"+d+"/captures/secondary*.gz")
		for _, f := range fs {
			rec := loadTrace(f)
			m := onCylinder(int(f[strings.Index(f,"cyl")+3]-'0')); m.Condition.State=evidence.Snap; if strings.Contains(f,"idle") {m.Condition.State=evidence.Idle}
			res, err := Capture(IgnitionSecondary, rec, m)
			fmt.Println(f, err, rec.Time.N, len(rec.Segments))
			for _, r := range res.Readings { fmt.Printf("   %-32s %8.4g ± %.2g n=%d %v\n", r.Feature, r.Value.SI, r.Uncertainty, r.N, r.Flags) }
			for _, n := range res.NotMeasured { fmt.Println("   NOT", n.Feature, n.Why) }
			for _, n := range res.Notes { fmt.Println("   note", n.Text) }
		}
	}
}

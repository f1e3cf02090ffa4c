package evaluate

import (
	"os"
	"testing"

	"proveout/reason"
)

func TestTune(t *testing.T) {
	if os.Getenv("TUNE") == "" {
		t.Skip()
	}
	for _, r := range []float64{1.5, 2.5} {
		l := reason.DefaultLimits()
		l.ConflictRatio = r
		p, err := Plant(Config{World: bayWorld(t), Jobs: 1200, Seed: 5150, Options: reason.Options{Limits: &l}}, 10)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(r, "\n"+p.Text())
	}
}

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
	for _, r := range []float64{1e9, 1.5, 4} {
		l := reason.DefaultLimits()
		l.ConflictRatio = r
		s, err := Run(Config{World: bayWorld(t), Jobs: 300, Seed: 99, Options: reason.Options{NoLookAhead: true, Limits: &l}}, Advice)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(r, "\n"+Text(s)[:1000])
	}
}

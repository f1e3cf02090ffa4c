package measure

import (
	"fmt"
	"strings"
	"testing"

	"proveout/evidence"
)

// TestWeakCylinderBySyncOfAnother: the sync may sit on any cylinder. The weak hump comes
// two places after the sync's; whose it is follows from the firing order, by the name of
// the column or by what the job says of it.
func TestWeakCylinderBySyncOfAnother(t *testing.T) {
	for sync, weak := range map[int]int{1: 4, 3: 2, 4: 1, 2: 3} { // 1-3-4-2
		for _, told := range []string{"name", "job"} {
			s := plainStarter()
			s.weak = map[int]float64{2: 0.5}
			rec, m := s.draw(), s.meta()
			ch := &rec.Channels[len(rec.Channels)-1]
			if told == "name" {
				ch.Name = fmt.Sprintf("Sync cyl %d (V)", sync)
			} else {
				m.Columns = []Column{{Channel: ch.Name, As: syncRole, Subject: evidence.Cyl(sync)}}
			}
			_, res, err := Cranking(rec, m)
			if err != nil {
				t.Fatal(err)
			}
			if !said(res, fmt.Sprintf("hump of cylinder %d is", weak)) || !said(res, fmt.Sprintf("sync of cylinder %d,", sync)) {
				t.Errorf("sync on cylinder %d by the %s: cylinder %d is not named: %+v", sync, told, weak, res.Notes)
			}
		}
	}
	s := plainStarter()
	rec := s.draw()
	rec.Channels[len(rec.Channels)-1].Name = "Sync cyl 6"
	_, res, err := Cranking(rec, s.meta())
	if err != nil || len(why(res, "cranking.ripple")) == 0 || !strings.Contains(why(res, "cranking.ripple")[0].Why, "cylinder 6") {
		t.Errorf("a sync of cylinder 6 on four: %v %+v", err, res.NotMeasured)
	}
}

package reason

import (
	"fmt"
	"strings"
	"testing"

	"proveout/evidence"
)

// However often a swap was repeated, the list does not name the same swap for ever:
// after three takes another test is first, whether the takes agree or not.
func TestRepeatingASwapIsNotAdvisedForEver(t *testing.T) {
	covered := evidence.Condition{State: "load", Warm: "hot", Wet: "dry"}
	for name, result := range map[string]func(i int) evidence.Finding{
		"always the same": func(i int) evidence.Finding {
			f := said("", "coil_swap", 3, "abnormal")
			f.Condition = covered
			return f
		},
		"in turns, condition not noted": func(i int) evidence.Finding {
			return said("", "coil_swap", 3, []string{"abnormal", "normal"}[i%2])
		},
		"one against all": func(i int) evidence.Finding {
			return said("", "coil_swap", 3, map[bool]string{true: "abnormal", false: "normal"}[i == 0])
		},
		"never established": func(i int) evidence.Finding {
			f := said("", "coil_swap", 3, "abnormal")
			f.State, f.More = evidence.NotEstablished, 1
			f.Condition = covered
			return f
		},
		"in another state": func(i int) evidence.Finding {
			f := said("", "coil_swap", 3, "abnormal")
			f.Condition = evidence.Condition{State: "idle", Warm: "cold", Wet: "dry"}
			return f
		},
	} {
		for _, n := range []int{3, 10, 500} {
			c := bayCase(t)
			c.Complaint = evidence.Condition{State: "load", Warm: "hot"}
			c.States = []evidence.State{"load"}
			c.Findings = []evidence.Finding{said("f", "counter", 3, "abnormal")}
			for i := range n {
				f := result(i)
				f.ID = fmt.Sprint("s", i)
				c.Findings = append(c.Findings, f)
			}
			a := judge(t, c, Options{})
			if len(a.Next) == 0 {
				t.Errorf("%s, %d takes: nothing is advised", name, n)
				continue
			}
			for _, x := range a.Next {
				if x.Test.ID == "coil_swap@cyl3" && !strings.Contains(x.Why, fmt.Sprintf("done %d times outside the conditions of the complaint: do it under them, repeating it as before adds nothing", n)) {
					t.Errorf("%s, %d takes: the swap is advised again (%d more): %s", name, n, x.Repeat, x.Why)
				}
			}
		}
	}
}

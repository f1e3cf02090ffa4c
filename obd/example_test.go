package obd_test

import (
	"fmt"
	"strings"

	"proveout/obd"
	"proveout/obd/canlog"
)

// A capture as a person pastes it: requests, answers, one over several lines,
// and a clear that came too early.
func ExampleRead() {
	const capture = `
>0902
014
0: 49 02 01 31 47 31
1: 4A 43 35 34 34 34 52
2: 37 32 35 32 33 36 37
>010C
41 0C 0C 1C
>03
43 02 03 01 01 71
>04
44
`
	log, err := canlog.ReadAll(strings.NewReader(capture), canlog.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	s := obd.Read(log)
	m := s.Modules[0]
	fmt.Println("VIN", s.VINs[0])
	rpm := m.Series("engine_speed").Samples[0]
	fmt.Printf("%v rpm, from line %d\n", rpm.Value, rpm.Source.Line)
	for _, c := range m.Latest(obd.Confirmed).Codes {
		text, _ := c.Meaning()
		fmt.Printf("%v %s\n", c, text.Text)
	}
	for _, d := range s.Clears[0].Items {
		fmt.Printf("%s: %s\n", d.What, d.Fate)
	}
	// Output:
	// VIN 1G1JC5444R7252367
	// 775 rpm, from line 8
	// P0301 misfire cylinder 1
	// P0171 too lean bank 1
	// confirmed codes: saved first
	// pending codes: lost
	// permanent codes: kept
	// freeze frame: lost
	// monitor results: lost
	// readiness: lost
	// counters since the last clear: lost
}

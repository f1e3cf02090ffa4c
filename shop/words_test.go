package shop

import (
	"fmt"
	"strings"
	"testing"

	"proveout/intake"
	"proveout/trace"
)

// The span of a recording is written in plain figures, however long it is.
func TestSpanOfARecordingIsPlain(t *testing.T) {
	for span, want := range map[int]string{45: ", 45 s)", 1004: ", 1004 s)", 123456: ", 123456 s)"} {
		rec, err := trace.ReadText(strings.NewReader(fmt.Sprintf("time (s),speed (rpm)\n0,800\n%d,810\n", span)), trace.TextOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got := recordingWords(intake.File{Name: "a.csv", Recording: rec}); !strings.HasSuffix(got, want) {
			t.Errorf("%q does not end with %q", got, want)
		}
	}
}

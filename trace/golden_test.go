package trace

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// TestGolden reads every file of testdata/text, each of which shows one oddity
// of the files shops have, and compares all that was found out with the golden
// file beside it. The files are our own; the signals are made up.
func TestGolden(t *testing.T) {
	files, err := filepath.Glob("testdata/text/*.[ct][sx][vt]*")
	if err != nil || len(files) < 40 {
		t.Fatal(len(files), err)
	}
	tsv, _ := filepath.Glob("testdata/text/*.tsv")
	for _, f := range append(files, tsv...) {
		if strings.HasSuffix(f, ".golden") {
			continue
		}
		t.Run(filepath.Base(f), func(t *testing.T) {
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			rec, err := ReadText(bytes.NewReader(b), TextOptions{})
			got := "error: " + fmt.Sprint(err) + "\n"
			if err == nil {
				got = describe(rec)
			}
			golden := f + ".golden"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), got); d != "" {
				t.Errorf("(-want +got)\n%s", d)
			}
		})
	}
}

// describe writes a recording for a person.
func describe(r *Recording) string {
	var b strings.Builder
	tb := r.Time
	if tb.Uniform() {
		fmt.Fprintf(&b, "time: %d samples from %d ns, step %d/%d ns", tb.N, tb.Start, tb.Num, tb.Den)
	} else {
		fmt.Fprintf(&b, "time: %d stamps %v", tb.N, few(tb.Stamps))
	}
	fmt.Fprintf(&b, ", resolution %d ns", tb.Resolution)
	if tb.OriginOf != "" {
		fmt.Fprintf(&b, ", origin %d ns from %s", tb.Origin, tb.OriginOf)
	}
	fmt.Fprintf(&b, "\nsegments: %v\n", r.Segments)
	for _, c := range r.Channels {
		fmt.Fprintf(&b, "channel %d %q label %q unit %q edges %v update %.4g Hz: %v\n", c.Column, c.Name, c.Label, c.Unit.Symbol, c.Edges, c.UpdateHz, few(c.Values))
	}
	for _, n := range r.Notes {
		lost := ""
		if n.Lost {
			lost = " LOST"
		}
		fmt.Fprintf(&b, "note line %d%s: %s\n", n.Line, lost, n.Text)
	}
	return b.String()
}

func few[T any](v []T) string {
	s := fmt.Sprint(v[:min(len(v), 12)])
	if len(v) > 12 {
		s += fmt.Sprint(" … ", v[len(v)-1])
	}
	return s
}

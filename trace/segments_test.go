package trace

import (
	"fmt"
	"strings"
	"testing"
)

func read(t *testing.T, text string, opts TextOptions) *Recording {
	t.Helper()
	rec, err := ReadText(strings.NewReader(text), opts)
	if err != nil {
		t.Fatal(err)
	}
	if msg := broken(rec); msg != "" {
		t.Fatal(msg)
	}
	return rec
}

// TestDeadTime: a missing sample in a regular recording and a long gap in an
// irregular one cut it; ordinary jitter does not.
func TestDeadTime(t *testing.T) {
	regular, irregular, jitter := "time,v (V)\n", "time,v (V)\n", "time,v (V)\n"
	for i := range 100 {
		at := float64(i) * 0.01
		if i >= 60 {
			at += 0.01
		}
		regular += fmt.Sprintf("%.4f,%d\n", at, i)
		at = float64(i)*0.1 + 0.04*float64(i%7)/7
		jitter += fmt.Sprintf("%.4f,%d\n", at, i)
		if i >= 30 {
			at += 5
		}
		irregular += fmt.Sprintf("%.4f,%d\n", at, i)
	}
	if rec := read(t, regular, TextOptions{}); fmt.Sprint(rec.Segments) != "[{0 60} {60 100}]" {
		t.Errorf("one sample missing: %v", rec.Segments)
	} else {
		n := wantNote(t, rec, "pause of 20 ms (usual step 10 ms)", false)
		if n.Line != 62 {
			t.Errorf("the pause stands before line 62, not %d", n.Line)
		}
	}
	if rec := read(t, irregular, TextOptions{}); fmt.Sprint(rec.Segments) != "[{0 30} {30 100}]" {
		t.Errorf("5 s missing: %v", rec.Segments)
	}
	if rec := read(t, jitter, TextOptions{}); len(rec.Segments) != 1 || rec.Time.Uniform() {
		t.Errorf("jitter: %v, uniform %v", rec.Segments, rec.Time.Uniform())
	}
}

// TestEdgesHaveNoDeadTime: a standstill in an edge list is no pause.
func TestEdgesHaveNoDeadTime(t *testing.T) {
	text := "time,crank\n"
	at := 0.0
	for i := range 50 {
		at += 0.01
		if i == 25 {
			at += 30
		}
		text += fmt.Sprintf("%.6f,%d\n", at, i%2)
	}
	rec := read(t, text, TextOptions{})
	if !rec.Channels[0].Edges || len(rec.Segments) != 1 {
		t.Errorf("edges %v, segments %v", rec.Channels[0].Edges, rec.Segments)
	}
}

// TestLinesOfNotes: line numbers stay right after lines that made no row, also
// where chunks meet.
func TestLinesOfNotes(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,v (V)\n")
	line, want := 1, 0
	for i := range 150_000 {
		if i%1000 == 7 {
			b.WriteString("# comment\n")
			line++
		}
		v := "1.25"
		if i == 140_001 {
			v, want = "broken", line+1
		}
		fmt.Fprintf(&b, "%.5f,%s\n", float64(i)*1e-5, v)
		line++
	}
	for _, workers := range []int{1, 4} {
		rec := read(t, b.String(), TextOptions{Workers: workers})
		if n := wantNote(t, rec, `"broken" is not a number`, true); n.Line != want {
			t.Errorf("%d workers: line %d, want %d", workers, n.Line, want)
		} else if at := strings.Index(b.String(), "1.40001,broken"); n.Byte != int64(at) {
			t.Errorf("%d workers: byte %d, want %d", workers, n.Byte, at)
		}
	}
	// A clock that runs backwards is noted with its line too.
	text := b.String() + "0.5,1\n0.50001,2\n"
	rec := read(t, text, TextOptions{})
	if n := wantNote(t, rec, "runs backwards", true); n.Line != line+1 {
		t.Errorf("backwards at line %d, want %d", n.Line, line+1)
	}
}

// TestNotesAreCounted: thousands of bad cells give a handful of notes and a count.
func TestNotesAreCounted(t *testing.T) {
	text := "time,v (V)\n" + strings.Repeat("0,1\n", 500) + strings.Repeat("3,x\n", 4000)
	rec := read(t, text, TextOptions{})
	listed := 0
	for _, n := range rec.Notes {
		if strings.Contains(n.Text, `"x" is not a number`) {
			listed++
		}
	}
	if listed != listEach {
		t.Errorf("%d notes listed, want %d", listed, listEach)
	}
	wantNote(t, rec, "3995 more cells are not numbers", true)
}

// TestEarlyEnd: a stream that breaks off is a note, and what came before is used.
func TestEarlyEnd(t *testing.T) {
	text := "time,v (V)\n0,1\n1,2\n2,3\n3,4\n"
	rec, err := ReadText(&breaking{strings.NewReader(text)}, TextOptions{})
	if err != nil || rec.Time.N != 4 {
		t.Fatal(err)
	}
	wantNote(t, rec, "ends early: the cable was pulled", true)
}

// TestEarlyEndSaysItOnce: wherever a stream breaks off, the half value is not
// taken for a whole one, and a last line of which nothing can be used is not
// listed again beside the broken stream.
func TestEarlyEndSaysItOnce(t *testing.T) {
	const text = "time,v (V),w (V)\n0,1,9\n1,2,9\n2,3,9\n"
	for _, c := range []struct {
		tail string
		rows int
		lost []string
		last float64 // of channel v
	}{
		{"", 3, []string{"ends early"}, 3},
		{"3", 3, []string{"ends early"}, 3},
		{"3,4", 3, []string{"ends early"}, 3},
		{"3,4,", 4, []string{"ends early", "cut off after 2 of 3"}, 4},
		{"3,4,98", 4, []string{"ends early", "cut off after 2 of 3"}, 4},
		{"3,4,987\n", 4, []string{"ends early"}, 4},
	} {
		for _, chunk := range []int{0, 16} {
			rec, err := ReadText(&breaking{strings.NewReader(text + c.tail)}, TextOptions{chunk: chunk})
			if err != nil {
				t.Fatal(err)
			}
			var lost []string
			for _, n := range rec.Notes {
				if n.Lost {
					lost = append(lost, n.Text)
				}
			}
			v := rec.Channels[0].Values
			if rec.Time.N != c.rows || v[len(v)-1] != c.last || len(lost) != len(c.lost) {
				t.Errorf("%q: %d rows, last %g, left out %q", c.tail, rec.Time.N, v[len(v)-1], lost)
				continue
			}
			for i, want := range c.lost {
				if !strings.Contains(lost[i], want) {
					t.Errorf("%q: left out %q, want %q", c.tail, lost[i], want)
				}
			}
		}
	}
	// A file that merely has no last newline says one thing of its half line.
	rec, err := ReadText(strings.NewReader(text+"3"), TextOptions{})
	if err != nil || rec.Time.N != 3 {
		t.Fatal(rec, err)
	}
	wantNote(t, rec, "cut off after 0 of 3", true)
	for _, n := range rec.Notes {
		if strings.Contains(n.Text, "without a time") {
			t.Errorf("the half line is listed twice: %v", rec.Notes)
		}
	}
}

type breaking struct{ r *strings.Reader }

func (b *breaking) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if err != nil {
		return n, fmt.Errorf("the cable was pulled")
	}
	return n, nil
}

// TestLongPreamble: rows that start after hundreds of lines of text are found.
func TestLongPreamble(t *testing.T) {
	text := strings.Repeat("setting: left as it was\n", 900) + "time,v (V)\n0,1\n1,2\n2,3\n"
	rec := read(t, text, TextOptions{})
	if rec.Time.N != 3 || rec.Channels[0].Unit.Symbol != "V" {
		t.Errorf("%d rows, %+v", rec.Time.N, rec.Channels[0])
	}
	wantNote(t, rec, "880 more lines of text", false)
}

// TestSlowClock: a clock that counts whole seconds beside rows that come about
// five times a second makes no pauses, and says how finely it counts.
func TestSlowClock(t *testing.T) {
	text := "run time (s),v (V)\n"
	for i := range 200 {
		text += fmt.Sprintf("%d.000000,%d\n", (i*19+i%3*4)/100, i)
	}
	rec := read(t, text, TextOptions{Columns: []Column{{Column: "1", As: AsTime}}})
	if len(rec.Segments) != 1 || rec.Time.Resolution != second || rec.Time.Uniform() {
		t.Errorf("%d segments, resolution %d ns, uniform %v", len(rec.Segments), rec.Time.Resolution, rec.Time.Uniform())
	}
	if hz := rec.Time.RateHz(); hz < 4.5 || hz > 6 {
		t.Errorf("%v Hz, want about 5", hz)
	}
	wantNote(t, rec, "slower than the rows", false)
}

// TestMetaBesideRows: some instruments write their settings beside the first
// rows; such a line is not a header.
func TestMetaBesideRows(t *testing.T) {
	text := "Record,250,,-0.002,0.5\nSource,CH1,,-0.001,0.6\n"
	for i := range 20 {
		text += fmt.Sprintf(",,,%.3f,0.%d\n", float64(i)*0.001, i%10)
	}
	rec := read(t, text, TextOptions{})
	for _, c := range rec.Channels {
		if !strings.HasPrefix(c.Name, "column ") {
			t.Errorf("a channel is called %q", c.Name)
		}
	}
}

// TestLongLines: a line longer than a chunk is still a line; one of more than
// 4 MiB is not a row.
func TestLongLines(t *testing.T) {
	start := "time,v (V)\n" + strings.Repeat("0,1\n", 100_000)
	text := start + "1,2" + strings.Repeat(" ", 3<<20) + "\n2,3\n"
	rec := read(t, text, TextOptions{Workers: 2})
	if n := rec.Time.N; n != 100_002 || rec.Channels[0].Values[n-2] != 2 || rec.Channels[0].Values[n-1] != 3 {
		t.Errorf("%d rows, the last %v", n, rec.Channels[0].Values[n-2:])
	}
	_, err := ReadText(strings.NewReader(start+strings.Repeat("x", 5<<20)), TextOptions{})
	if err == nil || !strings.Contains(err.Error(), "longer than 4 MiB") {
		t.Errorf("a line of 5 MiB: %v", err)
	}
}

package shop

import (
	"bytes"
	"os"
	"testing"
)

// A capture of an example, read for its screen: what was measured, and the samples of
// each spark line, in order and inside the capture. The plug with
// the wide gap burns short.
func TestReadCaptureForItsScreen(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	data, err := os.ReadFile("../examples/01-stumble-on-the-hill/captures/secondary-cyl3-place1-snap.csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	u := upload(t, b, "snap.csv.gz", data, 1<<20)
	form := []byte(`{"kind":"ignition_secondary","cylinder":3,"condition":{"state":"snap"},"probe":{"name":"capacitive pickup","calibrated":false,"placement":"1"},"columns":[{"column":"Time (us)","as":"time","unit":"us"},{"column":"Channel A (mV)","as":"ignition_secondary","unit":"mV"}]}`)
	r, err := b.ReadCapture(t.Context(), id, u.SHA256, "snap.csv.gz", form)
	if err != nil {
		t.Fatal(err)
	}
	if r.Error != "" || r.Kind != "ignition_secondary" || len(r.Marks) == 0 {
		t.Fatalf("%+v", r)
	}
	burn := false
	for _, x := range r.Readings {
		if x.Feature == "ignition.burn_time_snap" {
			burn = true
			if x.Unit != "ms" || x.Value < 0.3 || x.Value > 1 || x.Subject != "cylinder 3" {
				t.Errorf("burn time is %+v", x)
			}
		}
	}
	if !burn {
		t.Error("no burn time was read")
	}
	v, err := b.Preview(t.Context(), u.SHA256, "snap.csv.gz", form)
	if err != nil {
		t.Fatal(err)
	}
	last := -1
	for _, m := range r.Marks {
		if m.First < last || m.Last <= m.First || m.Last >= v.Rows {
			t.Errorf("mark %+v of %d rows follows %d", m, v.Rows, last)
		}
		last = m.First
	}
	again, err := b.ReadCapture(t.Context(), id, u.SHA256, "snap.csv.gz", form)
	if err != nil || again != r {
		t.Error("the same capture was measured twice")
	}
}

// TestReadCaptureWithAWrongMapping: the person is told what is wrong and nothing is
// read from it.
func TestReadCaptureWithAWrongMapping(t *testing.T) {
	b := newTestBench(t)
	id := openTorvane(t, b)
	sha, _, _, err := b.store.Put(t.Context(), bytes.NewReader(csvOf(2000)))
	if err != nil {
		t.Fatal(err)
	}
	for name, form := range map[string]string{
		"no such role":   `{"columns":[{"column":"Channel A (V)","as":"tea"}]}`,
		"no such unit":   `{"columns":[{"column":"Channel A (V)","as":"current","unit":"spoon"}]}`,
		"no such column": `{"kind":"ignition_secondary","columns":[{"column":"Channel Z","as":"ignition_secondary"}]}`,
	} {
		r, err := b.ReadCapture(t.Context(), id, sha, "a.csv", []byte(form))
		if err != nil {
			t.Fatal(err)
		}
		if r.Error == "" || len(r.Readings) > 0 {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

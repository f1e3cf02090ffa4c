package shop

import (
	"bytes"
	"container/list"
	"math"
	"strconv"
	"testing"
	"time"

	"proveout/job"
)

// csvOf is a capture of n rows: time in microseconds and a voltage.
func csvOf(n int) []byte {
	b := make([]byte, 0, 20*n)
	b = append(b, "Time (us),Channel A (V)\n"...)
	for i := range n {
		b = strconv.AppendInt(b, int64(i), 10)
		b = append(b, ',')
		b = strconv.AppendFloat(b, math.Round(1e4*math.Sin(float64(i)/700))/1e4, 'f', 4, 64)
		b = append(b, '\n')
	}
	return b
}

func upload(t testing.TB, b *Bench, name string, data []byte, piece int) Uploaded {
	t.Helper()
	id, err := b.Upload(t.Context(), name, int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(data); at += piece {
		if _, err := b.Append(t.Context(), id, int64(at), bytes.NewReader(data[at:min(len(data), at+piece)])); err != nil {
			t.Fatal(err)
		}
	}
	u, err := b.Finish(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// TestDecodedAheadIsTheSame: what is drawn from memory right after the upload, from the
// file written meanwhile, and from the capture decoded anew is the same.
func TestDecodedAheadIsTheSame(t *testing.T) {
	b := newTestBench(t)
	data := csvOf(50_000)
	u := upload(t, b, "a.csv", data, 100_000)
	form := []byte(nil)
	ask := func() []byte {
		out, err := b.Samples(t.Context(), u.SHA256, "a.csv", form, 0, 0, 50_000, 300)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	first := ask()
	b.traces.writing.Wait()
	b.traces.mu.Lock()
	b.traces.open, b.traces.bytes = map[string]*list.Element{}, 0
	b.traces.order.Init()
	b.traces.mu.Unlock()
	fromFile := ask()
	if !bytes.Equal(first, fromFile) {
		t.Error("the file draws another picture than the memory did")
	}
	other := newTestBench(t)
	sha, _, _, err := other.store.Put(t.Context(), bytes.NewReader(data)) // past the decoding ahead
	if err != nil {
		t.Fatal(err)
	}
	anew, err := other.Samples(t.Context(), sha, "a.csv", form, 0, 0, 50_000, 300)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first, anew) {
		t.Error("decoded anew it draws another picture")
	}
}

// TestUploadsThatBreakOffAreNotTrusted: a piece that is missing, or sent twice, ends
// the decoding ahead; the capture itself is whole and is decoded when asked for.
func TestUploadsThatBreakOffAreNotTrusted(t *testing.T) {
	b := newTestBench(t)
	data := csvOf(3_000)
	id, err := b.Upload(t.Context(), "a.csv", int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(t.Context(), id, 0, bytes.NewReader(data[:1000])); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(t.Context(), id, 500, bytes.NewReader(data[500:2000])); err == nil {
		t.Fatal("a piece at the wrong place is taken")
	}
	if _, err := b.Append(t.Context(), id, 1000, bytes.NewReader(data[1000:])); err != nil {
		t.Fatal(err)
	}
	u, err := b.Finish(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	v, err := b.Preview(t.Context(), u.SHA256, "a.csv", nil)
	if err != nil || v.Rows != 3000 {
		t.Errorf("%+v, %v", v, err)
	}
	if n := len(b.ahead.by); n != 0 {
		t.Errorf("%d decodings are left behind", n)
	}
}

func TestAheadOfWhatIsNoCapture(t *testing.T) {
	b := newTestBench(t)
	for name, data := range map[string][]byte{"zeros.bin": make([]byte, 200_000), "page.html": []byte("<html><script>alert(1)</script></html>"), "one.csv": []byte("1")} {
		u := upload(t, b, name, data, 64_000)
		if u.SHA256 != job.Digest(data) {
			t.Errorf("%s: sealed as %s", name, u.SHA256)
		}
		if _, err := b.Preview(t.Context(), u.SHA256, name, nil); (err == nil) != (name == "one.csv") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n := len(b.ahead.by); n != 0 {
		t.Errorf("%d decodings are left behind", n)
	}
}

// BenchmarkFirstViewAfterUpload measures what the person waits for: from the last byte
// being there to columns for a screen, of ten million samples.
func BenchmarkFirstViewAfterUpload(t *testing.B) {
	b := newTestBench(t)
	data := csvOf(10_000_000)
	var waited time.Duration
	for t.Loop() {
		id, err := b.Upload(t.Context(), "long.csv", int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		const piece = 4 << 20
		for at := 0; at < len(data); at += piece {
			if _, err := b.Append(t.Context(), id, int64(at), bytes.NewReader(data[at:min(len(data), at+piece)])); err != nil {
				t.Fatal(err)
			}
		}
		sent := time.Now()
		u, err := b.Finish(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		out, err := b.Samples(t.Context(), u.SHA256, "long.csv", nil, 0, 0, 10_000_000, 2000)
		if err != nil || len(out) != 2000*8 {
			t.Fatalf("%d bytes, %v", len(out), err)
		}
		waited += time.Since(sent)
	}
	t.ReportMetric(waited.Seconds()*1e3/float64(t.N), "ms-after-last-byte")
}

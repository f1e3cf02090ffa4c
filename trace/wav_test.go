package trace

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// wavFile builds a RIFF WAVE file byte by byte from the published layout
// (Multimedia Programming Interface and Data Specifications 1.0, 1991).
type wavFile struct {
	tag, channels, bits int
	rate                uint32
	extensible          bool
	valid               int
	data                []byte
	before              []byte // chunks between format and data
	dataSize            int64  // -1: as it is
	riffSize            int64  // -1: as it is
}

func (w wavFile) bytes() []byte {
	le := binary.LittleEndian
	var f []byte
	tag := w.tag
	if w.extensible {
		tag = 0xFFFE
	}
	f = le.AppendUint16(f, uint16(tag))
	f = le.AppendUint16(f, uint16(w.channels))
	f = le.AppendUint32(f, w.rate)
	align := w.channels * w.bits / 8
	f = le.AppendUint32(f, w.rate*uint32(align))
	f = le.AppendUint16(f, uint16(align))
	f = le.AppendUint16(f, uint16(w.bits))
	if w.extensible {
		f = le.AppendUint16(f, 22)
		f = le.AppendUint16(f, uint16(w.valid))
		f = le.AppendUint32(f, 0)
		f = le.AppendUint16(f, uint16(w.tag))
		f = append(f, waveGUID[:]...)
	}
	body := append([]byte("WAVEfmt "), le.AppendUint32(nil, uint32(len(f)))...)
	body = append(body, f...)
	body = append(body, w.before...)
	size := w.dataSize
	if size < 0 {
		size = int64(len(w.data))
	}
	body = append(body, "data"...)
	body = le.AppendUint32(body, uint32(size))
	body = append(body, w.data...)
	if len(w.data)%2 == 1 && w.dataSize < 0 {
		body = append(body, 0)
	}
	riff := w.riffSize
	if riff < 0 {
		riff = int64(len(body))
	}
	return append(le.AppendUint32([]byte("RIFF"), uint32(riff)), body...)
}

func plainWAV(tag, channels, bits int, data []byte) wavFile {
	return wavFile{tag: tag, channels: channels, bits: bits, rate: 48000, data: data, dataSize: -1, riffSize: -1}
}

// TestWAVSampleFormats: lowest, zero, one step and highest sample of each format.
func TestWAVSampleFormats(t *testing.T) {
	f32 := func(v ...float32) (b []byte) {
		for _, x := range v {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
		}
		return b
	}
	f64 := func(v ...float64) (b []byte) {
		for _, x := range v {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		return b
	}
	for _, c := range []struct {
		name string
		file wavFile
		want []float64
		full float64
	}{
		{"8 bit is unsigned", plainWAV(1, 1, 8, []byte{0, 128, 129, 255}), []float64{-1, 0, 1. / 128, 127. / 128}, 127. / 128},
		{"16 bit", plainWAV(1, 1, 16, []byte{0, 0x80, 0, 0, 1, 0, 0xff, 0x7f}), []float64{-1, 0, 1. / 32768, 32767. / 32768}, 32767. / 32768},
		{"24 bit", plainWAV(1, 1, 24, []byte{0, 0, 0x80, 0, 0, 0, 1, 0, 0, 0xff, 0xff, 0x7f}), []float64{-1, 0, 1. / (1 << 23), 1 - 1./(1<<23)}, 1 - 1./(1<<23)},
		{"32 bit", plainWAV(1, 1, 32, []byte{0, 0, 0, 0x80, 0, 0, 0, 0, 1, 0, 0, 0, 0xff, 0xff, 0xff, 0x7f}), []float64{-1, 0, 1. / (1 << 31), 1 - 1./(1<<31)}, 1 - 1./(1<<31)},
		{"float 32", plainWAV(3, 1, 32, f32(-1, 0, 0.25, 1.5)), []float64{-1, 0, 0.25, 1.5}, 1},
		{"float 64", plainWAV(3, 1, 64, f64(-1, 0, 0.1, 1)), []float64{-1, 0, 0.1, 1}, 1},
		{"extensible, 20 of 24 bits", wavFile{tag: 1, channels: 1, bits: 24, rate: 48000, extensible: true, valid: 20, data: []byte{0, 0, 0x80, 0xf0, 0xff, 0x7f}, dataSize: -1, riffSize: -1}, []float64{-1, 1 - 1./(1<<19)}, 1 - 1./(1<<19)},
		{"extensible float", wavFile{tag: 3, channels: 1, bits: 32, rate: 48000, extensible: true, valid: 32, data: f32(0.5, -0.5), dataSize: -1, riffSize: -1}, []float64{0.5, -0.5}, 1},
	} {
		rec, err := ReadWAV(bytes.NewReader(c.file.bytes()), WAVOptions{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		ch := rec.Channels[0]
		if len(ch.Values) != len(c.want) || ch.FullScale != c.full || rec.Time.RateHz() != 48000 {
			t.Errorf("%s: %v, full scale %v, %v Hz", c.name, ch.Values, ch.FullScale, rec.Time.RateHz())
			continue
		}
		for i, w := range c.want {
			if ch.Values[i] != w {
				t.Errorf("%s: sample %d is %v, want %v", c.name, i, ch.Values[i], w)
			}
		}
		for _, n := range rec.Notes {
			if n.Lost {
				t.Errorf("%s: %v", c.name, n)
			}
		}
	}
}

func TestWAVScales(t *testing.T) {
	file := plainWAV(1, 2, 16, []byte{0, 0x40, 0, 0xc0, 0, 0x80, 0, 0}).bytes() // 0.5 -0.5 / -1 0
	rec, err := ReadWAV(bytes.NewReader(file), WAVOptions{Columns: []Column{{Column: "left", As: "injector_current", Scale: "20 A"}, {Column: "2", As: "sync", Scale: "500", Unit: "mV"}}})
	if err != nil {
		t.Fatal(err)
	}
	a, b := rec.Channels[0], rec.Channels[1]
	if a.Values[0] != 10 || a.Values[1] != -20 || a.Unit.Symbol != "A" || a.As != "injector_current" || a.Mapped != 1 || math.Abs(a.FullScale-20*32767./32768) > 1e-12 {
		t.Errorf("left: %+v", a)
	}
	if b.Values[0] != -0.25 || b.Unit.Symbol != "mV" || b.Mapped != 2 {
		t.Errorf("right: %+v", b)
	}
	for _, c := range []struct {
		col  Column
		want string
	}{
		{Column{Column: "3", Scale: "1 V"}, "2 columns"},
		{Column{Column: "1", Unit: "V"}, "scale"},
		{Column{Column: "1", Scale: "0 V"}, "scale is 0"},
		{Column{Column: "1", As: AsTime}, "own time"},
		{Column{Column: "1", As: "ignition_secondary", Scale: "3 psi", Dim: "voltage"}, "needs a voltage"},
		{Column{Column: "1", Scale: "100 degF"}, "no zero"},
	} {
		_, err := ReadWAV(bytes.NewReader(file), WAVOptions{Columns: []Column{c.col}})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error %v, want one about %q", c.col, err, c.want)
		}
	}
}

func TestWAVDamage(t *testing.T) {
	data := make([]byte, 400)
	for i := range data {
		data[i] = byte(i)
	}
	whole := plainWAV(1, 1, 16, data)
	long, endless, riff := whole, whole, whole
	long.dataSize = 1000
	endless.dataSize = 0xFFFFFFFF
	riff.riffSize = 7
	listed := whole
	listed.before = append([]byte("LIST"), 3, 0, 0, 0, 'a', 'b', 'c', 0)
	odd := plainWAV(1, 1, 16, data[:399])
	for _, c := range []struct {
		name string
		b    []byte
		n    int
		note string
		lost bool
	}{
		{"data longer than the file", long.bytes(), 200, "400 of 1000 bytes", true},
		{"cut in the middle of a sample", whole.bytes()[:44+101], 50, "101 of 400 bytes", true},
		{"length never written", endless.bytes(), 200, "never written", false},
		{"wrong RIFF size", riff.bytes(), 200, "header says 15 bytes", false},
		{"other blocks are passed over", listed.bytes(), 200, "", false},
		{"half a sample at the end", odd.bytes(), 199, "less than one sample", true},
	} {
		rec, err := ReadWAV(bytes.NewReader(c.b), WAVOptions{Size: int64(len(c.b))})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		found, lost := c.note == "", false
		for _, n := range rec.Notes {
			found = found || strings.Contains(n.Text, c.note)
			lost = lost || n.Lost
		}
		if rec.Time.N != c.n || !found || lost != c.lost {
			t.Errorf("%s: %d samples, want %d; notes %v", c.name, rec.Time.N, c.n, rec.Notes)
		}
	}
	noRate, noChannels, mulaw := whole, whole, whole
	noRate.rate, noChannels.channels, mulaw.tag = 0, 0, 7
	for name, c := range map[string]struct {
		b    []byte
		want string
	}{
		"no sample rate":  {noRate.bytes(), "sample rate is 0"},
		"no channels":     {noChannels.bytes(), "0 channels"},
		"packed":          {mulaw.bytes(), "format 7"},
		"12 bits":         {plainWAV(1, 1, 12, data).bytes(), "12 bits"},
		"no samples":      {plainWAV(1, 1, 16, nil).bytes(), "no samples"},
		"not WAV":         {[]byte("RIFF\x00\x00\x00\x00AVI LIST"), "not a RIFF WAVE"},
		"cut in the head": {whole.bytes()[:7], "first 12 bytes"},
		"cut in the form": {whole.bytes()[:30], "format block"},
		"too many values": {whole.bytes(), "more than 10 values"},
	} {
		_, err := ReadWAV(bytes.NewReader(c.b), WAVOptions{MaxValues: map[bool]int64{true: 10}[name == "too many values"]})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one about %q", name, err, c.want)
		}
	}
	if _, err := ReadWAV(bytes.NewReader(nil), WAVOptions{}); !errors.Is(err, ErrEmpty) {
		t.Errorf("empty: %v", err)
	}
}

// TestWAVRoundTrip: samples written as 32 bit PCM or 64 bit float come back
// bit for bit, in every channel.
func TestWAVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels, n := rapid.IntRange(1, 32).Draw(t, "channels"), rapid.IntRange(1, 50).Draw(t, "n")
		asFloat := rapid.Bool().Draw(t, "float")
		want := make([]float64, channels*n)
		var data []byte
		for i := range want {
			if asFloat {
				want[i] = rapid.Float64Range(-10, 10).Draw(t, "v")
				data = binary.LittleEndian.AppendUint64(data, math.Float64bits(want[i]))
			} else {
				v := rapid.Int32().Draw(t, "v")
				want[i] = float64(v) / (1 << 31)
				data = binary.LittleEndian.AppendUint32(data, uint32(v))
			}
		}
		tag, bits := 1, 32
		if asFloat {
			tag, bits = 3, 64
		}
		rec, err := ReadWAV(bytes.NewReader(plainWAV(tag, channels, bits, data).bytes()), WAVOptions{})
		if err != nil || rec.Time.N != n || len(rec.Channels) != channels {
			t.Fatalf("%v: %+v", err, rec)
		}
		for i, w := range want {
			if got := rec.Channels[i%channels].Values[i/channels]; got != w {
				t.Fatalf("sample %d channel %d: %v, want %v", i/channels, i%channels, got, w)
			}
		}
	})
}

// FuzzReadWAV: no panic, no allocation from a declared length, and the promises
// of a recording hold.
func FuzzReadWAV(f *testing.F) {
	f.Add(plainWAV(1, 2, 16, make([]byte, 64)).bytes())
	f.Add(plainWAV(3, 1, 32, make([]byte, 64)).bytes())
	f.Add(wavFile{tag: 1, channels: 1, bits: 24, rate: 1, extensible: true, valid: 20, data: make([]byte, 9), dataSize: -1, riffSize: -1}.bytes())
	long := plainWAV(1, 1, 8, []byte{1, 2, 3})
	long.dataSize = math.MaxUint32
	f.Add(long.bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<16 {
			t.Skip("larger than the cap")
		}
		rec, err := ReadWAV(bytes.NewReader(b), WAVOptions{Size: int64(len(b))})
		if err != nil {
			return
		}
		if msg := broken(rec); msg != "" {
			t.Fatal(msg)
		}
		if total := rec.Time.N * len(rec.Channels); total > len(b) {
			t.Fatalf("%d values out of %d bytes", total, len(b))
		}
	})
}

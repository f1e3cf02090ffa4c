package sim

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
)

// CSVStyle is how a recorder writes its text.
type CSVStyle struct {
	TimeUnit  string // "s", "ms", "us" (whole microseconds); empty = no time column
	Milli     bool   // write millivolts, whole
	Delimiter byte   // 0 = ','
	Comma     bool   // decimal comma
	Name      string // of the channel; empty = "Channel A"
	Preamble  []string
}

// CSV writes samples as delimited text: a header row with units, one row a
// sample. Dead time between blocks shows as a jump of the time column.
func (s Samples) CSV(style CSVStyle) []byte {
	if style.Delimiter == 0 {
		style.Delimiter = ','
	}
	if style.Name == "" {
		style.Name = "Channel A"
	}
	scale, digits := 1.0, 7
	switch style.TimeUnit {
	case "ms":
		scale, digits = 1e3, 4
	case "us":
		scale, digits = 1e6, 0
	}
	volt, places := 1.0, 3
	if style.Milli {
		volt, places = 1e3, 0
	}
	var b bytes.Buffer
	for _, p := range style.Preamble {
		b.WriteString(p + "\n")
	}
	if style.TimeUnit != "" {
		fmt.Fprintf(&b, "Time (%s)%c", style.TimeUnit, style.Delimiter)
	}
	fmt.Fprintf(&b, "%s (%s)\n", style.Name, map[bool]string{false: "V", true: "mV"}[style.Milli])
	var num []byte
	put := func(v float64, digits int) {
		num = strconv.AppendFloat(num[:0], v, 'f', digits, 64)
		if style.Comma {
			num = bytes.Replace(num, []byte("."), []byte(","), 1)
		}
		b.Write(num)
	}
	for _, bl := range s.Blocks {
		for i, v := range bl.Volts {
			if style.TimeUnit != "" {
				put((bl.Start+float64(i)/s.RateHz)*scale, digits)
				b.WriteByte(style.Delimiter)
			}
			put(v*volt, places)
			b.WriteByte('\n')
		}
	}
	return b.Bytes()
}

// WAV writes samples as 16-bit PCM, one channel, full scale = fullScale volts.
// Blocks are joined: a WAV file has no way to say that time is missing, so only
// recordings of one block are taken.
func (s Samples) WAV(fullScale float64) ([]byte, error) {
	if len(s.Blocks) != 1 {
		return nil, fmt.Errorf("a WAV file cannot hold dead time: the recording has %d blocks, it must have one", len(s.Blocks))
	}
	v := s.Blocks[0].Volts
	var b bytes.Buffer
	le := func(x any) { binary.Write(&b, binary.LittleEndian, x) }
	size := uint32(2 * len(v))
	rate := uint32(math.Round(s.RateHz))
	b.WriteString("RIFF")
	le(36 + size)
	b.WriteString("WAVEfmt ")
	le(uint32(16))
	le(uint16(1))
	le(uint16(1))
	le(rate)
	le(2 * rate)
	le(uint16(2))
	le(uint16(16))
	b.WriteString("data")
	le(size)
	for _, x := range v {
		le(int16(math.Round(math.Max(-1, math.Min(1, x/fullScale)) * 32767)))
	}
	return b.Bytes(), nil
}

// Gzip packs bytes without a name or a time, so that the same input gives the
// same output.
func Gzip(data []byte) []byte {
	var b bytes.Buffer
	w, _ := gzip.NewWriterLevel(&b, gzip.BestCompression) // the level is valid
	w.Write(data)                                         // a bytes.Buffer does not fail
	w.Close()
	return b.Bytes()
}

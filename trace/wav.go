package trace

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"proveout/unit"
)

// WAVOptions say what the person knows about a WAV file.
type WAVOptions struct {
	// Columns map channels (number from 1, or "left" and "right") to roles and
	// scales. Scale is the value at full scale, "10 A"; without it values are
	// parts of full scale.
	Columns []Column
	// Size is the number of bytes to come, as a hint; 0 = unknown.
	Size int64
	// MaxValues bounds the values kept; 0 = DefaultMaxValues.
	MaxValues int64
	// Beyond says where a recording goes that is too much for memory.
	Beyond   Beyond
	Progress func(done int64)
}

// wavFormat is what the "fmt " chunk says (RIFF WAVE, Multimedia Programming
// Interface and Data Specifications 1.0, 1991; extensible form: Microsoft,
// WAVEFORMATEXTENSIBLE).
type wavFormat struct {
	float    bool
	channels int
	rate     uint32
	bits     int // in the container
	valid    int // bits that carry the sample
}

// ReadWAV reads a RIFF WAVE file: PCM of 8, 16, 24 and 32 bits and floats of 32
// and 64, plain or extensible, 1 to MaxColumns channels. Wrong sizes in the
// headers and a file that ends early are notes; what is there is read.
//
// A PCM sample v of b bits is v/2^(b-1) of full scale, so that the largest
// positive value is one step below it; FullScale is that largest magnitude.
func ReadWAV(r io.Reader, opts WAVOptions) (*Recording, error) {
	w := &wavReader{r: bufio.NewReaderSize(r, 1<<16), opts: opts, rec: &Recording{}}
	var head [12]byte
	if n, err := io.ReadFull(w.r, head[:]); err != nil {
		if n == 0 {
			return nil, ErrEmpty
		}
		return nil, fmt.Errorf("byte %d: the file ends within its first 12 bytes; copy it again from the recorder", n)
	}
	w.at = 12
	switch {
	case string(head[:4]) == "RF64":
		w.note(false, "RF64 file (longer than 4 GiB): sizes are taken from the data itself")
		w.longForm = true
	case string(head[:4]) != "RIFF" || string(head[8:]) != "WAVE":
		return nil, errors.New("byte 0: not a RIFF WAVE file; export the capture as WAV or CSV")
	}
	declared := int64(le32(head[4:])) + 8
	for {
		id, size, err := w.chunk()
		if err != nil {
			return nil, err
		}
		if id == "" {
			break
		}
		switch id {
		case "fmt ":
			if err := w.readFormat(size); err != nil {
				return nil, err
			}
		case "data":
			if w.form.channels == 0 {
				return nil, fmt.Errorf("byte %d: samples stand before the format; the file is damaged, export it again", w.at)
			}
			if w.haveData {
				w.note(true, "a second block of samples at byte %d is not used", w.at)
				if err := w.skip(size); err != nil {
					return nil, err
				}
				continue
			}
			if err := w.readData(size); err != nil {
				return nil, err
			}
		default:
			if err := w.skip(size); err != nil {
				return nil, err
			}
		}
	}
	if w.form.channels == 0 {
		return nil, errors.New("the file has no format block (\"fmt \"); it is damaged, export it again")
	}
	if !w.haveData || w.frames == 0 {
		return nil, errors.New("the file has no samples; record again")
	}
	if !w.longForm && declared != w.at && declared != w.at+1 && !w.early {
		w.note(false, "the header says %d bytes, the file has %d; all samples found are used", declared, w.at)
	}
	return w.finish()
}

type wavReader struct {
	r        *bufio.Reader
	opts     WAVOptions
	at       int64
	form     wavFormat
	vals     [][]float64     // read, or with out: read and not yet in the scratch
	out      []held[float64] // in the scratch, for each channel
	frames   int64
	haveData bool
	early    bool
	longForm bool
	rec      *Recording
}

func (w *wavReader) note(lost bool, format string, args ...any) {
	w.rec.Notes = append(w.rec.Notes, Note{Byte: w.at, Text: fmt.Sprintf(format, args...), Lost: lost})
}

// chunk reads the next chunk header; id is empty at the end of the file.
func (w *wavReader) chunk() (id string, size int64, err error) {
	var h [8]byte
	n, err := io.ReadFull(w.r, h[:])
	w.at += int64(n)
	switch {
	case err == io.EOF:
		return "", 0, nil
	case err == io.ErrUnexpectedEOF:
		if len(bytes.Trim(h[:n], "\x00")) > 0 {
			w.note(false, "%d bytes after the last block are not a block", n)
		}
		return "", 0, nil
	case err != nil:
		return "", 0, err
	}
	return string(h[:4]), int64(le32(h[4:])), nil
}

// skip passes over a chunk and its padding byte.
func (w *wavReader) skip(size int64) error {
	n, err := io.CopyN(io.Discard, w.r, size+size&1)
	w.at += n
	if err == io.EOF {
		if n < size {
			w.early = true
			w.note(false, "the file ends %d bytes early, within a block without samples", size-n)
		}
		return nil
	}
	return err
}

func (w *wavReader) readFormat(size int64) error {
	if size < 16 || size > 1<<12 {
		return fmt.Errorf("byte %d: the format block has %d bytes, 16 to 40 are usual; the file is damaged, export it again", w.at, size)
	}
	if w.form.channels != 0 {
		w.note(false, "a second format block is not used")
		return w.skip(size)
	}
	b := make([]byte, size+size&1)
	if n, err := io.ReadFull(w.r, b); err != nil && int64(n) < size {
		return fmt.Errorf("byte %d: the file ends within its format block; copy it again", w.at+int64(n))
	}
	w.at += int64(len(b))
	tag := le16(b)
	f := wavFormat{channels: le16(b[2:]), rate: le32(b[4:]), bits: le16(b[14:])}
	f.valid = f.bits
	align := le16(b[12:])
	if tag == 0xFFFE {
		if size < 40 {
			return fmt.Errorf("byte %d: extensible format, but only %d bytes of it; the file is damaged, export it again", w.at, size)
		}
		if v := le16(b[18:]); v > 0 && v <= f.bits {
			f.valid = v
		}
		if !bytes.Equal(b[26:40], waveGUID[:]) {
			return fmt.Errorf("byte %d: the samples are packed in a way not known here; export as plain PCM or float", w.at)
		}
		tag = le16(b[24:])
	}
	switch tag {
	case 1:
		if f.bits != 8 && f.bits != 16 && f.bits != 24 && f.bits != 32 {
			return fmt.Errorf("byte %d: PCM with %d bits a sample; 8, 16, 24 and 32 can be read", w.at, f.bits)
		}
	case 3:
		f.float = true
		if f.bits != 32 && f.bits != 64 {
			return fmt.Errorf("byte %d: floats with %d bits; 32 and 64 can be read", w.at, f.bits)
		}
	default:
		return fmt.Errorf("byte %d: packed samples (format %d) cannot be measured; export as plain PCM or float", w.at, tag)
	}
	if f.channels < 1 || f.channels > MaxColumns {
		return fmt.Errorf("byte %d: %d channels; 1 to %d can be read", w.at, f.channels, MaxColumns)
	}
	if f.rate == 0 {
		return fmt.Errorf("byte %d: the sample rate is 0; the file is damaged, export it again", w.at)
	}
	if want := f.channels * f.bits / 8; align != want {
		w.note(false, "the header says %d bytes for each sample of all channels, the format makes it %d; %d is used", align, want, want)
	}
	w.form = f
	return nil
}

// waveGUID is the fixed tail of the sub-format ids of PCM and float.
var waveGUID = [14]byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71}

func (w *wavReader) readData(size int64) error {
	w.haveData = true
	f := w.form
	frame := f.channels * f.bits / 8
	toEnd := size == 0xFFFFFFFF || (size == 0 && w.longForm)
	if toEnd {
		w.note(false, "the length of the samples was never written (the recorder was stopped hard); read to the end of the file")
		size = math.MaxInt64 - 1
	}
	limit := w.opts.MaxValues
	if limit <= 0 {
		limit = DefaultMaxValues
	}
	w.vals = make([][]float64, f.channels)
	if have := w.opts.Size - w.at; have > 0 { // what the file truly has, not what it says
		n := min(have, size) / int64(frame)
		if most := w.opts.Beyond.room(limit) / int64(f.channels); n > most {
			n = most
			if w.opts.Beyond.Scratch != nil {
				n = 0 // it will not stay in memory
			}
		}
		for c := range w.vals {
			w.vals[c] = make([]float64, 0, n)
		}
	}
	buf := make([]byte, frame*max(1, (1<<16)/frame))
	left := size
	for left > 0 {
		want := min(int64(len(buf)), left)
		n, err := io.ReadFull(w.r, buf[:want])
		w.at += int64(n)
		left -= int64(n)
		if w.frames += int64(n / frame); w.frames*int64(f.channels) > limit {
			return fmt.Errorf("byte %d: the file holds more than %d values; cut it into shorter captures, or give --max-values with more (8 bytes each)", w.at, limit)
		}
		f.decode(buf[:n/frame*frame], w.vals)
		if err := w.spill(limit); err != nil {
			return err
		}
		if w.opts.Progress != nil {
			w.opts.Progress(w.at)
		}
		if rest := n % frame; rest != 0 && (err != nil || left == 0) {
			w.note(true, "%d bytes at the end of the samples are less than one sample of all channels", rest)
		}
		if err != nil {
			if err != io.EOF && err != io.ErrUnexpectedEOF {
				return err
			}
			if !toEnd {
				w.early = true
				w.note(true, "the file is cut off: %d of %d bytes of samples are there; they are used", size-left, size)
			}
			return nil
		}
	}
	if size&1 == 1 {
		n, _ := w.r.Discard(1)
		w.at += int64(n)
	}
	return nil
}

// spill moves what was read to the scratch, once there is no more room for it.
func (w *wavReader) spill(limit int64) error {
	if w.out == nil {
		if w.frames*int64(len(w.vals)) <= w.opts.Beyond.room(limit) {
			return nil
		}
		w.out = make([]held[float64], len(w.vals))
		for c := range w.out {
			if err := w.out[c].spill(w.opts.Beyond.Scratch); err != nil {
				return err
			}
		}
	}
	for c := range w.out {
		if err := w.out[c].append(w.vals[c]); err != nil {
			return err
		}
		if w.vals[c] = w.vals[c][:0]; cap(w.vals[c]) > chunkSize {
			w.vals[c] = nil // the room that was taken for all of it
		}
	}
	return nil
}

// decode appends the samples of whole frames, as parts of full scale.
func (f wavFormat) decode(b []byte, vals [][]float64) {
	width := f.bits / 8
	for i := 0; i < len(b); {
		for c := range vals {
			s := b[i : i+width]
			var v float64
			switch {
			case f.float && width == 4:
				v = float64(math.Float32frombits(le32(s)))
			case f.float:
				v = math.Float64frombits(binary.LittleEndian.Uint64(s))
			case width == 1:
				v = float64(int(s[0])-128) / (1 << 7)
			case width == 2:
				v = float64(int16(le16(s))) / (1 << 15)
			case width == 3:
				v = float64(int32(uint32(s[0])<<8|uint32(s[1])<<16|uint32(s[2])<<24)>>8) / (1 << 23)
			default:
				v = float64(int32(le32(s))) / (1 << 31)
			}
			vals[c] = append(vals[c], v)
			i += width
		}
	}
}

func (w *wavReader) finish() (*Recording, error) {
	f, rec := w.form, w.rec
	for c := range w.out {
		var err error
		if w.vals[c], err = w.out[c].all(); err != nil {
			return nil, err
		}
	}
	n := len(w.vals[0])
	rec.Time = TimeBase{Num: second, Den: int64(f.rate), N: n}
	rec.Segments = []Segment{{0, n}}
	kind := "PCM"
	if f.float {
		kind = "float"
	}
	rec.Notes = append([]Note{{Text: fmt.Sprintf("WAV: %d channels, %d Hz, %d bit %s", f.channels, f.rate, f.valid, kind)}}, rec.Notes...)
	heads := make([]heading, f.channels)
	for i := range heads {
		heads[i] = heading{name: fmt.Sprintf("channel %d", i+1), label: fmt.Sprintf("channel %d", i+1), unit: noUnit}
		if f.channels == 2 {
			heads[i].label = [2]string{"left", "right"}[i]
		}
	}
	mapped := make([]int, f.channels)
	for m, c := range w.opts.Columns {
		i, err := findColumn(c, heads)
		if err != nil {
			return nil, err
		}
		if mapped[i] != 0 {
			return nil, fmt.Errorf("column %q is mapped twice; keep one", c.Column)
		}
		if c.As == AsTime || c.As == AsCounter {
			return nil, fmt.Errorf("column %q: a WAV file has its own time; give another role", c.Column)
		}
		mapped[i] = m + 1
	}
	for i, v := range w.vals {
		ch := Channel{Name: heads[i].name, Label: heads[i].label, Unit: unit.Must("ratio"), Values: v, Column: i + 1, Mapped: mapped[i]}
		full := 1.0
		if m := mapped[i]; m > 0 {
			c := w.opts.Columns[m-1]
			ch.As = c.As
			if c.As == AsIgnore {
				rec.Notes = append(rec.Notes, Note{Text: fmt.Sprintf("%s is left out, as the mapping says", ch.Name)})
				continue
			}
			if pr, ok := unit.ParseProbe(c.Scale); ok {
				return nil, fmt.Errorf("column %q: how many volts full scale is, a WAV file does not say, so %s is not enough; give the value at full scale, for example scale: 10 %s", c.Column, c.Scale, pr.Unit.Symbol)
			}
			factor, u, err := c.scaleOf(noUnit)
			if err != nil {
				return nil, err
			}
			switch {
			case c.Scale != "" && !u.IsZero():
				full, ch.Unit = u.SI(factor), u
				if u.Offset != 0 {
					return nil, fmt.Errorf("column %q: full scale in %s has no zero that matches the zero of the recording; give it in degC", c.Column, u.Symbol)
				}
			case c.Scale != "":
				full, ch.Unit = factor, noUnit
			case !u.IsZero():
				return nil, fmt.Errorf("column %q: a unit without a scale; give the value at full scale, for example scale: 10 %s", c.Column, u.Symbol)
			}
		}
		if full == 1 && ch.Unit.Symbol == "ratio" {
			rec.Notes = append(rec.Notes, Note{Text: fmt.Sprintf("%s: no scale is given; values are parts of full scale", ch.Name)})
		}
		bad := 0
		for k, x := range v {
			if x-x != 0 { // NaN or infinite
				bad++
				v[k] = math.NaN()
			} else if full != 1 {
				v[k] = x * full
			}
		}
		if bad > 0 {
			rec.Notes = append(rec.Notes, Note{Text: fmt.Sprintf("%s: %d samples are not finite numbers and are left empty", ch.Name, bad), Lost: true})
		}
		if !f.float {
			ch.FullScale = math.Abs(full) * (1 - math.Pow(2, 1-float64(f.valid)))
		} else {
			ch.FullScale = math.Abs(full)
		}
		rec.Channels = append(rec.Channels, ch)
	}
	if len(rec.Channels) == 0 {
		return nil, errors.New("the mapping leaves out every channel")
	}
	return rec, nil
}

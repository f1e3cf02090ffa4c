package shop

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"proveout/trace"
)

// A trace file is the decoded form of a capture, made to be drawn from: all
// samples as float32, and least and greatest values of blocks of 64 samples, of 16
// such blocks, and so on. It can be made again from the capture at any time; its
// name says from which one, with which mapping, by which decoder.
//
//	8 bytes  "PVTRACE1"
//	4 bytes  length of the header, little-endian
//	header   JSON, traceHeader
//	data     little-endian float32 and int64 at the offsets the header names,
//	         counted from the end of the header
const traceMagic = "PVTRACE1"

const (
	traceBlock = 64
	traceFan   = 16
)

// traceHeader says what a trace file holds.
type traceHeader struct {
	Kind     string          `json:"kind"`
	Time     traceTime       `json:"time"`
	Channels []traceChannel  `json:"channels"`
	Segments []trace.Segment `json:"segments"`
	Notes    []trace.Note    `json:"notes"`
}

type traceTime struct {
	Start    int64  `json:"start"`
	Num      int64  `json:"num"`
	Den      int64  `json:"den"`
	N        int    `json:"n"`
	Stamps   bool   `json:"stamps"` // int64 for each sample lie at Offset
	Offset   int64  `json:"offset"`
	Origin   int64  `json:"origin"`
	OriginOf string `json:"origin_of"`
}

type traceChannel struct {
	Name      string       `json:"name"`
	Label     string       `json:"label"`
	Unit      string       `json:"unit"`   // as in the file
	SI        string       `json:"si"`     // of the values
	Factor    float64      `json:"factor"` // SI = value in Unit * Factor + Shift
	Shift     float64      `json:"shift"`
	Column    int          `json:"column"`
	As        string       `json:"as"`
	Edges     bool         `json:"edges"`
	FullScale float64      `json:"full_scale"`
	UpdateHz  float64      `json:"update_hz"`
	Missing   int          `json:"missing"`
	Min       float64      `json:"min"`
	Max       float64      `json:"max"`
	Offset    int64        `json:"offset"` // of the samples
	Levels    []traceLevel `json:"levels"`
}

type traceLevel struct {
	Offset int64 `json:"offset"` // of pairs least, greatest
	Blocks int   `json:"blocks"`
}

// writeTrace writes a recording as a trace file.
func writeTrace(path string, r *trace.Recording, kind trace.Kind) error {
	return inPlace(path, func(f io.Writer) error {
		w := bufio.NewWriterSize(f, 1<<20)
		if err := imageTrace(w, r, kind); err != nil {
			return err
		}
		return w.Flush() // gives the first error of all the writes
	})
}

// inPlace writes a file beside its place and moves it there when it is whole.
func inPlace(path string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".trace-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	if err := errors.Join(write(f), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// imageTrace writes the bytes of a trace file.
func imageTrace(w io.Writer, r *trace.Recording, kind trace.Kind) error {
	h, pyramids := traceLayout(r, kind)
	head, err := json.Marshal(h)
	if err != nil {
		return err
	}
	io.WriteString(w, traceMagic)
	w.Write(binary.LittleEndian.AppendUint32(nil, uint32(len(head))))
	w.Write(head)
	writeStamps(w, r.Time.Stamps)
	for i := range r.Channels {
		writeFloats(w, r.Channels[i].Values)
		for _, l := range pyramids[i] {
			writePairs(w, l)
		}
	}
	return nil
}

// pair is a least and a greatest value.
type pair struct{ lo, hi float32 }

func traceLayout(r *trace.Recording, kind trace.Kind) (traceHeader, [][][]pair) {
	t := r.Time
	h := traceHeader{
		Kind: string(kind), Segments: r.Segments, Notes: r.Notes,
		Time: traceTime{Start: t.Start, Num: t.Num, Den: t.Den, N: t.N, Stamps: t.Stamps != nil, Origin: t.Origin, OriginOf: t.OriginOf},
	}
	offset := int64(8 * len(t.Stamps))
	pyramids := make([][][]pair, len(r.Channels))
	for i := range r.Channels {
		c := &r.Channels[i]
		ch := traceChannel{
			Name: c.Name, Label: c.Label, Unit: c.Unit.Symbol, SI: siSymbol(c.Unit), Factor: c.Unit.Factor, Shift: c.Unit.Offset, Column: c.Column, As: c.As, Edges: c.Edges, FullScale: c.FullScale, UpdateHz: c.UpdateHz,
			Offset: offset,
		}
		offset += int64(4 * len(c.Values))
		pyramids[i] = pyramid(c.Values)
		for _, l := range pyramids[i] {
			ch.Levels = append(ch.Levels, traceLevel{Offset: offset, Blocks: len(l)})
			offset += int64(8 * len(l))
		}
		ch.Missing, ch.Min, ch.Max = extent(c.Values)
		h.Channels = append(h.Channels, ch)
	}
	return h, pyramids
}

func pyramid(v []float64) [][]pair {
	if len(v) < traceBlock {
		return nil
	}
	level := make([]pair, (len(v)+traceBlock-1)/traceBlock)
	for b := range level {
		p := nothing
		for _, x := range v[b*traceBlock : min(len(v), (b+1)*traceBlock)] {
			p.take(float32(x), float32(x))
		}
		level[b] = p
	}
	out := [][]pair{level}
	for len(level) > traceFan {
		up := make([]pair, (len(level)+traceFan-1)/traceFan)
		for b := range up {
			p := nothing
			for _, q := range level[b*traceFan : min(len(level), (b+1)*traceFan)] {
				p.take(q.lo, q.hi)
			}
			up[b] = p
		}
		out, level = append(out, up), up
	}
	return out
}

var nan32 = float32(math.NaN())

// nothing is the range of no value: missing until one is taken.
var nothing = pair{nan32, nan32}

// take widens the range; a missing value changes nothing.
func (p *pair) take(lo, hi float32) {
	if !(p.lo <= lo) && lo == lo {
		p.lo = lo
	}
	if !(p.hi >= hi) && hi == hi {
		p.hi = hi
	}
}

func extent(v []float64) (missing int, lo, hi float64) {
	any := false
	for _, x := range v {
		switch {
		case math.IsNaN(x) || math.IsInf(x, 0):
			missing++
		case !any:
			lo, hi, any = x, x, true
		default:
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	return missing, lo, hi
}

func writeStamps(w io.Writer, v []int64) {
	buf := make([]byte, 0, 1<<16)
	for i, x := range v {
		if buf = binary.LittleEndian.AppendUint64(buf, uint64(x)); len(buf) == cap(buf) || i == len(v)-1 {
			w.Write(buf)
			buf = buf[:0]
		}
	}
}

func writeFloats(w io.Writer, v []float64) {
	buf := make([]byte, 0, 1<<16)
	for i, x := range v {
		if buf = binary.LittleEndian.AppendUint32(buf, math.Float32bits(float32(x))); len(buf) == cap(buf) || i == len(v)-1 {
			w.Write(buf)
			buf = buf[:0]
		}
	}
}

func writePairs(w io.Writer, v []pair) {
	buf := make([]byte, 0, 8*len(v))
	for _, p := range v {
		buf = binary.LittleEndian.AppendUint32(buf, math.Float32bits(p.lo))
		buf = binary.LittleEndian.AppendUint32(buf, math.Float32bits(p.hi))
	}
	w.Write(buf)
}

// traceFile is a trace file open for drawing. Block ranges are in memory, an
// eighth of a byte for each byte of samples; samples are read where they are
// needed.
type traceFile struct {
	f      traceBytes
	head   traceHeader
	data   int64      // where the data begins
	blocks [][][]pair // by channel and level
	bytes  int64      // memory the blocks take
}

// traceBytes are the bytes of a trace: a file, or memory while the file is written.
type traceBytes interface {
	io.ReaderAt
	io.Closer
}

func openTrace(path string) (*traceFile, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	t, err := readTrace(f, path)
	if err != nil {
		f.Close()
		return nil, err
	}
	return t, nil
}

func readTrace(f traceBytes, path string) (*traceFile, error) {
	start := make([]byte, len(traceMagic)+4)
	if _, err := f.ReadAt(start, 0); err != nil || string(start[:len(traceMagic)]) != traceMagic {
		return nil, fmt.Errorf("%s is no trace file", path)
	}
	n := binary.LittleEndian.Uint32(start[len(traceMagic):])
	if n > 64<<20 {
		return nil, fmt.Errorf("%s is no trace file", path)
	}
	head := make([]byte, n)
	if _, err := f.ReadAt(head, int64(len(start))); err != nil {
		return nil, err
	}
	t := &traceFile{f: f, data: int64(len(start)) + int64(n)}
	if err := json.Unmarshal(head, &t.head); err != nil {
		return nil, err
	}
	for i := range t.head.Channels {
		var levels [][]pair
		for _, l := range t.head.Channels[i].Levels {
			buf := make([]byte, 8*l.Blocks)
			if _, err := f.ReadAt(buf, t.data+l.Offset); err != nil {
				return nil, err
			}
			pairs := make([]pair, l.Blocks)
			for b := range pairs {
				pairs[b] = pair{math.Float32frombits(binary.LittleEndian.Uint32(buf[8*b:])), math.Float32frombits(binary.LittleEndian.Uint32(buf[8*b+4:]))}
			}
			levels = append(levels, pairs)
			t.bytes += int64(len(buf))
		}
		t.blocks = append(t.blocks, levels)
	}
	return t, nil
}

// view gives px ranges that cover samples from..to-1 of a channel, exactly.
func (t *traceFile) view(channel int, from, to int64, px int) ([]float32, error) {
	n := int64(t.head.Time.N)
	from, to = max(from, 0), min(to, n)
	if from >= to {
		return nil, nil
	}
	px = int(min(int64(px), to-from))
	d := drawer{t: t, channel: channel, base: t.data + t.head.Channels[channel].Offset}
	out := make([]float32, 0, 2*px)
	for i := range int64(px) {
		p := nothing
		d.collect(&p, from+i*(to-from)/int64(px), from+(i+1)*(to-from)/int64(px), len(t.blocks[channel])-1)
		out = append(out, p.lo, p.hi)
	}
	return out, d.err
}

// drawer reads samples through a window, since neighbours are asked for in turn.
type drawer struct {
	t       *traceFile
	channel int
	base    int64
	buf     []byte
	first   int64 // sample at buf's start
	err     error
}

// collect widens p by samples first..end-1, whole blocks of level where they fit.
func (d *drawer) collect(p *pair, first, end int64, level int) {
	if level < 0 {
		d.samples(p, first, end)
		return
	}
	size := int64(traceBlock)
	for range level {
		size *= traceFan
	}
	a, z := (first+size-1)/size, end/size
	if end == int64(d.t.head.Time.N) {
		z = (end + size - 1) / size // the last block ends with the channel
	}
	if a >= z {
		d.collect(p, first, end, level-1)
		return
	}
	if first < a*size {
		d.collect(p, first, a*size, level-1)
	}
	for _, q := range d.t.blocks[d.channel][level][a:z] {
		p.take(q.lo, q.hi)
	}
	if z*size < end {
		d.collect(p, z*size, end, level-1)
	}
}

// window is how many samples are read at once.
const window = 16 << 10

func (d *drawer) samples(p *pair, first, end int64) {
	for i := first; i < end && d.err == nil; i++ {
		if i < d.first || i >= d.first+int64(len(d.buf)/4) {
			d.read(i)
			if d.err != nil {
				return
			}
		}
		x := math.Float32frombits(binary.LittleEndian.Uint32(d.buf[4*(i-d.first):]))
		p.take(x, x)
	}
}

func (d *drawer) read(at int64) {
	n := min(int64(window), int64(d.t.head.Time.N)-at)
	if d.buf = d.buf[:0]; cap(d.buf) < window*4 {
		d.buf = make([]byte, 0, window*4)
	}
	d.buf = d.buf[:4*n]
	_, d.err = d.t.f.ReadAt(d.buf, d.base+4*at)
	d.first = at
}

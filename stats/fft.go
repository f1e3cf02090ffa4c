package stats

import (
	"fmt"
	"math"
	"math/bits"
	"math/cmplx"
	"sync"
)

// FFT is the discrete Fourier transform of real series whose length is a power of two.
// It is made once for a length and kept: what it needs of tables and room it holds. It
// must not be used by two goroutines at once.
//
// A series of n samples is transformed as n/2 complex numbers (Cooley, Lewis, Welch,
// "The fast Fourier transform algorithm", J. Sound Vib. 12 (1970)), those by Stockham's
// method in steps of four, and where they outgrow the cache as a matrix, first its
// columns and then its rows (Bailey, "FFTs in external or hierarchical memory", 1990).
type FFT struct {
	n    int
	turn []complex128 // exp(-2 pi i k/n) for k up to n/4
	half *dft
	room []complex128
}

// NewFFT makes the transform of series of n samples; n is a power of two, at least 4.
func NewFFT(n int) *FFT {
	if n < 4 || n&(n-1) != 0 {
		panic(fmt.Sprintf("stats: an FFT of %d samples; the length is a power of two, at least 4", n))
	}
	f := &FFT{n: n, turn: make([]complex128, n/4+1), half: newDFT(n / 2), room: make([]complex128, n/2)}
	for k := range f.turn {
		f.turn[k] = unit(k, n)
	}
	return f
}

// keptFFTs are transforms that were given back, by the power of two of their length:
// the tables of one cost as much as using it.
var keptFFTs [64]sync.Pool

// BorrowFFT gives a transform of series of n samples, one that was given back if
// there is one.
func BorrowFFT(n int) *FFT {
	if f, ok := keptFFTs[bits.Len(uint(n))].Get().(*FFT); ok && f.n == n {
		return f
	}
	return NewFFT(n)
}

// GiveBack ends the use of a borrowed transform.
func (f *FFT) GiveBack() { keptFFTs[bits.Len(uint(f.n))].Put(f) }

// unit is exp(-2 pi i k/n).
func unit(k, n int) complex128 { return cmplx.Rect(1, -2*math.Pi*float64(k)/float64(n)) }

// Spectrum gives the n/2+1 coefficients sum_j x[j] exp(-2 pi i jk/n), in dst if it is
// large enough. x is left alone.
func (f *FFT) Spectrum(dst []complex128, x []float64) []complex128 {
	if len(x) != f.n {
		panic(fmt.Sprintf("stats: an FFT made for %d samples is given %d", f.n, len(x)))
	}
	m := f.n / 2
	if cap(dst) <= m {
		dst = make([]complex128, m+1)
	}
	dst = dst[:m+1]
	z := dst[:m]
	f.half.real(z, x)
	zero := z[0]
	dst[0], dst[m] = complex(real(zero)+imag(zero), 0), complex(real(zero)-imag(zero), 0)
	for k := 1; k <= m/2; k++ {
		a, b := z[k], z[m-k]
		// The even samples' part and the odd ones', turned to their place.
		er, ei := (real(a)+real(b))/2, (imag(a)-imag(b))/2
		or, oi := (imag(a)+imag(b))/2, (real(b)-real(a))/2
		wr, wi := real(f.turn[k]), imag(f.turn[k])
		tr, ti := or*wr-oi*wi, or*wi+oi*wr
		z[k], z[m-k] = complex(er+tr, ei+ti), complex(er-tr, ti-ei)
	}
	return dst
}

// Series undoes Spectrum: the n samples with the n/2+1 coefficients c, in dst if it is
// large enough. c is left alone; the imaginary parts of its ends count for nothing.
func (f *FFT) Series(dst []float64, c []complex128) []float64 {
	m := f.n / 2
	if len(c) != m+1 {
		panic(fmt.Sprintf("stats: an FFT made for %d samples is given %d coefficients", f.n, len(c)))
	}
	if cap(dst) < f.n {
		dst = make([]float64, f.n)
	}
	dst = dst[:f.n]
	z := f.room
	// The conjugate is transformed forwards: its transform is that of the series backwards.
	z[0] = complex((real(c[0])+real(c[m]))/2, -(real(c[0])-real(c[m]))/2)
	for k := 1; k <= m/2; k++ {
		a, b := c[k], c[m-k]
		er, ei := (real(a)+real(b))/2, (imag(a)-imag(b))/2
		tr, ti := (real(a)-real(b))/2, (imag(a)+imag(b))/2
		wr, wi := real(f.turn[k]), -imag(f.turn[k])
		or, oi := tr*wr-ti*wi, tr*wi+ti*wr
		z[k], z[m-k] = complex(er-oi, -ei-or), complex(er+oi, ei-or)
	}
	f.half.run(z)
	scale := 1 / float64(m)
	for k, v := range z {
		dst[2*k], dst[2*k+1] = real(v)*scale, -imag(v)*scale
	}
	return dst
}

// dft is the transform of m complex numbers in place, m a power of two.
type dft struct {
	m     int
	turn  []complex128 // exp(-2 pi i k/m); up to 3m/4 for a short one, in two parts for a long one
	fine  []complex128 // of a long one: exp(-2 pi i k/m) for k below its rows
	short []complex128 // a second room of the same length, of a long one with its rows apart

	rows, columns *dft // of a long one
	block         []complex128
}

// Beyond 4096 numbers (64 kB, and a second room beside) a transform goes by the matrix;
// 8 columns or rows at a time fill whole cache lines, and rows a little apart from a
// power of two do not all want the same place in the cache. Our choice, by measurement.
const (
	longDFT  = 4096
	together = 8
	apart    = 8
)

func newDFT(m int) *dft {
	d := &dft{m: m}
	if m <= longDFT {
		d.short = make([]complex128, m)
		d.turn = make([]complex128, max(1, 3*m/4))
		for k := range d.turn {
			d.turn[k] = unit(k, m)
		}
		return d
	}
	r := 1 << (bits.Len(uint(m)) / 2)
	d.columns, d.rows = newDFT(r), newDFT(m/r)
	d.block = make([]complex128, together*(r+apart))
	d.short = make([]complex128, r*(m/r+apart))
	d.fine, d.turn = make([]complex128, r), make([]complex128, m/r)
	for k := range d.fine {
		d.fine[k] = unit(k, m)
	}
	for k := range d.turn {
		d.turn[k] = unit(k, m/r)
	}
	return d
}

// real transforms the pairs of x as complex numbers into z.
func (d *dft) real(z []complex128, x []float64) {
	x = x[:2*len(z)]
	if d.rows == nil {
		for k := range z {
			z[k] = complex(x[2*k], x[2*k+1])
		}
		d.run(z)
		return
	}
	d.long(z, func(block []complex128, j int) {
		c := d.rows.m
		for i := range d.columns.m {
			pair := x[2*(i*c+j):][:2*together]
			for q := range together {
				block[q*(d.columns.m+apart)+i] = complex(pair[2*q], pair[2*q+1])
			}
		}
	})
}

func (d *dft) run(z []complex128) {
	if d.rows == nil {
		d.stockham(z)
		return
	}
	d.long(z, func(block []complex128, j int) {
		c := d.rows.m
		for i := range d.columns.m {
			for q, v := range z[i*c+j:][:together] {
				block[q*(d.columns.m+apart)+i] = v
			}
		}
	})
}

// long goes by a matrix of r rows and c columns, number i*c+j in row i and column j:
// each column is transformed, turned by exp(-2 pi i k j/m), then each row; coefficient
// k + r*l is then in row k, column l. columns lays columns j and on into the block.
func (d *dft) long(z []complex128, columns func(block []complex128, j int)) {
	r, c := d.columns.m, d.rows.m
	shift, mask := bits.TrailingZeros(uint(r)), r-1
	for j := 0; j < c; j += together {
		columns(d.block, j)
		for q := range together {
			column := d.block[q*(r+apart):][:r]
			d.columns.run(column)
			for k, at := 0, 0; k < r; k, at = k+1, at+j+q { // at is k*(j+q), which stays below m
				column[k] *= d.turn[at>>shift] * d.fine[at&mask]
			}
		}
		for k := range r {
			line := d.short[k*(c+apart)+j:][:together]
			for q := range line {
				line[q] = d.block[q*(r+apart)+k]
			}
		}
	}
	for k := 0; k < r; k += together {
		rows := d.short[k*(c+apart):]
		for q := range together {
			d.rows.run(rows[q*(c+apart):][:c])
		}
		for l := range c {
			line := z[l*r+k:][:together]
			for q := range line {
				line[q] = rows[q*(c+apart)+l]
			}
		}
	}
}

// stockham transforms by steps of four from one room into the other and back, so that
// nothing has to be sorted; a last step of two where the length asks for one.
func (d *dft) stockham(z []complex128) {
	x, y := z, d.short
	n, s := d.m, 1
	for ; n >= 4; n, s = n/4, 4*s {
		d.four(x, y, n, s)
		x, y = y, x
	}
	if n == 2 {
		a, b, lo, hi := x[:s], x[s:][:s], y[:s], y[s:][:s]
		for q := range a {
			lo[q], hi[q] = a[q]+b[q], a[q]-b[q]
		}
		x, y = y, x
	}
	if &x[0] != &z[0] {
		copy(z, x)
	}
}

// four is one step: s interleaved series of n numbers each become 4*s of n/4.
func (d *dft) four(x, y []complex128, n, s int) {
	m := n / 4
	if s == 1 {
		x0, x1, x2, x3 := x[:m], x[m:][:m], x[2*m:][:m], x[3*m:][:m]
		for p := range m {
			w1, w2, w3 := d.turn[p], d.turn[2*p], d.turn[3*p]
			a, b, c, e := x0[p], x1[p], x2[p], x3[p]
			ac, am, be, bm := a+c, a-c, b+e, b-e
			jb := complex(-imag(bm), real(bm))
			out := y[4*p:][:4]
			out[0], out[1], out[2], out[3] = ac+be, w1*(am-jb), w2*(ac-be), w3*(am+jb)
		}
		return
	}
	for p := range m {
		w1, w2, w3 := d.turn[p*s], d.turn[2*p*s], d.turn[3*p*s]
		x0, x1, x2, x3 := x[s*p:][:s], x[s*(p+m):][:s], x[s*(p+2*m):][:s], x[s*(p+3*m):][:s]
		y0, y1, y2, y3 := y[4*s*p:][:s], y[s*(4*p+1):][:s], y[s*(4*p+2):][:s], y[s*(4*p+3):][:s]
		for q := range x0 {
			a, b, c, e := x0[q], x1[q], x2[q], x3[q]
			ac, am, be, bm := a+c, a-c, b+e, b-e
			jb := complex(-imag(bm), real(bm))
			y0[q], y1[q], y2[q], y3[q] = ac+be, w1*(am-jb), w2*(ac-be), w3*(am+jb)
		}
	}
}

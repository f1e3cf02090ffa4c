package stats

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Against the sum that defines it, and gonum's transform where that is too slow.
func TestSpectrum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 4; n <= 1<<18; n *= 2 {
		x := make([]float64, n)
		size := 0.0
		for i := range x {
			x[i] = rng.NormFloat64()
			size += x[i] * x[i]
		}
		f := NewFFT(n)
		got := f.Spectrum(nil, x)
		want := fourier.NewFFT(n).Coefficients(nil, x)
		if n <= 512 {
			for k := range want {
				want[k] = 0
				for j, v := range x {
					want[k] += complex(v, 0) * unit(j*k%n, n)
				}
			}
		}
		for k := range want {
			if cmplx.Abs(got[k]-want[k]) > 1e-14*math.Log2(float64(n))*math.Sqrt(size) {
				t.Fatalf("%d samples, coefficient %d: %v, want %v", n, k, got[k], want[k])
			}
		}
		for i, v := range f.Series(nil, got) {
			if math.Abs(v-x[i]) > 1e-14*math.Log2(float64(n)) {
				t.Fatalf("%d samples there and back: sample %d is %v, was %v", n, i, v, x[i])
			}
		}
	}
}

func TestSpectrumKeepsItsRoom(t *testing.T) {
	for _, n := range []int{1 << 12, 1 << 16} {
		f, x, c := NewFFT(n), make([]float64, n), make([]complex128, n/2+1)
		f.Spectrum(c, x)
		if a := testing.AllocsPerRun(10, func() { f.Spectrum(c, x); f.Series(x, c) }); a > 4 {
			t.Errorf("%d samples: %v allocations", n, a)
		}
	}
}

func BenchmarkSpectrum(b *testing.B) {
	for _, n := range []int{1 << 12, 1 << 15, 1 << 20} {
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Sin(float64(i * i))
		}
		c := make([]complex128, n/2+1)
		b.Run(fmt.Sprint("own/", n), func(b *testing.B) {
			f := NewFFT(n)
			for b.Loop() {
				f.Spectrum(c, x)
			}
		})
		b.Run(fmt.Sprint("gonum/", n), func(b *testing.B) {
			f := fourier.NewFFT(n)
			for b.Loop() {
				f.Coefficients(c, x)
			}
		})
	}
}

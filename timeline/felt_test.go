package timeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// drive draws channels that wander (first-order, time constants of 1 to 20 s); in
// channel 2, if felt, something happens a second before each mark.
func drive(seed uint64, channels int, marks []float64, felt bool) []Track {
	rng := rand.New(rand.NewPCG(seed, 12))
	var out []Track
	for c := range channels {
		tau := math.Exp(rng.Float64() * 3)
		k := Track{Name: fmt.Sprintf("channel %d", c), Step: 0.5}
		v := 0.0
		for t := 0.0; t < 600; t += 0.5 {
			v += -v*0.5/tau + math.Sqrt(1/tau)*rng.NormFloat64()
			x := v
			for _, m := range marks {
				if d := t - (m - 1.2); felt && c == 2 && d >= 0 && d < 1.5 {
					x -= 5
				}
			}
			k.T, k.V = append(k.T, t), append(k.V, x)
		}
		out = append(out, k)
	}
	return out
}

func drawMarks(rng *rand.Rand, n int) []float64 {
	var out []float64
	for range n {
		out = append(out, 20+560*rng.Float64())
	}
	return out
}

// TestFeltFindsTheChannel that moved, and no other, in most drives.
func TestFeltFindsTheChannel(t *testing.T) {
	found, others := 0, 0
	const n = 60
	for seed := range uint64(n) {
		marks := drawMarks(rand.New(rand.NewPCG(seed, 13)), 8)
		got, err := Felt(drive(seed, 12, marks, true), marks, FeltOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range got {
			if a.Established && a.Channel != "channel 2" {
				others++
			}
			if i == 0 && a.Channel == "channel 2" && a.Established {
				found++
				if a.Up > a.Marks/2 {
					t.Errorf("seed %d: %d of %d upward, drawn downward", seed, a.Up, a.Marks)
				}
			}
		}
	}
	if found < 9*n/10 || others > n/10 {
		t.Errorf("found on %d of %d drives, %d others called", found, n, others)
	}
}

// TestFeltIsSeldomWrong: with marks anywhere, some channel of twelve is called in at
// most 5 % of drives: 95 % binomial limits of 300 are 2.8 to 8.1 %.
func TestFeltIsSeldomWrong(t *testing.T) {
	wrong := 0
	const n = 300
	for seed := range uint64(n) {
		marks := drawMarks(rand.New(rand.NewPCG(seed, 14)), 6)
		got, err := Felt(drive(seed+1000, 12, marks, false), marks, FeltOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got[0].Established {
			wrong++
		}
	}
	t.Logf("%d of %d drives without a cause call a channel", wrong, n)
	if wrong > 24 {
		t.Errorf("a channel is called on %d of %d drives on which nothing happened", wrong, n)
	}
}

func TestFeltRefuses(t *testing.T) {
	tracks := drive(1, 3, nil, false)
	for _, c := range []struct {
		marks []float64
		why   string
	}{
		{nil, "no mark lies"},
		{[]float64{100}, "one mark lies"},
		{[]float64{100, 101, 102, 104}, "2 marks lie"},
		{[]float64{-5, 700, 701, 900}, "no mark lies"},
		{[]float64{5, 15, 25, 35, 45, 55, 65, 75, 85, 95, 105, 115, 125, 135, 145, 155, 165, 175, 185, 195, 205, 215, 225, 235, 245, 255, 265, 275, 285, 295, 305, 315, 325, 335, 345, 355, 365, 375, 385, 395, 405, 415, 425, 435, 445, 455, 465, 475, 485, 495, 505, 515, 525, 535, 545, 555, 565, 575}, "more than a third"},
	} {
		if got, err := Felt(tracks, c.marks, FeltOptions{}); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%v: %v %v", c.marks, got, err)
		}
	}
	short := Track{Name: "short", T: []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20}, V: make([]float64, 21), Step: 1}
	if _, err := Felt([]Track{short}, []float64{3, 9, 15}, FeltOptions{}); err == nil || !strings.Contains(err.Error(), "lasts 20 s") {
		t.Errorf("a short recording: %v", err)
	}
}

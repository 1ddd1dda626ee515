package signal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// uneven returns times over span seconds at about rate Hz, with jitter as a
// share of the spacing and every drop-th sample missing (0 = none).
func uneven(rate, span, jitter float64, drop int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	var ts []float64
	for i := range int(span*rate) + 1 {
		if drop > 0 && i%drop == drop-1 {
			continue
		}
		ts = append(ts, (float64(i)+jitter*(r.Float64()-0.5))/rate)
	}
	return ts
}

func sample(ts []float64, f func(float64) float64) []float64 {
	x := make([]float64, len(ts))
	for i, t := range ts {
		x[i] = f(t)
	}
	return x
}

// TestSmoothOnTrueTimes: a 2 Hz motion must come through an 8 Hz filter at any
// rate, even or not, and 25 Hz shake must not.
func TestSmoothOnTrueTimes(t *testing.T) {
	slow := func(s float64) float64 { return 100 * math.Sin(2*math.Pi*2*s) }
	both := func(s float64) float64 { return slow(s) + 10*math.Sin(2*math.Pi*25*s) }
	for _, c := range []struct {
		name         string
		rate, jitter float64
		drop         int
	}{{"60 even", 60, 0, 0}, {"120 even", 120, 0, 0}, {"240 even", 240, 0, 0}, {"90 jitter", 90, 0.5, 0}, {"120 drops", 120, 0.2, 7}} {
		ts := uneven(c.rate, 2, c.jitter, c.drop, 5)
		y := Smooth(ts, sample(ts, both), 8)
		worst := 0.0
		for i, s := range ts {
			if s > 0.2 && s < 1.8 {
				worst = math.Max(worst, math.Abs(y[i]-slow(s)))
			}
		}
		// The gain at 25 Hz is below 0.03 and at 2 Hz above 0.998; a missing
		// sample lets a little of the shake alias into the band.
		if worst > 1.6 {
			t.Errorf("%s: largest error %.2f of 100", c.name, worst)
		}
	}
}

func TestSmoothReturnsACopyWhenItCannotFilter(t *testing.T) {
	ts := []float64{0, 0.1, 0.2, 0.3, 0.4, 0.5}
	x := []float64{1, 5, 2, 8, 3, 1}
	for _, fc := range []float64{0, -1, 5, 20} {
		y := Smooth(ts, x, fc)
		for i := range x {
			if y[i] != x[i] {
				t.Fatalf("cut-off %g changed sample %d", fc, i)
			}
		}
		y[0] = 99
		if x[0] != 1 {
			t.Fatal("shares memory with its argument")
		}
	}
}

// TestSmoothKeepsDenseParts: where samples lie four times denser for a while, the
// filter works on all of them.
func TestSmoothKeepsDenseParts(t *testing.T) {
	slow := func(s float64) float64 { return 100 * math.Sin(2*math.Pi*2*s) }
	var ts []float64
	for k := range 960 {
		if s := float64(k) / 240; k%4 == 0 || s > 0.9 && s < 1.3 {
			ts = append(ts, s)
		}
	}
	// A shake of 110 Hz is far above half the rate of the sparse samples, which
	// would turn it into one of 10 Hz; the dense ones show what it is.
	y := Smooth(ts, sample(ts, func(s float64) float64 {
		if s > 0.9 && s < 1.3 {
			return slow(s) + 10*math.Sin(2*math.Pi*110*(s-0.9))
		}
		return slow(s)
	}), 12)
	for i, s := range ts {
		if e := math.Abs(y[i] - slow(s)); s > 0.2 && s < 3.8 && e > 0.8 {
			t.Errorf("%.3f s: %.2f off", s, e)
		}
	}
}

// TestCurveAgainstSciPy compares with scipy.interpolate.Akima1DInterpolator
// 1.10.1, recorded output.
func TestCurveAgainstSciPy(t *testing.T) {
	c := NewCurve([]float64{0, 1, 2.5, 3, 4.2, 5, 6.1}, []float64{0, 1, 0.5, 2, 3, 2.5, 4})
	for i, at := range []float64{0.5, 2, 2.7, 3.5, 5.5} {
		near(t, "Akima", c.At(at), []float64{0.63095238, 0.49029982, 1.0237764, 2.6212703, 2.88788433}[i], 1e-8)
	}
	near(t, "before the first", c.At(-3), 0, 0)
	near(t, "after the last", c.At(30), 4, 0)
	near(t, "straight line of two", NewCurve([]float64{0, 2}, []float64{1, 5}).At(0.5), 2, 1e-12)
	near(t, "one sample", NewCurve([]float64{1}, []float64{5}).At(9), 5, 0)
	near(t, "no sample", NewCurve(nil, nil).At(9), 0, 0)
}

func TestFill(t *testing.T) {
	ts := uneven(60, 1, 0.3, 0, 3)
	f := func(s float64) float64 { return 50*s*s - 20*s }
	x := sample(ts, f)
	ok := make([]bool, len(x))
	for i := range ok {
		ok[i] = i > 1 && i < 58 && (i < 20 || i > 23) && (i < 35 || i > 50)
		if !ok[i] {
			x[i] = 1e6
		}
	}
	y, filled := Fill(ts, x, ok, 0.12)
	for i := range y {
		inShort := i >= 20 && i <= 23
		if filled[i] != inShort {
			t.Errorf("sample %d filled = %v", i, filled[i])
		}
		if inShort {
			near(t, "bridged", y[i], f(ts[i]), 0.05)
		}
	}
	if y[40] != 1e6 || y[0] != 1e6 {
		t.Error("a long gap or an open end was touched")
	}
}

func TestDerivativeIsExactForParabolas(t *testing.T) {
	ts := uneven(60, 1, 0.6, 5, 9)
	d := Derivative(ts, sample(ts, func(s float64) float64 { return 4 - 3*s + 7*s*s }))
	for i, s := range ts {
		near(t, "slope", d[i], -3+14*s, 1e-9)
	}
	near(t, "two samples", Derivative([]float64{0, 2}, []float64{1, 5})[1], 2, 1e-12)
	near(t, "one sample", Derivative([]float64{0}, []float64{1})[0], 0, 0)
}

func TestPeakAndCrossing(t *testing.T) {
	f := func(s float64) float64 { return 5 - 30*(s-0.137)*(s-0.137) }
	ts := []float64{0, 0.08, 0.1, 0.19, 0.25}
	at, v := Peak(ts, sample(ts, f), 2)
	near(t, "peak time", at, 0.137, 1e-9)
	near(t, "peak value", v, 5, 1e-9)
	if at, _ := Peak(ts, ts, 4); at != 0.25 {
		t.Errorf("end sample moved to %g", at)
	}
	near(t, "crossing", Crossing([]float64{1, 3}, []float64{10, 20}, 1, 15), 2, 1e-12)
	near(t, "flat", Crossing([]float64{1, 3}, []float64{10, 10}, 1, 15), 3, 0)
}

func TestStatistics(t *testing.T) {
	x := []float64{5, 1, 4, 2, 3}
	near(t, "median", Median(x), 3, 0)
	near(t, "quartile", Quantile(x, 0.25), 2, 1e-12)
	near(t, "rms", RMS([]float64{3, 4}), math.Sqrt(12.5), 1e-12)
	if !math.IsNaN(Median(nil)) || !math.IsNaN(Spread(nil)) {
		t.Error("no values must give NaN")
	}
	r := rand.New(rand.NewPCG(2, 3))
	noisy, curve := make([]float64, 4000), make([]float64, 4000)
	for i := range noisy {
		noisy[i] = 3 * r.NormFloat64()
		curve[i] = noisy[i] + 200*math.Sin(float64(i)/40)
	}
	near(t, "spread of normal noise", Spread(noisy), 3, 0.15)
	near(t, "noise on a smooth curve", Noise(curve), 3, 0.2)
	near(t, "at", At([]float64{0, 1, 3}, []float64{0, 10, 30}, 2), 20, 1e-12)
	for s, want := range map[float64]int{-5: 0, 0.4: 0, 0.6: 1, 2.1: 2, 9: 2} {
		if got := Nearest([]float64{0, 1, 3}, s); got != want {
			t.Errorf("nearest to %g = %d, want %d", s, got, want)
		}
	}
	if Nearest(nil, 1) != -1 {
		t.Error("nearest of nothing")
	}
}

func TestMedian5RemovesSpikesKeepsEdges(t *testing.T) {
	x := []float64{0, 0, 0, 90, -80, 0, 0, 0, 10, 10, 10, 10, 10}
	y := Median5(x)
	for i, want := range []float64{0, 0, 0, 0, 0, 0, 0, 0, 10, 10, 10, 10, 10} {
		if y[i] != want {
			t.Errorf("sample %d = %g, want %g", i, y[i], want)
		}
	}
}

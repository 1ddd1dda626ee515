package signal

import (
	"sort"

	"gonum.org/v1/gonum/interp"
)

// Curve interpolates samples at true times: a piecewise cubic without
// overshoot at corners (Akima 1970, J. ACM 17:589-602) for five samples or
// more, straight lines for fewer. Outside the samples it holds the end values.
type Curve struct {
	times, x []float64
	p        interp.Predictor
}

// NewCurve fits a curve through x at times. It keeps both slices.
func NewCurve(times, x []float64) *Curve {
	c := &Curve{times: times, x: x[:len(times)]}
	var f interp.FittablePredictor
	switch {
	case len(times) >= 5:
		f = &interp.AkimaSpline{}
	case len(times) >= 2:
		f = &interp.PiecewiseLinear{}
	default:
		return c
	}
	if f.Fit(times, x) == nil {
		c.p = f
	}
	return c
}

// At returns the value at time t.
func (c *Curve) At(t float64) float64 {
	n := len(c.times)
	switch {
	case n == 0:
		return 0
	case c.p == nil || t <= c.times[0]:
		return c.x[0]
	case t >= c.times[n-1]:
		return c.x[n-1]
	}
	return c.p.Predict(t)
}

// Samples returns the values at all of times.
func (c *Curve) Samples(times []float64) []float64 {
	out := make([]float64, len(times))
	for i, t := range times {
		out[i] = c.At(t)
	}
	return out
}

// At interpolates x linearly at time t; outside it holds the end values. It
// returns 0 for no samples.
func At(times, x []float64, t float64) float64 {
	n := len(times)
	if n == 0 {
		return 0
	}
	i := sort.SearchFloat64s(times, t)
	switch {
	case i == 0:
		return x[0]
	case i == n:
		return x[n-1]
	}
	f := (t - times[i-1]) / (times[i] - times[i-1])
	return x[i-1] + f*(x[i]-x[i-1])
}

// Nearest returns the index of the time nearest to t, -1 for no times.
func Nearest(times []float64, t float64) int {
	i := sort.SearchFloat64s(times, t)
	switch {
	case len(times) == 0:
		return -1
	case i == 0:
		return 0
	case i == len(times):
		return i - 1
	case t-times[i-1] <= times[i]-t:
		return i - 1
	}
	return i
}

// Fill bridges gaps: where ok is false and known samples stand on both sides
// no more than maxGap seconds apart, the value is taken from the curve through
// all known samples. It returns the values and which of them were filled;
// unknown values outside such gaps stay as they were.
func Fill(times, x []float64, ok []bool, maxGap float64) (y []float64, filled []bool) {
	y = append([]float64(nil), x...)
	filled = make([]bool, len(x))
	var kt, kx []float64
	for i, t := range times {
		if ok[i] {
			kt, kx = append(kt, t), append(kx, x[i])
		}
	}
	if len(kt) < 2 {
		return y, filled
	}
	c := NewCurve(kt, kx)
	last := -1
	for i := range times {
		if !ok[i] {
			continue
		}
		if last >= 0 && i-last > 1 && times[i]-times[last] <= maxGap {
			for k := last + 1; k < i; k++ {
				y[k], filled[k] = c.At(times[k]), true
			}
		}
		last = i
	}
	return y, filled
}

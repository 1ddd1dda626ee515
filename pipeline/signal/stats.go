package signal

import (
	"math"
	"sort"
)

// normalMAD turns the median absolute deviation of normal noise into its
// standard deviation: 1 / (inverse normal distribution at 3/4).
const normalMAD = 1.4826022185056018

// Quantile returns the q-quantile (0..1) of x, linear between order
// statistics; NaN for no values.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	p := max(0, min(1, q)) * float64(len(s)-1)
	i := int(p)
	if i == len(s)-1 {
		return s[i]
	}
	return s[i] + (p-float64(i))*(s[i+1]-s[i])
}

// Median returns the middle value of x; NaN for no values.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// Spread returns a robust standard deviation of x, 1.4826 times the median
// absolute deviation from the median; NaN for no values.
func Spread(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return normalMAD * Median(d)
}

// RMS returns the root of the mean square of x; 0 for no values.
func RMS(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

// Noise estimates the standard deviation of white noise on a smooth signal of
// evenly spaced samples from its third differences, which a locally parabolic
// signal does not reach: spread(x[i+3]-3x[i+2]+3x[i+1]-x[i]) / sqrt 20. It
// returns 0 for fewer than six samples.
func Noise(x []float64) float64 {
	if len(x) < 6 {
		return 0
	}
	d := make([]float64, len(x)-3)
	for i := range d {
		d[i] = x[i+3] - 3*x[i+2] + 3*x[i+1] - x[i]
	}
	return Spread(d) / math.Sqrt(20)
}

// Median5 replaces each sample by the median of the five around it, which
// removes spikes of one or two samples and keeps edges. The first and last two
// samples use the window that fits symmetrically.
func Median5(x []float64) []float64 {
	y := make([]float64, len(x))
	for i := range x {
		h := min(2, i, len(x)-1-i)
		y[i] = Median(x[i-h : i+h+1])
	}
	return y
}

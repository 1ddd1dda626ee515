package signal

import "math"

const (
	// evenTolerance is how far a spacing may be from the median, as a
	// fraction, before samples count as unevenly spaced. Container clocks
	// round to 1/90000 s or to 1 ms; 1 ms is 6 % at 60 Hz, and treating such
	// jitter as even would put a moving point off by speed times 1 ms.
	evenTolerance = 0.02
	// nyquistShare is the largest cut-off as a share of the sample rate. A
	// section closer to rate/2 would be all-pass; the data are then returned
	// as they are.
	nyquistShare = 0.45
)

// Spacing returns the median distance of neighbouring times, s; 0 for fewer
// than two times.
func Spacing(times []float64) float64 {
	if len(times) < 2 {
		return 0
	}
	d := make([]float64, len(times)-1)
	for i := range d {
		d[i] = times[i+1] - times[i]
	}
	return Median(d)
}

// Smooth low-passes x without lag at cutoff (Hz) with a second-order
// Butterworth section run both ways (4th order in all, gain 1/sqrt 2 at
// cutoff). Uneven times are handled by going through an even grid and back by
// cubic interpolation; the grid has the median spacing, or that of the denser
// parts where samples lie clearly denser for a while. A cut-off of 0 or less,
// or too close to half the sample rate, returns a copy.
func Smooth(times, x []float64, cutoff float64) []float64 {
	n := len(x)
	dt := Spacing(times)
	if n < 4 || dt <= 0 || cutoff <= 0 || cutoff*dt > nyquistShare {
		return append([]float64(nil), x...)
	}
	if even(times, dt) {
		return smoothEven(x, dt, cutoff)
	}
	if fine := dense(times); fine > 0 && fine < denseShare*dt {
		dt = fine
	}
	span := times[n-1] - times[0]
	m := int(math.Round(span/dt)) + 1
	step := span / float64(m-1)
	if cutoff*step > nyquistShare {
		return append([]float64(nil), x...)
	}
	grid := make([]float64, m)
	for i := range grid {
		grid[i] = times[0] + float64(i)*step
	}
	even := smoothEven(NewCurve(times, x).Samples(grid), step, cutoff)
	return NewCurve(grid, even).Samples(times)
}

// denseShare is how much closer than the median the samples of a dense part lie
// at least; the jitter of clocks is less.
const denseShare = 0.7

// dense returns the spacing of the densest tenth of the samples, s.
func dense(times []float64) float64 {
	d := make([]float64, len(times)-1)
	for i := range d {
		d[i] = times[i+1] - times[i]
	}
	return Quantile(d, 0.1)
}

func even(times []float64, dt float64) bool {
	for i := 1; i < len(times); i++ {
		if math.Abs(times[i]-times[i-1]-dt) > evenTolerance*dt {
			return false
		}
	}
	return true
}

func smoothEven(x []float64, dt, cutoff float64) []float64 {
	// The section's memory is about 1/cutoff; reflecting that much lets the
	// start-up transient die before the first true sample.
	pad := max(9, int(math.Ceil(1.5/(cutoff*dt))))
	return Butterworth(cutoff, 1/dt, 2).ZeroPhase(x, pad)
}

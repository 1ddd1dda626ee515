package main

import (
	"math"
	"slices"
)

// quantile returns the q-quantile by linear interpolation between order
// statistics, NaN for no values.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	p := q * float64(len(s)-1)
	i := int(p)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (p-float64(i))*(s[i+1]-s[i])
}

func median(x []float64) float64 { return quantile(x, 0.5) }

func mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// absolute returns the absolute values.
func absolute(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}

// share returns the share of values for which f holds, NaN for none.
func share(x []float64, f func(float64) bool) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	n := 0
	for _, v := range x {
		if f(v) {
			n++
		}
	}
	return float64(n) / float64(len(x))
}

// pck is the share of distances, in units of the normaliser, strictly below the
// threshold (percentage of correct key points; strictness as in mmpose
// evaluation/functional/keypoint_eval.py).
func pck(distances []float64, threshold float64) float64 {
	return share(distances, func(d float64) bool { return d < threshold })
}

// pckhNorm is the PCKh normaliser: 0.6 times the diagonal of the head's box
// (mmpose mpii_dataset.py).
func pckhNorm(width, height float64) float64 { return 0.6 * math.Hypot(width, height) }

// cocoSigma are the per-point constants of object keypoint similarity, in COCO
// order (COCO keypoint evaluation page).
var cocoSigma = [17]float64{
	0.026, 0.025, 0.025, 0.035, 0.035, 0.079, 0.079, 0.072, 0.072,
	0.062, 0.062, 0.107, 0.107, 0.087, 0.087, 0.089, 0.089,
}

// oks is the object keypoint similarity of one point: exp(-d^2/(2 s^2 k^2)) with
// s^2 the object's area and k = 2 sigma (cocoapi cocoeval.py computeOks).
func oks(d, area, sigma float64) float64 {
	k := 2 * sigma
	return math.Exp(-d * d / (2 * area * k * k))
}

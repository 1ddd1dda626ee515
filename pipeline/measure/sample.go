package measure

import (
	"math"
	"slices"
)

// sampled is a set of values with weights.
type sampled struct{ value, weight []float64 }

// add appends one value with the logarithm of its weight.
func (s *sampled) add(v, logWeight float64) {
	s.value, s.weight = append(s.value, v), append(s.weight, logWeight)
}

// normalise turns the logarithms of the weights into weights that sum to 1 and
// returns the effective number of samples, 1/sum(w^2) (Kish 1965).
func (s *sampled) normalise() float64 {
	top := slices.Max(s.weight)
	sum := 0.0
	for i, w := range s.weight {
		s.weight[i] = math.Exp(w - top)
		sum += s.weight[i]
	}
	sq := 0.0
	for i := range s.weight {
		s.weight[i] /= sum
		sq += s.weight[i] * s.weight[i]
	}
	return 1 / sq
}

// twoHumps is the ratio of half the central 68 % to a quarter of the central
// 95 % from which on values lie in two heaps: 1 for a bell curve, 1.4 for a flat
// distribution, up to 2 for two heaps.
const twoHumps = 1.25

// summary returns the median and one standard deviation: the mean of half the
// central 68 % and a quarter of the central 95 %, which are equal for a bell
// curve; with heavy tails the value lies between the two. Of two heaps, both
// must be within reach: then it is half the central 68 %.
func (s *sampled) summary() (median, sigma float64) {
	n := len(s.value)
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case s.value[a] < s.value[b]:
			return -1
		case s.value[a] > s.value[b]:
			return 1
		}
		return a - b
	})
	quantiles := []float64{0.0228, 0.1587, 0.5, 0.8413, 0.9772}
	got := make([]float64, len(quantiles))
	sum, k := 0.0, 0
	for _, i := range order {
		sum += s.weight[i]
		for k < len(quantiles) && sum >= quantiles[k] {
			got[k] = s.value[i]
			k++
		}
	}
	for ; k < len(quantiles); k++ {
		got[k] = s.value[order[n-1]]
	}
	near, far := (got[3]-got[1])/2, (got[4]-got[0])/4
	if near > twoHumps*far {
		return got[2], near
	}
	return got[2], (near + far) / 2
}

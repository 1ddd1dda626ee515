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

// summary returns the median and one standard deviation: half of the central
// 68.3 %, which for a bell curve is the same and with heavy tails or two heaps
// still holds the truth two times in three.
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
	quantiles := [3]float64{0.1587, 0.5, 0.8413}
	var got [3]float64
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
	return got[1], (got[2] - got[0]) / 2
}

// deviation returns one standard deviation from absolute deviations of the draws
// from a value: the quantile that holds 68.3 % of them or half of the one that holds
// 95.4 %, whichever is larger, so that a second heap of draws far away counts. It
// sorts off.
func deviation(off []float64) float64 {
	slices.Sort(off)
	at := func(q float64) float64 { return off[min(len(off)-1, int(q*float64(len(off))))] }
	return max(at(0.683), at(0.954)/2)
}

// median returns the middle value of v and leaves v as it is.
func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return s[len(s)/2]
}

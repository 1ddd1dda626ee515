package event

import (
	"math"

	"plantframe/pipeline/swing"
)

const (
	// soundHeard is how often a hit that was filmed is heard as a crack: not
	// when the ball was missed, the tee was hit or a voice covered it.
	soundHeard = 0.7
	// soundOdds is how much likelier than chance a crack must be to be taken
	// for the hit. Thirty to one: a wrong time that looks exact does more
	// harm than an estimate that says it is one.
	soundOdds = 30.0
	// soundReach is how many sigmas from the body's own estimate the hit is
	// looked for, and soundSlack what is added to that sigma, s: clips with
	// sound have other hitters than those the sigma was learned on.
	soundReach, soundSlack = 3.0, 0.008
)

// heard returns the crack that is the hit, given the estimate of contact from
// the body and the bat, or false when none is surely it.
//
// Every crack is weighed by Bayes' rule: the density of the body's estimate at
// its time, times how often hits are heard, against how often the clip holds
// such a sound by chance. Other cracks nearby share the belief; of two that
// could both be the hit neither is taken.
func heard(cracks []swing.Crack, body estimate) (estimate, bool) {
	best, bestOdds, all := -1, 0.0, 1.0
	for i, c := range cracks {
		s := math.Hypot(math.Hypot(body.sigma, soundSlack), c.Sigma)
		z := (c.Time - body.t) / s
		if math.Abs(z) > soundReach || !(c.Rate > 0) {
			continue
		}
		odds := soundHeard * math.Exp(-z*z/2) / (s * math.Sqrt(2*math.Pi)) / c.Rate
		all += odds
		if odds > bestOdds {
			best, bestOdds = i, odds
		}
	}
	if best < 0 || bestOdds < soundOdds*(all-bestOdds) {
		return estimate{}, false
	}
	return estimate{t: cracks[best].Time, sigma: cracks[best].Sigma, method: bySound}, true
}

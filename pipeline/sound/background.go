package sound

import (
	"math"

	"plantframe/pipeline/signal"
)

const (
	// steadyReach is how far around an instant the ordinary loudness is
	// looked for, s: long against any crack, short against gusts.
	steadyReach = 0.7
	// steadyBlock is the length over which loudness is averaged first, s, so
	// that the middle of many such blocks is the mean of noise.
	steadyBlock = 0.005
	// justFrom and justTo bound the time just before, s: a sound that
	// goes on is no onset. Three pitch periods of a low voice.
	justFrom, justTo = 0.030, 0.003
)

// steady returns the ordinary power of one band over time: the median of
// short means around every instant.
func steady(power []float64, step float64) []float64 {
	block := max(1, int(math.Round(steadyBlock/step)))
	var means []float64
	for i := 0; i+block <= len(power); i += block {
		sum := 0.0
		for _, v := range power[i : i+block] {
			sum += v
		}
		means = append(means, sum/float64(block))
	}
	if len(means) == 0 {
		means = []float64{signal.Median(power)}
	}
	reach := max(1, int(math.Round(steadyReach/(float64(block)*step))))
	hop := max(1, reach/14) // every 50 ms
	out := make([]float64, len(power))
	for m := 0; m < len(means); m += hop {
		level := signal.Median(means[max(0, m-reach):min(len(means), m+reach+1)])
		to := min(len(out), (m+hop)*block)
		if m+hop >= len(means) {
			to = len(out)
		}
		for i := m * block; i < to; i++ {
			out[i] = level
		}
	}
	return out
}

// sums holds running sums of a series.
type sums []float64

func newSums(x []float64) sums {
	s := make(sums, len(x)+1)
	for i, v := range x {
		s[i+1] = s[i] + v
	}
	return s
}

// mean returns the mean of x[from:to], cut to the series; NaN when empty.
func (s sums) mean(from, to int) float64 {
	from, to = max(0, from), min(len(s)-1, to)
	if from >= to {
		return math.NaN()
	}
	return max(0, s[to]-s[from]) / float64(to-from)
}

// rises is how much louder two neighbouring bands must become at once: a
// whistle fills one, and the softest ball two.
const rises = 1.7

// bursts are the lengths of the begin of a crack that are weighed, s: wood is
// gone in a few milliseconds, metal and halls last longer.
func bursts() []float64 { return []float64{0.0015, 0.004} }

// contrast is how much louder every instant is than what went before. Series
// are by band, then piece.
type contrast struct {
	ratio [][]float64 // power of the shortest burst over the background
	back  [][]float64 // that background
	score []float64   // see scoreOf, the best over all bursts
	wide  []bool      // two neighbouring bands begin at once
}

// contrastOf compares the bursts after every instant with the louder of the
// ordinary background and the time just before.
func contrastOf(g *spectrogram) contrast {
	n := g.len()
	c := contrast{score: make([]float64, n), wide: make([]bool, n)}
	pieces := func(t float64) int { return int(math.Round(t / g.step)) }
	runs := make([]sums, len(g.power))
	for b, p := range g.power {
		s, run := steady(p, g.step), newSums(p)
		for i := range n {
			if just := run.mean(i-pieces(justFrom), i-pieces(justTo)); just > s[i] {
				s[i] = just
			}
		}
		runs[b], c.back = run, append(c.back, s)
	}
	for k, burst := range bursts() {
		// The effective length of a Hann window is half of it.
		lasts, end := math.Max(1, burst/(pieceTime/2)), pieces(burst)+1
		sum := make([]float64, n)
		var below []float64 // the ratio of the band below
		for b := range g.power {
			ratio := make([]float64, n)
			for i := range n {
				ratio[i] = runs[b].mean(i, i+end) / c.back[b][i]
				sum[i] += scoreOf(ratio[i], g.free[b]*lasts)
				c.wide[i] = c.wide[i] || b > 0 && min(ratio[i], below[i]) > rises
			}
			below = ratio
			if k == 0 {
				c.ratio = append(c.ratio, ratio)
			}
		}
		for i := range n {
			c.score[i] = math.Max(c.score[i], sum[i])
		}
	}
	return c
}

// scoreOf is how unlikely a power of ratio times the background is for the
// background alone: the logarithm of the likelihood ratio of a louder to the
// same power, for a mean of free exponentially distributed numbers.
func scoreOf(ratio, free float64) float64 {
	if ratio <= 1 {
		return 0
	}
	return math.Max(0, free*(ratio-1-math.Log(ratio))-byChance)
}

// byChance is what a band of noise alone reaches, as a rule (half a chi-square
// number of one degree of freedom): a sound that fills few bands must not be
// drowned by the wagging of the others.
const byChance = 1.0

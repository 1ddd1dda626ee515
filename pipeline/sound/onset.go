package sound

import (
	"math"
	"slices"
)

const (
	// apart is the least time between two cracks, s. What comes later and is
	// not louder is an echo or the ringing of the first.
	apart = 0.060
	// cell is the time that one peak of the score stands for, s.
	cell = 0.020
	// growFrom and growTo bound the time after an onset in which nothing
	// louder may follow, s, compared over growSpan: the voice after a
	// plosive, the next pitch period, the swell of a gust.
	growFrom, growTo, growSpan = 0.006, 0.060, 0.004
	// blind is how long after the begin of a stretch or the end of a gap
	// nothing is believed, s.
	blind = 0.030
	// tailShare is the share of the highest peaks that tells how the scores
	// thin out, and tailLeast the least number of them.
	tailShare, tailLeast = 0.15, 8
	// quietScore is the score below which nothing is told apart, and what
	// silence is taken to reach: likelihood ratios of e^5 come by themselves
	// once in a few seconds of noise.
	quietScore = 5.0
)

// onset is one sudden begin.
type onset struct {
	piece int
	score float64
	rate  float64 // how often the stretch holds one like it by chance, per second
}

// onsets returns the sudden begins of a stretch in time order.
func onsets(g *spectrogram, c *contrast, gaps [][2]float64) []onset {
	run := loudness(g, c)
	var all []onset
	for _, i := range localPeaks(c.score, max(1, int(math.Round(cell/2/g.step)))) {
		if c.score[i] <= 0 || hidden(g.at(i), g.start, gaps) || !c.wide[i] || grows(run, i, g.step) {
			continue
		}
		if n := len(all); n > 0 && g.at(i)-g.at(all[n-1].piece) < apart {
			continue
		}
		all = append(all, onset{piece: i, score: c.score[i]})
	}
	heard := float64(g.len()) * g.step
	for _, gap := range gaps {
		heard -= gap[1] - gap[0]
	}
	rate(all, math.Max(heard, 0.1))
	return all
}

// rate fills how often a stretch of heard seconds holds an onset like each of
// all by chance. Those as sharp or sharper are counted; beyond the sharpest
// other one the tail of the scores is extended by a power law (Hill 1975, Ann.
// Statist. 3:1163-1174), which speech and other uneven noises follow. The
// estimate is doubled for its own error.
func rate(all []onset, heard float64) {
	sorted := make([]float64, len(all))
	for k, o := range all {
		sorted[k] = math.Max(o.score, quietScore)
	}
	slices.Sort(sorted)
	tail := max(tailLeast, int(tailShare*float64(len(all)-1)))
	for k := range all {
		own := math.Max(all[k].score, quietScore)
		at, _ := slices.BinarySearch(sorted, own)
		// The highest of the others; the tail begins above the lowest of them.
		first := max(0, len(sorted)-tail-2)
		top := slices.Clone(sorted[first:])
		top = slices.Delete(top, max(0, at-first), max(0, at-first)+1)
		low := quietScore
		if len(top) > tail {
			low, top = top[0], top[1:]
		}
		slope := 0.0 // mean logarithm over the begin: 1 / exponent
		for _, v := range top {
			slope += math.Log(v/low) / float64(len(top))
		}
		beyond := float64(max(1, len(top))) * math.Pow(math.Max(1, own/low), -1/math.Max(slope, leastSlope))
		louder := float64(len(sorted) - 1 - at)
		near, _ := slices.BinarySearch(sorted, own/alike)
		all[k].rate = math.Max(2*beyond, louder+leastCount+alikeCount*float64(len(sorted)-1-near)) / heard
	}
}

const (
	// leastCount is the number of chance sounds that a stretch may always
	// hold: that none was heard in a few seconds proves little.
	leastCount = 0.3
	// alikeCount is what every other onset adds that scores no less than a
	// quarter: where there are many, a sharper one is no wonder, as the
	// hardest consonant of a talk.
	alikeCount, alike = 0.03, 4.0
)

// leastSlope bounds how steeply scores may thin out: those of steady noise
// fall by a factor of e for every eighth that they rise.
const leastSlope = 0.12

// localPeaks returns the places that are highest within reach to both sides.
func localPeaks(x []float64, reach int) []int {
	var out []int
	for i := 0; i < len(x); i++ {
		top := i
		for k := max(0, i-reach); k < min(len(x), i+reach+1); k++ {
			if x[k] > x[top] {
				top = k
			}
		}
		if top == i {
			out = append(out, i)
		} else if top > i {
			i = top - 1
		}
	}
	return out
}

// loudness returns running sums of the power in all bands, each in units of
// its ordinary background.
func loudness(g *spectrogram, c *contrast) sums {
	all := make([]float64, g.len())
	for b, p := range g.power {
		for i, v := range p {
			all[i] += v / c.back[b][i]
		}
	}
	return newSums(all)
}

// grows tells whether something louder than the onset follows it.
func grows(run sums, i int, step float64) bool {
	pieces := func(t float64) int { return int(math.Round(t / step)) }
	span := pieces(growSpan)
	first := run.mean(i, i+span)
	for k := i + pieces(growFrom); k < i+pieces(growTo); k++ {
		if run.mean(k, k+span) > first {
			return true
		}
	}
	return false
}

// hidden tells whether what came before t was not heard.
func hidden(t, start float64, gaps [][2]float64) bool {
	if t < start+blind {
		return true
	}
	for _, gap := range gaps {
		if t > gap[0]-blind && t < gap[1]+blind {
			return true
		}
	}
	return false
}

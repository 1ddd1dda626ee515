package sound

import (
	"math"

	"plantframe/pipeline/swing"
)

// step is how far apart spectra are, s.
const coarseStep = 0.0005

// Listen returns the cracks of a stretch of sound in time order. Times are
// those at which they were made by somebody where the hitter stands, on the
// clock of the frames; Sigma holds the error of the edge, of the way to the
// microphone and of the phone's clocks. A stretch without samples, or at a
// rate too low for cracks, gives none.
//
// Errors: kind usage for wrong options.
func Listen(s swing.Sound, p Place, o Options) ([]swing.Crack, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	if s.Rate < leastRate || float64(len(s.Samples)) < 2*blind*float64(s.Rate) {
		return nil, nil
	}
	x := highPass(s.Samples, s.Rate, rumble)
	g := analyse(x, s.Rate, s.Start, max(1, int(math.Round(coarseStep*float64(s.Rate)))))
	c := contrastOf(&g)
	way, sigma := p.delay(o)
	var out []swing.Crack
	for _, n := range onsets(&g, &c, s.Gaps) {
		if n.rate > o.MaxRate {
			continue
		}
		t, st := edge(x, s.Rate, s.Start, g.at(n.piece), &c, n.piece)
		out = append(out, swing.Crack{
			Time: t - way, Sigma: math.Hypot(st, sigma), Level: c.level(n.piece), Rate: n.rate, Delay: way,
		})
	}
	return out, nil
}

// level is the mean power of the bands over their backgrounds, dB.
func (c *contrast) level(i int) float64 {
	sum := 0.0
	for b := range c.ratio {
		sum += c.ratio[b][i]
	}
	return 10 * math.Log10(sum/float64(len(c.ratio)))
}

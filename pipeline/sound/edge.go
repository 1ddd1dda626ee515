package sound

import (
	"math"
)

const (
	// edgeStep is the grid of instants that are tried, s.
	edgeStep = 0.000125
	// edgeReach is how far from the rough onset the edge may be, s.
	edgeReach = 0.004
	// edgeBefore and edgeAfter bound what is compared, s.
	edgeBefore, edgeAfter = 0.012, 0.012
	// touchTime is what the rise of a hit itself leaves open, s, one sigma:
	// bat and ball touch for one to two milliseconds, and the sound is loud
	// only when the push is.
	touchTime = 0.0008
)

// decays are the decays that are tried, s: the energy of wood is gone in a few
// milliseconds, metal rings for tens.
func decays() []float64 { return []float64{0.0007, 0.002, 0.006, 0.020, 0.080} }

// edge places the begin of the crack near time rough: for every instant and
// decay it compares the power with a sudden begin and an exponential decay as
// the window of the spectra blurs it, under the statistics of noise (powers
// are gamma distributed with free independent numbers). It returns the mean
// and standard deviation of the begin over all of them, s.
func edge(x []float64, rate int, start, rough float64, c *contrast, at int) (t, sigma float64) {
	step := max(1, int(math.Round(edgeStep*float64(rate))))
	from := max(0, int((rough-start-edgeBefore-edgeReach-pieceTime)*float64(rate)))
	to := min(len(x), int((rough-start+edgeAfter+edgeReach+pieceTime)*float64(rate)))
	g := analyse(x[from:to], rate, start+float64(from)/float64(rate), step)
	if g.len() == 0 {
		return rough, edgeReach
	}
	e, free := blend(&g, c, at)
	perPiece := free * g.step / (pieceTime / 2)
	var sum, mean, square float64
	best := math.Inf(-1)
	type try struct{ t, logp float64 }
	var all []try
	for _, decay := range decays() {
		form := blurred(decay, g.step)
		for t0 := rough - edgeReach; t0 <= rough+edgeReach; t0 += edgeStep {
			lp := perPiece * fit(e, &g, form, t0)
			all = append(all, try{t0, lp})
			best = math.Max(best, lp)
		}
	}
	for _, a := range all {
		w := math.Exp(a.logp - best)
		sum, mean, square = sum+w, mean+w*(a.t-rough), square+w*(a.t-rough)*(a.t-rough)
	}
	mean /= sum
	return rough + mean, math.Sqrt(math.Max(0, square/sum-mean*mean) + edgeStep*edgeStep/12 + touchTime*touchTime)
}

// blend mixes the bands, each in units of its background, by how much of the
// crack they hold, and returns the number of independent numbers in one value.
func blend(g *spectrogram, c *contrast, at int) (e []float64, free float64) {
	e = make([]float64, g.len())
	var sum, square float64
	for b, p := range g.power {
		w := math.Max(0, 1-1/c.ratio[b][at])
		for i, v := range p {
			e[i] += w * v / c.back[b][at]
		}
		sum, square = sum+w, square+w*w/g.free[b]
	}
	if sum == 0 {
		return e, 1
	}
	for i := range e {
		e[i] /= sum
	}
	return e, sum * sum / square
}

// shape is what a sudden begin with an exponential decay looks like in the
// spectra, by time from half a window before the begin.
type shape struct {
	v    []float64
	step float64
}

// blurred returns the energy that a Hann window around every instant sees of a
// decay that begins at 0.
func blurred(decay, step float64) shape {
	const fine = 32 // parts of a window
	s := shape{step: step}
	total := edgeAfter + 2*edgeReach + pieceTime
	for t := -pieceTime / 2; t < total; t += step {
		sum := 0.0
		for k := range fine {
			u := (float64(k)+0.5)/fine - 0.5 // place in the window
			if at := t + u*pieceTime; at >= 0 {
				w := 0.5 + 0.5*math.Cos(2*math.Pi*u)
				sum += w * w * math.Exp(-at/decay)
			}
		}
		s.v = append(s.v, sum/fine/0.375) // the mean square of a Hann window
	}
	return s
}

// at returns the form at time t after the begin.
func (s shape) at(t float64) float64 {
	k := int(math.Round((t + pieceTime/2) / s.step))
	if k < 0 || k >= len(s.v) {
		return 0
	}
	return s.v[k]
}

// fit returns the log-likelihood ratio per independent number of a crack that
// begins at t0 to none, with the height that fits best.
func fit(e []float64, g *spectrogram, form shape, t0 float64) float64 {
	var up, down float64
	for i, v := range e {
		if h := form.at(g.at(i) - t0); h > 0 {
			up, down = up+h*(v-1), down+h*h
		}
	}
	if up <= 0 || down == 0 {
		return 0
	}
	height := up / down
	sum := 0.0
	for i, v := range e {
		if h := height * form.at(g.at(i)-t0); h > 0 {
			sum += v*h/(1+h) - math.Log(1+h)
		}
	}
	return sum
}

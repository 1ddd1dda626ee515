package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// part numbers the body segments whose true length is estimated.
type part int

const (
	upperArm part = iota
	forearm
	thigh
	shank
	shoulders // distance of the shoulder joints
	trunkLine // mid-shoulder to mid-hip
	numParts
)

// length is a segment length with its one-sigma uncertainty, px or statures.
type length struct{ mean, sigma float64 }

// proportions are segment lengths between joint centres as fractions of
// stature, with a spread that covers people and the habits of pose networks.
// Between the joint-centre lengths of de Leva (1996) (upper arm .162, forearm
// .154, thigh .243, shank .249, trunk .296 of 1.741 m) and the proportions of
// Drillis and Contini (1966) as reproduced in Winter (2009) (.186, .146, .245,
// .246, .288; shoulder breadth .259 outside). Values from memory, hence the wide
// spread.
var proportions = [numParts]length{
	upperArm:  {0.163, 0.013},
	forearm:   {0.152, 0.010},
	thigh:     {0.246, 0.014},
	shank:     {0.247, 0.015},
	shoulders: {0.210, 0.020},
	trunkLine: {0.291, 0.016},
}

// ends returns the end points of the parts, both sides; an end is the middle
// of two points.
func (p part) ends() [][2][2]swing.Joint {
	two := func(a, b, c, d swing.Joint) [][2][2]swing.Joint {
		return [][2][2]swing.Joint{{{a, a}, {b, b}}, {{c, c}, {d, d}}}
	}
	switch p {
	case upperArm:
		return two(lead.Shoulder, lead.Elbow, rear.Shoulder, rear.Elbow)
	case forearm:
		return two(lead.Elbow, lead.Wrist, rear.Elbow, rear.Wrist)
	case thigh:
		return two(lead.Hip, lead.Knee, rear.Hip, rear.Knee)
	case shank:
		return two(lead.Knee, lead.Ankle, rear.Knee, rear.Ankle)
	case shoulders:
		return [][2][2]swing.Joint{{{rear.Shoulder, rear.Shoulder}, {lead.Shoulder, lead.Shoulder}}}
	}
	return [][2][2]swing.Joint{{{lead.Shoulder, rear.Shoulder}, {lead.Hip, rear.Hip}}}
}

// Settings of the length estimate.
const (
	lengthStep = 0.10 // s between looks; closer ones show the same posture
	// mostLooks bounds the weight of all looks together: half of the variance of
	// a point is a habit that all looks share, so more of them teach no more.
	mostLooks  = 6.0
	wildShare  = 0.05 // share of looks that may be wrong altogether
	scaleSigma = 0.08 // of the track's stature, which rests on single quantiles
	leastSigma = 0.02 // of the estimated stature: people differ in proportions by that
)

// sizes estimates the standing height and the true length of every part, px,
// from their appearances in [from, to], of the legs in [from, end]: the arms are
// blurred and often exchanged after contact, while the legs are slow and at last
// stretched.
//
// A segment of length L that points anywhere in space with equal chance appears
// as L sqrt(1-u^2), u uniform in 0..1: mostly long, seldom short, never longer
// than L but for noise. That likelihood, the body proportions and the track's
// own stature are put together on a grid of statures and lengths (Bayes).
func (c *canon) sizes(from, to, end float64) (stature length, parts [numParts]length) {
	const statures, lengths = 61, 121
	at := func(i int) float64 { return c.stature * (0.75 + 0.5*float64(i)/(statures-1)) }
	share := func(p part, k int) float64 { // of the track's stature
		return proportions[p].mean * (0.55 + 0.9*float64(k)/(lengths-1))
	}
	var like [numParts][lengths]float64
	for p := range numParts {
		until := to
		if p == thigh || p == shank {
			until = end
		}
		looks := c.looks(p, from, until)
		for k := range lengths {
			like[p][k] = likelihood(share(p, k)*c.stature, looks)
		}
	}
	var logs [statures]float64
	top := math.Inf(-1)
	for i := range statures {
		s := at(i)
		logs[i] = bell(s, c.stature, scaleSigma*c.stature)
		for p := range numParts {
			sum := 0.0
			for k := range lengths {
				sum += math.Exp(like[p][k]+bell(share(p, k)*c.stature, proportions[p].mean*s, proportions[p].sigma*s)) / s
			}
			logs[i] += math.Log(sum + 1e-300)
		}
		top = max(top, logs[i])
	}
	var m moments
	var of [numParts]moments
	for i := range statures {
		w := math.Exp(logs[i] - top)
		s := at(i)
		m.add(s, w)
		for p := range numParts {
			var v [lengths]float64
			sum := 0.0
			for k := range lengths {
				v[k] = math.Exp(like[p][k] + bell(share(p, k)*c.stature, proportions[p].mean*s, proportions[p].sigma*s))
				sum += v[k]
			}
			for k := range lengths {
				of[p].add(share(p, k)*c.stature, w*v[k]/(sum+1e-300))
			}
		}
	}
	stature = m.length(leastSigma)
	for p := range numParts {
		parts[p] = of[p].length(0.01)
	}
	return stature, parts
}

// moments sums weighted values.
type moments struct{ w, x, xx float64 }

func (m *moments) add(x, w float64) { m.w, m.x, m.xx = m.w+w, m.x+w*x, m.xx+w*x*x }

// length returns mean and deviation, the latter at least the given share.
func (m *moments) length(least float64) length {
	mean := m.x / m.w
	return length{mean, max(least*mean, math.Sqrt(max(0, m.xx/m.w-mean*mean)))}
}

// look is one appearance of a segment: its length in the picture and the noise
// of that length, px.
type look struct{ length, sigma float64 }

// looks collects a part's appearances about every lengthStep seconds.
func (c *canon) looks(p part, from, to float64) []look {
	var out []look
	for t := from; t <= to; t += lengthStep {
		for _, e := range p.ends() {
			a, sa, okA := c.middle(e[0], t)
			b, sb, okB := c.middle(e[1], t)
			if okA && okB {
				out = append(out, look{b.Sub(a).Norm(), math.Hypot(sa, sb)})
			}
		}
	}
	return out
}

// middle returns the middle of two points, which may be the same, and its
// noise per axis.
func (c *canon) middle(j [2]swing.Joint, t float64) (p swing.Point, sigma float64, ok bool) {
	a, okA := c.at(j[0], t, false)
	b, okB := c.at(j[1], t, false)
	if !okA || !okB {
		return p, 0, false
	}
	if j[0] == j[1] {
		return a, c.noise(j[0], t), true
	}
	return a.Mid(b), math.Hypot(c.noise(j[0], t), c.noise(j[1], t)) / 2, true
}

// likelihood returns the logarithm of the chance of the looks, against looks
// that say nothing, for a segment of length l.
func likelihood(l float64, looks []look) float64 {
	const leans = 16
	lp := 0.0
	for _, k := range looks {
		s := max(k.sigma, 1e-3*l)
		f := 0.0
		for u := range leans {
			z := (float64(u) + 0.5) / leans
			e := (k.length - l*math.Sqrt(1-z*z)) / s
			f += math.Exp(-e * e / 2)
		}
		f *= k.length / (leans * s * math.Sqrt(2*math.Pi))
		lp += math.Log((1-wildShare)*f + wildShare)
	}
	return lp * min(1, mostLooks/max(1, float64(len(looks))))
}

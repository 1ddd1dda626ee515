package measure

import (
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// The bat's true length, when it was not given.
const (
	// A bat's length as a share of its hitter's stature, over ages. Common
	// practice, no source: .84 m for 1.78 m, .76 m for 1.50 m.
	usualLength = 0.48
	lengthShare = 0.035 // one sigma, statures
	// Looks that differ by less than newAngle, degrees, show the same posture: a
	// bat that waits is one look, however long it waits.
	newAngle = 12.0
	// mostBatLooks bounds the weight of all looks together: they share the
	// errors of scale.
	mostBatLooks = 10.0
	// sizeShare is the least error of the result, as a share.
	sizeShare = 0.02
	// Shares of the stature between which lengths are tried, and in how many
	// steps; and how many leans.
	shortestBat, longestBat = 0.34, 0.64
	batSizes, batLeans      = 91, 41
)

// batSize returns the bat's true length, px at the hitter's distance.
//
// A given length is taken as it is. What the bat stage learns is the longest sight,
// which perspective stretches by a tenth when a barrel comes round toward the
// camera; here the hands' depth is known, so the length is estimated anew from the
// sights between stance and contact: a bat of length L that leans out of the picture
// by a sine u appears L (sqrt(1-u^2) + u b) long at the hands' depth, b being what the
// nearness of its far end adds; all directions are equally likely, and L is a usual
// share of the stature beforehand (Bayes on a grid, as for the body's segments).
func (w *work) batSize() length {
	if w.size.mean > 0 || w.club.given || w.club.length.mean <= 0 {
		if w.size.mean == 0 {
			w.size = w.club.length
		}
		return w.size
	}
	looks := w.batLooks()
	s := w.c.stature
	spread := math.Hypot(lengthShare, usualLength*scaleSigma/2)
	var m moments
	top := math.Inf(-1)
	var logs [batSizes]float64
	for i := range logs {
		l := s * (shortestBat + (longestBat-shortestBat)*float64(i)/(batSizes-1))
		sum := 0.0
		for _, k := range looks {
			sum += k.chance(l)
		}
		logs[i] = bell(l/s, usualLength, spread) + sum*min(1, mostBatLooks/max(1, float64(len(looks))))
		top = max(top, logs[i])
	}
	for i, v := range logs {
		m.add(s*(shortestBat+(longestBat-shortestBat)*float64(i)/(batSizes-1)), math.Exp(v-top))
	}
	w.size = m.length(sizeShare)
	return w.size
}

// batLook is one appearance of the bat: its length at the hands' depth, px, its
// noise, and what its far end's nearness adds per depth.
type batLook struct{ length, sigma, near float64 }

// chance returns the logarithm of the chance of the look for a bat of length l,
// against looks that say nothing.
func (k batLook) chance(l float64) float64 {
	s := max(k.sigma, 2e-3*l)
	sum := 0.0
	for i := range batLeans {
		u := -1 + 2*(float64(i)+0.5)/batLeans
		e := (k.length - l*(math.Sqrt(1-u*u)+u*k.near)) / s
		sum += math.Exp(-e * e / 2)
	}
	f := sum * k.length / (batLeans * s * math.Sqrt(2*math.Pi))
	return math.Log((1-wildShare)*f + wildShare)
}

// batLooks collects the appearances that differ, from stance to contact.
func (w *work) batLooks() []batLook {
	from, to := w.from, w.to
	if e, ok := w.events[swing.Stance]; ok {
		from = e.Time
	}
	if e, ok := w.events[swing.Contact]; ok {
		to = e.Time + readStep
	}
	var out []batLook
	var angles []float64
	for k, t := range w.club.times {
		s := stickOf(w.club.sights[k])
		if t < from || t > to || slices.ContainsFunc(angles, func(a float64) bool { return math.Abs(math.Remainder(s.angle-a, 360)) < newAngle }) {
			continue
		}
		angles = append(angles, s.angle)
		at := w.stands(t)
		var hands sampled
		for i := range w.d.n {
			hands.add(w.handDepthAt(i, t), 0)
		}
		hands.normalise()
		depth, off := hands.summary()
		l := w.lens(at.ankles, at.axis, w.c.stature, camNoise{})
		a, b := l.extent(s.knob, s.tip(), depth, w.grip())
		n := a.Norm()
		if n == 0 {
			continue
		}
		scale := math.Hypot(off/l.distance, focalShare*depth/l.distance)
		out = append(out, batLook{
			length: n, near: b.Dot(a) / n,
			sigma: math.Hypot(math.Hypot(s.knobSigma, s.tipSigma), scale*n),
		})
	}
	return out
}

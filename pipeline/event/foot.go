package event

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

const (
	// strideReach is how long before contact a stride may begin, s: a slow
	// leg kick takes a second, and the landing comes 0.1 to 0.3 s before
	// contact.
	strideReach = 1.6
	// minLift is the smallest height of the foot over its later level that
	// counts as off the ground, stature (2.5 cm): above the noise of a
	// smoothed foot point, below any heel lift.
	minLift = 0.015
	// lastLift is how high, as a share of the highest, a later top must be to
	// count as the stride's: a tap of the toe comes before, the tracker's
	// stumbling after the landing.
	lastLift = 0.4
	// minStride is the smallest way of the toe that counts as a step,
	// stature (5 cm).
	minStride = 0.03
	// usualLift is the height of a plain stride, stature (12 cm), mean of
	// ankle, heel and toe; leastWander bounds the share of its accelerations
	// that a lower one has: a heel that drops from 2 cm still starts and stops
	// at once.
	usualLift, leastWander = 0.07, 0.12
	// usualTempo is the time from plant to contact, s, and tempoSpread how
	// much hitters differ, one sigma: the bat takes 0.15 s (Adair) to 0.21 +/-
	// 0.04 s (Reilly-Boccia et al., softball) from its start to contact and
	// starts about when the front foot is down; early and late planters
	// differ by as much again. It decides only where the picture does not.
	usualTempo, tempoSpread = 0.18, 0.055
	// toeLead is how much earlier than plant the ball of the foot usually
	// meets the ground, s, and how much hitters differ, one sigma (common
	// practice, no source).
	toeLead, toeLeadSpread = 0.03, 0.02
	// touchdown is the speed of an ankle coming down the last centimetre,
	// stature/s (1.2 m/s for an adult; a heel that drops 4 cm falls at
	// 0.9 m/s, a striding foot is put down faster), and how much that differs,
	// one sigma.
	touchdown, touchdownSpread = 0.7, 0.15
	// touchdownSigma is the error that the rest of it makes, s.
	touchdownSigma = 0.004
	// hiddenDoubt is how high a hidden foot may seem to step while it stands,
	// stature; see frontFoot.
	hiddenDoubt = 0.040
)

// footPoint is one point of the front foot over time, gaps bridged.
type footPoint struct {
	joint      swing.Joint
	xs, ys     []float64 // smoothed, stature
	rawX, rawY []float64 // not smoothed
	score      []float64
}

// footPoint returns a point of the foot, false when the network never saw it.
func (b *body) footPoint(j swing.Joint) (footPoint, bool) {
	f := footPoint{joint: j, score: b.score[j]}
	seen := false
	for _, p := range b.raw[j] {
		seen = seen || !missing(p)
	}
	f.xs, f.ys = bridged(b.times, b.slow[j])
	f.rawX, f.rawY = bridged(b.times, b.raw[j])
	return f, seen
}

// foot is the front foot in the time up to contact.
type foot struct {
	points     []footPoint // ankle, then heel and toe where seen
	heel, toe  *footPoint  // nil when not seen
	top        float64     // s, highest place before it came down for good
	height     float64     // at that time over the later lowest level, stature
	from       float64     // s, begin of the time looked at
	steps      bool        // the toe left its place
	raisesHeel bool        // the heel rose, whatever the toe did
}

// frontFoot gathers the lead foot and tells whether it strides. earliest is
// the first time that belongs to this swing.
func (b *body) frontFoot(earliest, contact float64) (foot, bool) {
	var f foot
	ankle, ok := b.footPoint(b.lead.Ankle)
	if !ok {
		return f, false
	}
	f.points = append(f.points, ankle)
	if p, ok := b.footPoint(b.lead.Heel); ok {
		f.points = append(f.points, p)
		f.heel = &p
	}
	if p, ok := b.footPoint(b.lead.BigToe); ok {
		f.points = append(f.points, p)
		f.toe = &p
	}
	f.from = math.Max(earliest, contact-strideReach)
	f.top, f.height = b.top(f.points, f.from, contact)
	// The part of the foot that leaves the ground last decides about a step.
	last := f.points[len(f.points)-1:]
	_, rise := b.top(last, f.from, contact)
	// Hidden feet wander; what they seem to do must stand out from that.
	doubt := hiddenDoubt * (1 - signal.Median(last[0].score))
	lifts := math.Min(rise, f.height) >= math.Max(minLift, doubt)
	f.steps = lifts || b.way(last[0], f.from, contact) >= math.Max(minStride, 1.5*doubt)
	f.raisesHeel = f.height >= math.Max(minLift, doubt)
	return f, true
}

// way is how far the point was from where it stood before contact, across the
// picture, stature: the 90th percentile, so that single frames do not count.
func (b *body) way(p footPoint, from, contact float64) float64 {
	i0, i1 := b.span(from, contact)
	if i1-i0 < 3 {
		return 0
	}
	s0, s1 := b.span(contact-0.1, contact)
	if s1 <= s0 {
		s0, s1 = i1-1, i1
	}
	home := signal.Median(p.xs[s0:s1])
	var d []float64
	for i := i0; i < i1; i++ {
		d = append(d, math.Abs(p.xs[i]-home))
	}
	return signal.Quantile(d, 0.9)
}

// top is the time at which the points were highest before they came down for
// good, and that height over the lowest place after it, stature.
func (b *body) top(points []footPoint, start, contact float64) (t, height float64) {
	from, to := b.span(start, contact)
	h := make([]float64, to)
	for i := from; i < to; i++ {
		for _, p := range points {
			h[i] -= p.ys[i] / float64(len(points))
		}
	}
	low, most := math.Inf(1), 0.0
	fall := make([]float64, to)
	for i := to - 1; i >= from; i-- {
		low = math.Min(low, h[i])
		fall[i] = h[i] - low
		most = math.Max(most, fall[i])
	}
	need := math.Max(minLift, lastLift*most)
	best := -1
	for i := to - 1; i >= from; i-- {
		switch {
		case best < 0 && fall[i] >= need, best >= 0 && h[i] > h[best]:
			best = i
		case best >= 0 && h[i] < h[best]-need/2:
			return b.times[best], fall[best]
		}
	}
	if best < 0 {
		return math.Max(start, contact-usualTempo-0.25), most
	}
	return b.times[best], fall[best]
}

// landing returns when all the points given have stopped coming down, between
// the top of the stride and contact. tempo is the usual time from there to
// contact. Height alone is used: seen from the side it is where the end of the
// motion shows sharpest (the way across ends earlier, softly), and seen from
// behind the way to the pitcher shows along the same axis.
func (b *body) landing(points []footPoint, top, height, contact, tempo float64, at func(s stop) float64) (estimate, bool) {
	from, to := b.span(top, contact+0.02)
	if to-from < 4 {
		return estimate{}, false
	}
	var ch []channel
	for _, p := range points {
		ch = append(ch, channel{p.rawY[from:to], p.noise(from, to)})
	}
	all := stops(b.times[from:to], ch, flightWander(height), top+0.02, contact)
	if len(all) == 0 {
		return estimate{}, false
	}
	for i := range all {
		d := (contact - all[i].T - tempo) / tempoSpread
		all[i].logp -= d * d / 2
	}
	t, sd := expect(all, at)
	return estimate{t: t, sigma: math.Max(sd, 0.002)}, true
}

// tapEnd is when the foot last came to stand before its flight to the top: the
// end of a tap, or from when there was none.
func (b *body) tapEnd(p footPoint, from, top float64) float64 {
	i0, i1 := b.span(from, top)
	low := i1 - 1
	for i := i1 - 1; i >= i0; i-- {
		if p.ys[i] > p.ys[low] {
			low = i
		}
		if p.ys[low]-p.ys[i] <= minLift {
			continue
		}
		// An earlier flight; the foot stands from where it is nearly down.
		for i < low && p.ys[low]-p.ys[i] > minLift/4 {
			i++
		}
		return b.times[i]
	}
	return from
}

// flightWander is how a foot's speed changes in a flight of the given height,
// stature: accelerations grow with the height, and a foot that is hardly lifted
// must not be expected to fly about.
func flightWander(height float64) float64 {
	f := height / usualLift
	return airWander * math.Max(leastWander, math.Min(1, f*f))
}

// leaving returns when the point left the ground before the top of the stride:
// a landing on time running backward.
func (b *body) leaving(p footPoint, from, top float64) (estimate, bool) {
	i0, i1 := b.span(from, top)
	n := i1 - i0
	if n < 5 {
		return estimate{}, false
	}
	ts, ys := make([]float64, n), make([]float64, n)
	for i := range n {
		ts[i], ys[i] = -b.times[i1-1-i], p.rawY[i1-1-i]
	}
	all := stops(ts, []channel{{ys, p.noise(i0, i1)}}, airWander, -top+0.02, -from)
	if len(all) == 0 {
		return estimate{}, false
	}
	t, sd := expect(all, instant)
	return estimate{t: -t, sigma: math.Max(sd, 0.002)}, true
}

// noise is the error of the point's height in the frames [from,to): by its
// score, and never less than what is seen to jump from frame to frame over the
// whole track, because dusk and small pictures make any network restless.
func (p footPoint) noise(from, to int) noiseModel {
	n := pointNoise(signal.Median(p.score[from:to]))
	n.white = math.Max(n.white, signal.Noise(p.rawY))
	n.slow = math.Max(n.slow, n.white/2)
	return n
}

// pointNoise is the error of a foot point that the network gives a score to.
// The score falls with the error that the feet network states, exp(-error/0.03
// torso), a torso being 0.3 of stature. Half of that error stays the same over
// a stride and does no harm to times, half wanders slowly, and a seventh of that
// changes from frame to frame. Hidden points are worse than stated on bodies
// unlike those it learnt on, by up to four times.
func pointNoise(score float64) noiseModel {
	s := math.Max(0.05, math.Min(1, score))
	h := 1 - s
	slow := 0.0005 - 0.0045*math.Log(s)*(1+6*h)
	return noiseModel{white: 0.0004 + 0.15*slow, slow: slow, memory: 0.03 + 0.1*h*h}
}

func instant(s stop) float64 { return s.T }

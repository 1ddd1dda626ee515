package event

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// estimate is a time with its one-sigma error, s.
type estimate struct {
	t, sigma float64
	method   string
}

// fuse combines independent estimates by inverse variance. When they disagree
// by more than their errors allow the error grows by the scatter. The method
// is that of the surest.
func fuse(all []estimate) estimate {
	sw, st := 0.0, 0.0
	best := all[0]
	for _, e := range all {
		w := 1 / (e.sigma * e.sigma)
		sw, st = sw+w, st+w*e.t
		if e.sigma < best.sigma {
			best = e
		}
	}
	out := estimate{t: st / sw, sigma: math.Sqrt(1 / sw), method: best.method}
	chi := 0.0
	for _, e := range all {
		d := (e.t - out.t) / e.sigma
		chi += d * d
	}
	if n := float64(len(all) - 1); n > 0 && chi > n {
		out.sigma *= math.Sqrt(chi / n)
	}
	return out
}

// agree tells whether two estimates can be of one instant.
func agree(a, b estimate) bool {
	const most = 2.5 // standard deviations: one pair of eighty is farther apart by chance
	return math.Abs(a.t-b.t) <= most*math.Hypot(a.sigma, b.sigma)
}

const (
	// barrelLag is the time from the hands going straight at the pitcher to
	// the bat being square, s. At that moment the barrel trails the hands by
	// about a right angle (common practice, no source); at 1588 deg/s (Welch
	// et al. 1995, value from memory) that takes 57 ms. barrelLagSigma is
	// the spread of both between hitters and pitches.
	barrelLag, barrelLagSigma = 0.057, 0.020
	// returnSigma is how far from contact the hands are fastest across the
	// picture seen from behind, s: they come round with the body while the
	// barrel passes square (common practice, no source).
	returnSigma = 0.025
	// handNoise is the error of the distance of the two hands along one
	// axis, stature: about 0.04 torso for each.
	handNoise = 0.017
	// crossReach is how far from the other signs the crossing of the hands
	// is believed, s.
	crossReach = 0.07
)

// contact estimates when the bat meets the ball from the hands alone; t is the
// time of peak hand speed.
func (b *body) contact(t float64) estimate {
	if b.view == swing.Rear {
		return b.contactFromBehind(t)
	}
	// Straight at the pitcher: fastest forward.
	v := signal.Derivative(b.times, b.handsX)
	from, to := b.span(t-0.12, t+0.08)
	top := from
	for i := from; i < to; i++ {
		if b.forward*v[i] > b.forward*v[top] {
			top = i
		}
	}
	for i := range v {
		v[i] *= b.forward
	}
	ts, _ := signal.Peak(b.times, v, top)
	all := []estimate{{ts + barrelLag, math.Hypot(barrelLagSigma, b.step(ts)/math.Sqrt(12)), byHands}}
	if e, ok := b.handsCross(ts + barrelLag); ok {
		all = append(all, e)
	}
	return fuse(all)
}

// contactFromBehind: the hands reach farthest toward the plate when they go
// straight at the pitcher, and come back across fastest about contact.
func (b *body) contactFromBehind(t float64) estimate {
	side := 1.0 // a right-handed hitter's plate is to the right
	if b.bats == swing.Left {
		side = -1
	}
	x := make([]float64, len(b.times))
	for i := range x {
		x[i] = side * b.handsX[i]
	}
	v := signal.Derivative(b.times, x)
	from, to := b.span(t-0.08, t+0.08)
	back := from
	for i := from; i < to; i++ {
		if v[i] < v[back] {
			back = i
		}
	}
	for i := range v {
		v[i] = -v[i]
	}
	tb, _ := signal.Peak(b.times, v, back)
	from, to = b.span(tb-0.15, tb)
	far := max(0, to-1)
	for i := from; i < to; i++ {
		if x[i] > x[far] {
			far = i
		}
	}
	tf, _ := signal.Peak(b.times, x, far)
	frame := b.step(tb) / math.Sqrt(12)
	return fuse([]estimate{
		{tb, math.Hypot(returnSigma, frame), byHands},
		{tf + barrelLag, math.Hypot(math.Hypot(barrelLagSigma, 0.015), frame), byHands},
	})
}

// handsCross is the time near t at which the rear hand passes the lead hand
// toward the pitcher, in the open-side view: the line through both hands is
// the handle; while the barrel trails, the rear hand, which is nearer the
// barrel, is behind, and square to the pitch line both are level.
func (b *body) handsCross(t float64) (estimate, bool) {
	var all []estimate
	for _, pair := range [][2]swing.Joint{{b.lead.Hand, b.rear.Hand}, {b.lead.Wrist, b.rear.Wrist}} {
		d := make([]swing.Point, len(b.times))
		for i := range d {
			d[i] = b.raw[pair[0]][i].Sub(b.raw[pair[1]][i])
		}
		x, _ := bridged(b.times, d)
		x = signal.Smooth(b.times, x, handCutoff)
		best := estimate{sigma: math.Inf(1)}
		from, to := b.span(t-crossReach, t+crossReach)
		for i := max(1, from); i < to; i++ {
			p, q := b.forward*x[i-1], b.forward*x[i]
			if p <= 0 || q > 0 {
				continue
			}
			at := signal.Crossing(b.times, x, i, 0)
			// Rate over a tenth of a second around it: a lingering crossing
			// is a poor clock.
			rate := b.forward * (signal.At(b.times, x, at-0.03) - signal.At(b.times, x, at+0.03)) / 0.06
			s := handNoise / math.Max(rate, 0.1)
			if s < best.sigma {
				best = estimate{at, math.Hypot(s, b.step(at)/math.Sqrt(12)), byHands}
			}
		}
		if !math.IsInf(best.sigma, 1) {
			all = append(all, best)
		}
	}
	if len(all) == 0 {
		return estimate{}, false
	}
	// Hand and wrist points share their errors: a mean, not a fusion.
	var e estimate
	for _, a := range all {
		e.t += a.t / float64(len(all))
		e.sigma += a.sigma / float64(len(all))
	}
	e.method = byHands
	return e, true
}

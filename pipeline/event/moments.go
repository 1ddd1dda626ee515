package event

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Method words of events.
const (
	byFootStill   = "foot-still"           // plant: ankle and heel stopped coming down
	bySlideEnd    = "slide-end"            // plant: a foot that slid after landing stopped
	byFootDown    = "foot-down-already"    // plant of a hitter without a stride: hands start
	byToe         = "toe-stops"            // touch: ball of the foot stopped coming down
	byHeel        = "heel-stops"           // touch: heel first
	byToeLeaves   = "toe-leaves"           // lift
	byRearmost    = "mass-rearmost"        // load, open-side
	byFrontFootUp = "between-lift-and-top" // load, rear view
	byQuiet       = "quiet"                // stance
	byStillest    = "stillest"             // stance when nothing is quiet
	byHandsStop   = "hands-stop"           // finish
	bySound       = "sound"                // contact: the crack of the hit
	byBat         = "bat"                  // contact: the bat is square to the pitch line
	byHands       = "hands"                // contact: hands alone
	byBatTurn     = "bat-turns"            // swing-start: the bat's angular speed leaves its plateau
)

// plant finds the plant of a striding or heel-raising hitter.
func (b *body) plant(f foot, contact float64) (estimate, bool) {
	points := f.points[:1]
	if f.heel != nil {
		points = []footPoint{f.points[0], *f.heel}
		if b.view == swing.Rear {
			// Seen from behind the heel is in sight and the ankle behind it.
			points = points[1:]
		}
	}
	// The definition takes the ankle one tolerance above its lowest level:
	// that is just before it stops.
	e, ok := b.landing(points, f.top, f.height, contact, usualTempo, func(s stop) float64 {
		w, v := 1/(s.speedSigma*s.speedSigma), 1/(touchdownSpread*touchdownSpread)
		speed := (w*s.speed + v*touchdown) / (w + v)
		return s.T - b.levelTol/math.Max(speed, touchdown/2)
	})
	if !ok {
		return e, false
	}
	e.sigma = math.Hypot(e.sigma, touchdownSigma)
	e.method = byFootStill
	if b.view == swing.Rear && f.toe != nil {
		// The toe looks out from behind the rear leg, ankle and heel do not.
		if toe, ok := b.landing([]footPoint{*f.toe}, f.top, f.height, contact, usualTempo+toeLead, instant); ok {
			toe.t, toe.sigma = toe.t+toeLead, math.Hypot(toe.sigma, toeLeadSpread)
			e = fuse([]estimate{e, toe})
			e.method = byFootStill
		}
	}
	if t, slides := b.slide(f.points[0], e.t, contact); slides {
		e = estimate{t: t, sigma: math.Hypot(e.sigma, 0.015), method: bySlideEnd}
	}
	return e, true
}

const (
	// slideRest is how long after landing a smoothed speed still shows the
	// stride, s: half the rise time of an 8 Hz filter.
	slideRest = 0.05
	// slideDoubt is what must be seen beyond Options.Speed, stature/s: twice
	// the noise of a smoothed ankle's speed.
	slideDoubt = 0.10
)

// slide looks for a foot that is down but still moves across the ground, which
// is not planted yet: it returns the end of the last such move before contact.
// Seen from behind the noise of the hidden foot is larger than such a move.
func (b *body) slide(ankle footPoint, plant, contact float64) (float64, bool) {
	if b.view == swing.Rear {
		return 0, false
	}
	v := signal.Derivative(b.times, ankle.xs)
	from, to := b.span(plant+slideRest, contact-slideRest)
	for i := to - 1; i >= from; i-- {
		if math.Abs(v[i]) < b.stillSpeed+slideDoubt {
			continue
		}
		for i+1 < to && math.Abs(v[i+1]) > b.stillSpeed {
			i++
		}
		return b.times[i], true
	}
	return 0, false
}

// launch is when the hands start forward: plant of a hitter whose foot is down
// all the time.
func (b *body) launch(peak float64) estimate {
	from, to := b.span(peak-0.4, peak)
	top := 0.0
	for i := from; i < to; i++ {
		top = math.Max(top, b.handSpeed[i])
	}
	// A sixth of the peak is above any waggle and reached within 30 ms of
	// the start.
	for i := to - 1; i > from; i-- {
		if b.handSpeed[i-1] < top/6 {
			return estimate{t: signal.Crossing(b.times, b.handSpeed, i, top/6), sigma: 0.04, method: byFootDown}
		}
	}
	return estimate{t: peak - usualTempo, sigma: 0.06, method: byFootDown}
}

// touchSpread and touchSpreadRear are what the choice of the part that touches
// first adds to the error of touch, s: half of what lies between toe and heel,
// more where the foot is seen from behind.
const touchSpread, touchSpreadRear = 0.008, 0.012

// touch finds the first ground contact: the earlier of toe and heel, both
// together when they cannot be told apart.
func (b *body) touch(f foot, plant estimate, contact float64) (estimate, bool) {
	var all []estimate
	if f.toe != nil {
		if e, ok := b.landing([]footPoint{*f.toe}, f.top, f.height, contact, usualTempo+toeLead, instant); ok {
			e.method = byToe
			all = append(all, e)
		}
	}
	if f.heel != nil {
		if e, ok := b.landing([]footPoint{*f.heel}, f.top, f.height, contact, usualTempo+toeLead, instant); ok {
			e.method = byHeel
			all = append(all, e)
		}
	}
	if len(all) == 0 {
		return estimate{}, false
	}
	e := all[0]
	if len(all) == 2 {
		a, h := all[0], all[1]
		switch d := h.t - a.t; {
		case d < -math.Hypot(a.sigma, h.sigma):
			e = h
		case d < math.Min(a.sigma, h.sigma):
			e = fuse(all)
		}
	}
	e.t = math.Min(e.t, plant.t)
	spread := touchSpread
	if b.view == swing.Rear {
		spread = touchSpreadRear
	}
	e.sigma = math.Hypot(e.sigma, spread)
	return e, true
}

// load finds the centre of mass at its rearmost between from and to. Seen from
// behind it moves along the line of sight, which one camera does not show; the
// weight turns forward while the front foot is in the air, because nothing
// holds it in front then.
func (b *body) load(from, to float64, lift *estimate, f foot) (estimate, bool) {
	if b.view == swing.Rear {
		if lift == nil || f.top <= lift.t {
			return estimate{}, false
		}
		return estimate{
			t: (lift.t + f.top) / 2, sigma: math.Hypot((f.top-lift.t)/math.Sqrt(12)+0.05, lift.sigma), method: byFrontFootUp,
		}, true
	}
	xs, _ := bridged(b.times, b.mass)
	i0, i1 := b.span(from, to)
	if i1-i0 < 3 || b.forward == 0 {
		return estimate{}, false
	}
	back := i0
	for i := i0; i < i1; i++ {
		if b.forward*xs[i] < b.forward*xs[back] {
			back = i
		}
	}
	// The turning point is flat: all times within the noise of the centre of
	// mass could be it.
	const flat = 0.0015
	a, e := back, back
	for a > i0 && b.forward*(xs[a-1]-xs[back]) < flat {
		a--
	}
	for e < i1-1 && b.forward*(xs[e+1]-xs[back]) < flat {
		e++
	}
	width := b.times[e] - b.times[a] + b.dt
	return estimate{t: (b.times[a] + b.times[e]) / 2, sigma: width / math.Sqrt(12), method: byRearmost}, true
}

const (
	// quietSpeed is how fast trunk and front foot of a waiting hitter move at
	// most, stature/s: breathing and swaying stay below 0.1 m/s.
	quietSpeed = 0.06
	// quietTime is how long it must have been quiet, s.
	quietTime = 0.10
)

// stance finds the last quiet instant before the first move, looking back from
// the time given. Hands are left out: hitters waggle while they wait.
func (b *body) stance(f foot, earliest, before float64) (estimate, bool) {
	from, to := b.span(earliest, before)
	if to-from < 3 {
		return estimate{}, false
	}
	move := make([]float64, len(b.times))
	paths := [][]float64{speedOf(b.times, b.hips), speedOf(b.times, b.shoulders)}
	for _, p := range f.points {
		paths = append(paths, speed(b.times, p.xs, p.ys))
	}
	for i := range move {
		v := make([]float64, len(paths))
		for k := range paths {
			v[k] = paths[k][i]
		}
		// The second fastest: one point alone may be the tracker's.
		move[i] = signal.Quantile(v, float64(len(v)-2)/float64(len(v)-1))
	}
	limit := math.Max(quietSpeed, 2*signal.Quantile(move[from:to], 0.2))
	quietFrom := -1
	for i := to - 1; i >= from; i-- {
		if move[i] >= limit {
			quietFrom = -1
			continue
		}
		if quietFrom < 0 {
			quietFrom = i
		}
		if b.times[quietFrom]-b.times[i] >= quietTime || i == from && quietFrom > from {
			return estimate{t: b.times[quietFrom], sigma: math.Hypot(0.04, b.dt/math.Sqrt(12)), method: byQuiet}, true
		}
	}
	least := from
	for i := from; i < to; i++ {
		if move[i] < move[least] {
			least = i
		}
	}
	return estimate{t: b.times[least], sigma: 0.1, method: byStillest}, true
}

const (
	// stopSpeed is how slow the hands are at finish, stature/s, and stopTime
	// how long, s.
	stopSpeed, stopTime = 0.5, 0.06
)

// finish finds the hands' stop after contact.
func (b *body) finish(contact, latest float64) (estimate, bool) {
	v := speed(b.times, signal.Smooth(b.times, b.handsX, 6), signal.Smooth(b.times, b.handsY, 6))
	from, to := b.span(contact+0.1, latest)
	for i := from; i < to; i++ {
		e := i
		for e < to && v[e] < stopSpeed {
			e++
		}
		if e > i && b.times[e-1]-b.times[i] >= stopTime {
			t := b.times[i]
			if i > from {
				t = signal.Crossing(b.times, v, i, stopSpeed)
			}
			return estimate{t: t, sigma: math.Hypot(0.03, b.dt/math.Sqrt(12)), method: byHandsStop}, true
		}
		i = max(i, e)
	}
	return estimate{}, false
}

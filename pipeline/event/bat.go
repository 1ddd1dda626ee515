package event

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

const (
	// batCutoff is the low-pass of the bat's direction, Hz: a swing takes it
	// from rest to 1600 deg/s in 0.15 s, which holds next to nothing above.
	batCutoff = 14
	// batGap is the longest time without a sight that is bridged, s: the bat
	// turns by some 100 degrees in it at most.
	batGap = 0.07
	// doubtful is the error of a direction, degrees, from which on a sight
	// says nothing of the bat's turn.
	doubtful = 20.0
	// squareSpread is how far from square to the pitch line bat and ball meet,
	// s, one sigma: 12 degrees, balls being hit to all fields (common practice,
	// no source), and 5 degrees of the camera's own place, at 1600 deg/s.
	squareSpread = 0.008
	// squareRearSpread is the same seen from behind, where the bat is longest
	// in the picture when it is square, and longer while it is nearer the
	// camera.
	squareRearSpread = 0.010
	// fastestSpread is how far from contact the bat turns fastest, s.
	fastestSpread = 0.025
	// batReach is how far from the hands' own estimate the bat is believed,
	// s.
	batReach = 0.10
	// farReach is how far from the hands' own estimate a fast bat is believed
	// against them, s, and fastBat the angular speed, rad/s, that only a
	// swing has: waggles stay under 7 (common practice, no source), swings
	// reach 28 (Welch et al. 1995, value from memory).
	farReach, fastBat = 0.35, 12.0
	// leastFlank is the share of its length that the bat must show across
	// the picture, seen from behind, for the flanks of that to be timed.
	leastFlank = 0.6
)

// batView is the bat in the steady picture, in lengths of the bat.
type batView struct {
	x, y  []float64 // from the knob to the tip, gaps bridged
	ok    []bool    // seen, or within a gap that is bridged
	noise float64   // error of x and y along one axis, median
	speed []float64 // angular speed, rad/s, NaN where not ok
}

// newBatView reads the bat; nil when it was not seen.
func (b *body) newBatView(t *swing.Track, path *swing.BatPath) *batView {
	if !path.Known() {
		return nil
	}
	n := t.Len()
	v := &batView{x: make([]float64, n), y: make([]float64, n), ok: make([]bool, n)}
	longest := 0.0
	var noise []float64
	for i, s := range path.Sights {
		if v.ok[i] = s.Seen && s.Sigma < doubtful; !v.ok[i] {
			continue
		}
		d := s.Tip.Sub(s.Knob)
		if t.CameraMoves {
			m := t.Steady[i]
			d = swing.Point{X: m.A*d.X - m.B*d.Y, Y: m.B*d.X + m.A*d.Y}
		}
		v.x[i], v.y[i] = d.X, d.Y
		longest = math.Max(longest, d.Norm())
		noise = append(noise, math.Max(d.Norm()*s.Sigma*math.Pi/180, math.Hypot(s.KnobSigma, s.TipSigma)))
	}
	unit := path.Length
	if !(unit > 0) {
		unit = longest
	}
	if !(unit > 0) {
		return nil
	}
	for i := range v.x {
		v.x[i] /= unit
		v.y[i] /= unit
	}
	v.noise = math.Max(signal.Median(noise)/unit, 0.005)
	seen := v.ok
	x, fx := signal.Fill(t.Times, v.x, seen, batGap)
	y, _ := signal.Fill(t.Times, v.y, seen, batGap)
	for i := range seen {
		v.ok[i] = seen[i] || fx[i]
	}
	v.x, v.y = x, y
	v.turn(b.times)
	return v
}

// turn fills the angular speed run by run. The picture shows the bat's
// direction u without its part z along the line of sight, |u| = 1; with the
// bat's length known z follows up to its sign, and from u.u' = 0 the speed
// |u'|^2 = x'^2 + y'^2 + (x x' + y y')^2 / z^2 without it. Where the bat lies
// nearly in the picture z is not known well and the last term is small; it is
// bounded there.
func (v *batView) turn(times []float64) {
	const leastZ2 = 0.3
	v.speed = make([]float64, len(times))
	for i := range v.speed {
		v.speed[i] = math.NaN()
	}
	for from := 0; from < len(times); from++ {
		if !v.ok[from] {
			continue
		}
		to := from
		for to < len(times) && v.ok[to] {
			to++
		}
		if to-from >= 4 {
			ts := times[from:to]
			xs, ys := signal.Smooth(ts, v.x[from:to], batCutoff), signal.Smooth(ts, v.y[from:to], batCutoff)
			dx, dy := signal.Derivative(ts, xs), signal.Derivative(ts, ys)
			for i := range ts {
				z2 := math.Max(leastZ2, 1-xs[i]*xs[i]-ys[i]*ys[i])
				along := xs[i]*dx[i] + ys[i]*dy[i]
				v.speed[from+i] = math.Sqrt(dx[i]*dx[i] + dy[i]*dy[i] + along*along/z2)
			}
		}
		from = to
	}
}

// batContact estimates from the bat when it meets the ball, given the hands'
// estimate. Bat and ball meet when the bat is about square to the pitch line.
func (b *body) batContact(hands estimate) (estimate, bool) {
	v := b.bat
	if v == nil {
		return estimate{}, false
	}
	var all []estimate
	square, ok := b.squareOpenSide(v, hands.t)
	if b.view == swing.Rear {
		square, ok = b.squareRear(v, hands.t)
	}
	if ok {
		all = append(all, square)
	}
	if t, found := v.fastest(b.times, hands.t-batReach, hands.t+batReach); found {
		e := estimate{t, math.Hypot(fastestSpread, b.step(t)/math.Sqrt(12)), byBat}
		if !ok || agree(e, square) { // the fastest of what was seen near the hands need not be the fastest
			all = append(all, e)
		}
	}
	if len(all) == 0 {
		return estimate{}, false
	}
	return fuse(all), true
}

// batElsewhere is when bat and ball meet by the bat alone, where that is far from
// the hands' estimate: in the open-side view a fast barrel passes the hands toward
// the pitcher once in a swing, and when it does not near the hands' estimate but
// does elsewhere, the hands were wrong.
func (b *body) batElsewhere(hands estimate) (estimate, bool) {
	v := b.bat
	if v == nil || b.view != swing.OpenSide {
		return estimate{}, false
	}
	if _, near := b.squareOpenSide(v, hands.t); near {
		return estimate{}, false
	}
	from, to := b.span(hands.t-farReach, hands.t+farReach)
	best := -1
	for i := max(1, from); i < to; i++ {
		passes := v.ok[i-1] && v.ok[i] && b.forward*v.x[i-1] <= 0 && b.forward*v.x[i] > 0
		if passes && v.speed[i] > fastBat && (best < 0 || v.speed[i] > v.speed[best]) {
			best = i
		}
	}
	if best < 0 {
		return estimate{}, false
	}
	return b.batContact(estimate{t: b.times[best]})
}

// squareOpenSide is when the barrel passes the hands toward the pitcher: the
// bat then points at the camera, square to the pitch line.
func (b *body) squareOpenSide(v *batView, hands float64) (estimate, bool) {
	best, found := estimate{}, false
	from, to := b.span(hands-batReach, hands+batReach)
	for i := max(1, from); i < to; i++ {
		p, q := b.forward*v.x[i-1], b.forward*v.x[i]
		if !v.ok[i-1] || !v.ok[i] || p > 0 || q <= 0 {
			continue
		}
		at := signal.Crossing(b.times, v.x, i, 0)
		rate := (q - p) / (b.times[i] - b.times[i-1])
		s := math.Hypot(math.Hypot(squareSpread, v.noise/rate), (b.times[i]-b.times[i-1])/math.Sqrt(12)/4)
		if !found || math.Abs(at-hands) < math.Abs(best.t-hands) {
			best, found = estimate{at, s, byBat}, true
		}
	}
	return best, found
}

// squareRear is when the bat reaches farthest across the picture toward the
// plate. The top is flat; the middle between the flanks is sharper.
func (b *body) squareRear(v *batView, hands float64) (estimate, bool) {
	side := 1.0
	if b.bats == swing.Left {
		side = -1
	}
	from, to := b.span(hands-batReach, hands+batReach)
	top := -1
	for i := from; i < to; i++ {
		if v.ok[i] && (top < 0 || side*v.x[i] > side*v.x[top]) {
			top = i
		}
	}
	if top < 0 || side*v.x[top] < leastFlank {
		return estimate{}, false
	}
	level := 0.75 * v.x[top]
	flank := func(step int) (float64, float64, bool) {
		for i := top; i+step >= 0 && i+step < len(v.x); i += step {
			if !v.ok[i+step] {
				return 0, 0, false
			}
			if side*v.x[i+step] < side*level {
				k := max(i, i+step)
				return signal.Crossing(b.times, v.x, k, level), math.Abs(v.x[k]-v.x[k-1]) / (b.times[k] - b.times[k-1]), true
			}
		}
		return 0, 0, false
	}
	up, r1, ok1 := flank(-1)
	down, r2, ok2 := flank(1)
	if !ok1 || !ok2 || down-up > 2*batReach {
		return estimate{}, false
	}
	noise := math.Hypot(v.noise/r1, v.noise/r2) / 2
	return estimate{(up + down) / 2, math.Hypot(math.Hypot(squareRearSpread, noise), b.step(up)/math.Sqrt(12)/2), byBat}, true
}

// fastest is when the bat turns fastest in [t0, t1]; false when that is at the
// end of what was seen.
func (v *batView) fastest(times []float64, t0, t1 float64) (float64, bool) {
	top := -1
	for i, t := range times {
		if t >= t0 && t <= t1 && !math.IsNaN(v.speed[i]) && (top < 0 || v.speed[i] > v.speed[top]) {
			top = i
		}
	}
	if top < 1 || top+1 >= len(times) || times[top-1] < t0 || times[top+1] > t1 || math.IsNaN(v.speed[top-1]) || math.IsNaN(v.speed[top+1]) {
		return 0, false
	}
	t, _ := signal.Peak(times, v.speed, top)
	return t, true
}

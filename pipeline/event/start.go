package event

import (
	"math"

	"plantframe/pipeline/signal"
)

const (
	// startReach is how long before contact a swing may begin, s: swings take
	// 0.15 s (Adair) to 0.21 +/- 0.04 s (Reilly-Boccia et al., softball), slow
	// ones a third of a second.
	startReach = 0.40
	// plateauFrom and plateauTo bound the time before contact in which the
	// bat is held or tipped for loading, s.
	plateauFrom, plateauTo = 0.70, 0.25
	// fastShare is the share of the peak that no loading reaches, and
	// leaveShare what counts as having left the plateau: a sixteenth of a
	// swing's 1600 deg/s is 100 deg/s, twice the tipping of a bat.
	fastShare, leaveShare = 0.4, 1.0 / 16
	// leastTurn is the lowest peak of the angular speed that is a swing,
	// rad/s (570 deg/s).
	leastTurn = 10.0
	// restTime is how long the bat must have rested before, s: a bat that lies
	// in the picture and turns about the picture's own axes seems to stand
	// still for a moment in the midst of a swing.
	restTime = 0.05
	// flatShare is the square of the bat's share in the picture from which on
	// its turn toward or away from the camera does not show at first, and
	// flatSpread what that adds to the error of the start, s.
	flatShare, flatSpread = 0.85, 0.025
	// startSpread is the error of the definition itself, s, one sigma: the
	// turn grows out of the loading softly, and the picture does not show
	// the part of it along the line of sight well.
	startSpread = 0.020
)

// start finds when the bat begins its forward turn: looking back from its
// fastest moment, the instant from which its angular speed stays above the
// plateau before by more than a sixteenth of its peak. False when the bat was
// not seen throughout that time.
func (b *body) start(contact float64) (estimate, bool) {
	v := b.bat
	if v == nil {
		return estimate{}, false
	}
	from, to := b.span(contact-startReach, contact+0.03)
	top := -1
	for i := from; i < to; i++ {
		if !math.IsNaN(v.speed[i]) && (top < 0 || v.speed[i] > v.speed[top]) {
			top = i
		}
	}
	if top < 0 || v.speed[top] < leastTurn {
		return estimate{}, false
	}
	level := v.plateau(b.times, contact)
	rest := level
	level += leaveShare * (v.speed[top] - level)
	// Speed that the noise of the direction alone shows: white noise of the
	// points through the low-pass, sqrt(4/3) pi f^(3/2) sqrt(2 dt) of it.
	shake := v.noise * math.Sqrt(4.0/3) * math.Pi * math.Pow(batCutoff, 1.5) * math.Sqrt(2*b.step(b.times[top]))
	level = math.Max(level, rest+shake)
	fast := top
	for fast > from && v.speed[fast] >= fastShare*v.speed[top] {
		fast--
	}
	for i := fast; i > from; i-- {
		if math.IsNaN(v.speed[i]) || math.IsNaN(v.speed[i-1]) {
			return estimate{}, false // hidden when it began
		}
		if v.speed[i-1] >= level || v.most(b.times, b.times[i-1]-restTime, b.times[i-1]) >= 2*level {
			continue
		}
		at := signal.Crossing(b.times, v.speed, i, level)
		slope := (v.speed[min(i+1, top)] - v.speed[i-1]) / (b.times[min(i+1, top)] - b.times[i-1])
		slope = math.Max(slope, v.speed[top]/startReach)
		s := math.Hypot(math.Hypot(startSpread, shake/slope), b.step(at)/math.Sqrt(12))
		if v.x[i]*v.x[i]+v.y[i]*v.y[i] > flatShare {
			s = math.Hypot(s, flatSpread)
		}
		return estimate{at, s, byBatTurn}, true
	}
	return estimate{}, false
}

// most returns the highest speed seen in [t0, t1], rad/s.
func (v *batView) most(times []float64, t0, t1 float64) float64 {
	top := 0.0
	for i, t := range times {
		if t >= t0 && t <= t1 && v.speed[i] > top {
			top = v.speed[i]
		}
	}
	return top
}

// plateau is the angular speed before the swing, rad/s: the middle of what was
// seen then, 0 when nothing was.
func (v *batView) plateau(times []float64, contact float64) float64 {
	var all []float64
	for i, t := range times {
		if t > contact-plateauFrom && t < contact-plateauTo && !math.IsNaN(v.speed[i]) {
			all = append(all, v.speed[i])
		}
	}
	if len(all) < 3 {
		return 0
	}
	return signal.Median(all)
}

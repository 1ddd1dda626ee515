package pose

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// stroke is a motion that can be a swing.
type stroke struct {
	time  float64 // s, when the hands were fastest
	speed float64 // torsos a second
}

// What tells a swing from other fast hands, in torsos and seconds.
const (
	// strokeTravel is how far the hands go past the body around the fastest
	// instant: from the rear shoulder to beyond the front one is 2.5 torsos
	// in space; foreshortened by two thirds it is 0.9.
	strokeTravel = 1.0
	// strokeRaised is how high above the hips the hands wait, median over
	// the half second before: they are loaded at the chest or the shoulder
	// (up to a torso); hands that hang, dribble or jump for one look are
	// lower.
	strokeRaised = 0.35
	// strokeSeen is the mean score of the hands before and in the swing.
	// Hands that the network does not see are no evidence; hands on a bat
	// in front of the body score 0.5 and more.
	strokeSeen = 0.3
	// strokeApart is the least time between two swings of a person.
	strokeApart = 0.8
	// noBatFactor raises the speed asked of hands in which a bat was looked
	// for and never seen.
	noBatFactor = 1.5
	// enoughTries is how many looks for a bat make "never seen" mean
	// something: a look that misses a bat held still is rarer than one in
	// ten.
	enoughTries = 4
)

// strokes finds the swings in a person's looks, in time order. minSpeed is in
// torsos a second.
func strokes(looks []look, torso, minSpeed float64) []stroke {
	var out []stroke
	for i := 1; i < len(looks); i++ {
		v := handSpeed(looks, i, torso)
		if v < minSpeed || v < handSpeed(looks, i-1, torso) || (i+1 < len(looks) && v < handSpeed(looks, i+1, torso)) {
			continue
		}
		t := (looks[i-1].time + looks[i].time) / 2
		if !swingLike(looks, t, torso) {
			continue
		}
		if n := len(out); n > 0 && t-out[n-1].time < strokeApart {
			if v > out[n-1].speed {
				out[n-1] = stroke{t, v}
			}
			continue
		}
		out = append(out, stroke{t, v})
	}
	return out
}

// handSpeed is the speed of the middle of the hands against the hips between
// looks i-1 and i, torsos a second; 0 across a gap.
func handSpeed(looks []look, i int, torso float64) float64 {
	const gap = 0.25
	if i < 1 {
		return 0
	}
	a, b := &looks[i-1], &looks[i]
	dt := b.time - a.time
	if dt <= 0 || dt > gap {
		return 0
	}
	return b.reach().Sub(a.reach()).Norm() / dt / torso
}

// reach is the middle of the hands seen from the hips.
func (l *look) reach() swing.Point { return l.left.Mid(l.right).Sub(l.hip) }

// swingLike checks what surrounds fast hands at time t: both hands seen,
// together and raised before, and a long way travelled.
func swingLike(looks []look, t, torso float64) bool {
	var near, pairs, seen int
	var score float64
	var raised []float64
	lo := swing.Point{X: math.Inf(1), Y: math.Inf(1)}
	hi := swing.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for i := range looks {
		l := &looks[i]
		before := t - l.time
		q := l.reach()
		if before > -0.1 && before < 0.6 {
			seen++
			score += l.score
		}
		if before > -0.05 && before < 0.5 {
			pairs++
			if l.left.Sub(l.right).Norm() < together*torso {
				near++
			}
		}
		if before > 0.1 && before < 0.6 {
			raised = append(raised, -q.Y/torso)
		}
		if before > -0.35 && before < 0.3 {
			lo = swing.Point{X: math.Min(lo.X, q.X), Y: math.Min(lo.Y, q.Y)}
			hi = swing.Point{X: math.Max(hi.X, q.X), Y: math.Max(hi.Y, q.Y)}
		}
	}
	return 2*near > pairs && score > strokeSeen*float64(seen) &&
		len(raised) > 0 && signal.Median(raised) > strokeRaised &&
		hi.Sub(lo).Norm() > strokeTravel*torso
}

// swings returns a person's strokes, asking for more speed where a bat was
// looked for in vain.
func (p *person) swings(torso, minSpeed float64) []stroke {
	if p.tries >= enoughTries && p.holding == 0 {
		minSpeed *= noBatFactor
	}
	return strokes(p.looks, torso, minSpeed)
}

// merit says how much a person looks like the hitter of the clip, 0 = not at
// all: speed of the fastest stroke, a bat in the hands, size in the picture.
func merit(s []stroke, torso, largest, bat float64) float64 {
	const plenty = 15 // torsos a second; a faster hand says no more
	best := 0.0
	for _, st := range s {
		best = math.Max(best, math.Min(st.speed/plenty, 1))
	}
	return best * math.Sqrt(torso/largest) * (0.4 + 0.6*bat)
}

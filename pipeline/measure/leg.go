package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// What a standing front leg obeys, as soft bounds (mean, sigma). Lengths in
// statures.
var (
	// Balance square to the pitch line: the body's mass is over the feet, whose
	// middle is .04 ahead of the ankles; a trunk bent 20 degrees to the plate
	// brings the hips about .05 behind the mass. So the hip is a little behind
	// the ankle (the ankle is ahead, toward the plate).
	ankleAhead = length{0.02, 0.06}
	// The knee bends over the toes; the front foot points between plate (0)
	// and pitcher (90 deg).
	kneeHeading = length{30, 30}
)

// sampleFrontKnee draws the front leg at event e and returns the samples of
// the knee's flexion, degrees.
func (w *work) sampleFrontKnee(e swing.EventName) (out sampled, ok bool) {
	l := limb{
		w: w, rand: w.random(2, e),
		parts: []part{thigh, shank},
		ends:  [][2]swing.Joint{{lead.Hip, lead.Knee}, {lead.Knee, lead.Ankle}},
	}
	l.ways = []way{{}}
	l.weigh = func(s []drawn, stature float64) float64 {
		th, sh := s[0].v, s[1].v
		leg := th.add(sh)
		lw := bell(leg.y/stature, ankleAhead.mean, ankleAhead.sigma)
		// Offset of the knee from the line hip - ankle.
		off := th.sub(leg.scale(th.dot(leg) / leg.dot(leg)))
		heading := degrees(math.Atan2(off.x, off.y))
		lw += bell(math.Remainder(heading-kneeHeading.mean, 360), 0, kneeHeading.sigma)
		dist := viewDistance * stature
		lw += nearer(s[0], w.c.depth(th)/2, dist)
		return lw + nearer(s[1], w.c.depth(th)+w.c.depth(sh)/2, dist)
	}
	ok = l.each(e, func(s []drawn) { out.add(bend(s[0].v, s[1].v), 0) })
	if ok {
		out.normalise()
	}
	return out, ok
}

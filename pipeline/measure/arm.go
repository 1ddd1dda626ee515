package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// What both arms of a hitter obey, as soft bounds (mean, sigma). Lengths in
// statures. None of them is a norm of good hitting: they only tell toward the
// camera from away.
var (
	// Hands on one bat: the wrists are one hand's breadth apart along the
	// handle plus the bend of the wrists.
	wristGap      = 0.075
	wristGapSigma = 0.025
	// The bat is held in front of the chest, from touching it to stretched
	// arms (.32). Measured along the chest's own forward direction.
	handsAhead = length{0.15, 0.08}
	// The lead arm reaches across the chest, so its elbow is ahead of the
	// shoulder; the rear elbow may be behind or ahead of its own.
	leadElbowAhead = length{0.08, 0.06}
	rearElbowAhead = length{-0.02, 0.09}
	// The shoulder line's turn against the pitch line, deg, + = opened: side
	// on until the foot is down, toward the pitcher at contact.
	turnBefore  = length{-10, 25}
	turnContact = length{60, 25}
)

// arms holds the samples of both elbow flexions at one event, degrees.
type arms struct{ lead, rear sampled }

// sampleArms draws both arms at event e as one closed chain: shoulder line,
// upper arms and forearms end in two hands on one bat.
func (w *work) sampleArms(e swing.EventName) (a arms, ok bool) {
	const line, lu, lf, ru, rf = 0, 1, 2, 3, 4
	l := limb{
		w: w, rand: w.random(1, e),
		parts: []part{shoulders, upperArm, forearm, upperArm, forearm},
		ends: [][2]swing.Joint{
			{rear.Shoulder, lead.Shoulder},
			{lead.Shoulder, lead.Elbow},
			{lead.Elbow, lead.Wrist},
			{rear.Shoulder, rear.Elbow},
			{rear.Elbow, rear.Wrist},
		},
	}
	pl, okL := w.c.at(lead.Wrist, w.events[e].Time, false)
	pr, okR := w.c.at(rear.Wrist, w.events[e].Time, false)
	if !okL || !okR {
		return a, false
	}
	apart := pl.Sub(pr).Norm()
	turn := turnBefore
	if e == swing.Contact {
		turn = turnContact
	}
	ok = l.each(e, func(s []drawn, stature float64) {
		across := s[line].v
		// Closed chain along the line of sight; in the picture it is closed
		// by the key points themselves. The hands' own gap may lie either way.
		gap := w.c.depth(across.add(s[lu].v).add(s[lf].v).sub(s[ru].v).sub(s[rf].v)) / stature
		free := wristGap*wristGap - apart*apart/(stature*stature)
		lw := bell(gap, 0, math.Sqrt(max(0, free)/2+wristGapSigma*wristGapSigma))

		theta := math.Atan2(-across.y, across.x)
		lw += bell(math.Remainder(degrees(theta)-turn.mean, 360), 0, turn.sigma)
		ahead := vec{x: math.Sin(theta), y: math.Cos(theta)}
		hands := s[lu].v.add(s[lf].v).add(s[ru].v).add(s[rf].v).scale(0.5)
		lw += bell(hands.dot(ahead)/stature, handsAhead.mean, handsAhead.sigma)
		lw += bell(s[lu].v.dot(ahead)/stature, leadElbowAhead.mean, leadElbowAhead.sigma)
		lw += bell(s[ru].v.dot(ahead)/stature, rearElbowAhead.mean, rearElbowAhead.sigma)

		// Perspective, depths from the middle of the shoulder line.
		dist := viewDistance * stature
		for k, side := range [2]float64{0.5, -0.5} {
			upper, fore := s[lu+2*k], s[lf+2*k]
			c := side * w.c.depth(across)
			lw += nearer(upper, c+w.c.depth(upper.v)/2, dist)
			lw += nearer(fore, c+w.c.depth(upper.v)+w.c.depth(fore.v)/2, dist)
		}
		a.lead.add(bend(s[lu].v, s[lf].v), lw)
		a.rear.add(bend(s[ru].v, s[rf].v), lw)
	})
	return a, ok
}

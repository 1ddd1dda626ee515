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
	// handle plus the bend of the wrists, .05 to .1; per axis, any direction.
	wristGap = 0.045
	// Farther apart in the picture than this, one of them is wrong.
	wristMost = 0.10
	// Chance beforehand that a network puts one given wrist somewhere else.
	wristWrong = 0.03
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

// arms holds the samples of both elbow flexions at one event, degrees, and some of
// the postures.
type arms struct {
	lead, rear sampled
	poses      []armPose
	reach      []float64 // running sum of the poses' weights for the bat, once computed
}

// armPose is one sample of the arms (lead, rear) in space, px from the middle of
// the shoulders; equally likely ones.
type armPose struct {
	shoulder, elbow, wrist [2]vec
	known                  [2]bool
}

// hands returns the middle of the hands, beyond px past the wrists.
func (a *armPose) hands(beyond float64) vec {
	var sum vec
	n := 0.0
	for k := range 2 {
		if !a.known[k] {
			continue
		}
		fore := a.wrist[k].sub(a.elbow[k])
		sum = sum.add(a.wrist[k]).add(fore.scale(beyond / max(1e-9, fore.norm())))
		n++
	}
	return sum.scale(1 / max(1, n))
}

// armSkip is how many samples share one posture that is kept.
const armSkip = 4

// sampleArms draws both arms at event e as one closed chain: shoulder line,
// upper arms and forearms end in two hands on one bat. When one arm is not seen
// the other is drawn alone, and only its samples are returned.
func (w *work) sampleArms(e swing.EventName) (a arms, ok bool) {
	l := limb{
		w: w, rand: w.random(1, e), parts: []part{shoulders},
		ends: [][2]swing.Joint{{rear.Shoulder, lead.Shoulder}},
	}
	var chains []armChain
	for _, c := range []armChain{
		{side: lead, half: 0.5, ahead: leadElbowAhead, out: &a.lead},
		{side: rear, half: -0.5, ahead: rearElbowAhead, out: &a.rear},
	} {
		t := w.events[e].Time
		if !w.c.trusted(c.side.Elbow, t) || !w.c.trusted(c.side.Wrist, t) {
			continue
		}
		c.first = len(l.parts)
		l.parts = append(l.parts, upperArm, forearm)
		l.ends = append(l.ends, [2]swing.Joint{c.side.Shoulder, c.side.Elbow}, [2]swing.Joint{c.side.Elbow, c.side.Wrist})
		chains = append(chains, c)
	}
	turn := turnBefore
	if e == swing.Contact {
		turn = turnContact
	}
	l.weigh = func(s []drawn, stature float64) float64 {
		lw := 0.0
		across := s[0].v
		theta := math.Atan2(-across.y, across.x)
		lw += bell(math.Remainder(degrees(theta)-turn.mean, 360), 0, turn.sigma)
		ahead := vec{x: math.Sin(theta), y: math.Cos(theta)}
		dist := viewDistance * stature
		var hands vec
		var ends [2]vec // from the middle of the shoulder line
		for k, c := range chains {
			upper, fore := s[c.first], s[c.first+1]
			lw += bell(upper.v.dot(ahead)/stature, c.ahead.mean, c.ahead.sigma)
			start := across.scale(c.half)
			ends[k] = start.add(upper.v).add(fore.v)
			hands = hands.add(ends[k].scale(1 / float64(len(chains))))
			depth := w.c.depth(start)
			lw += nearer(upper, depth+w.c.depth(upper.v)/2, dist)
			lw += nearer(fore, depth+w.c.depth(upper.v)+w.c.depth(fore.v)/2, dist)
		}
		lw += bell(hands.dot(ahead)/stature, handsAhead.mean, handsAhead.sigma)
		if len(chains) == 2 {
			lw += bell(ends[0].sub(ends[1]).norm()/stature, 0, wristGap)
		}
		return lw
	}
	if len(chains) == 0 {
		return a, false
	}
	l.ways = []way{{}}
	if len(chains) == 2 {
		l.ways = w.suppose(e)
	}
	n := 0
	return a, l.each(e, func(s []drawn) {
		var p armPose
		for _, c := range chains {
			c.out.add(bend(s[c.first].v, s[c.first+1].v), 0)
			k := 0
			if c.half < 0 {
				k = 1
			}
			p.known[k] = true
			p.shoulder[k] = s[0].v.scale(c.half)
			p.elbow[k] = p.shoulder[k].add(s[c.first].v)
			p.wrist[k] = p.elbow[k].add(s[c.first+1].v)
		}
		if n++; n%armSkip == 0 {
			a.poses = append(a.poses, p)
		}
	})
}

// armChain is one arm among the segments of a sample.
type armChain struct {
	side  swing.Side
	half  float64 // its shoulder's place on the shoulder line from the middle
	ahead length
	first int // index of the upper arm; the forearm follows
	out   *sampled
}

// suppose returns how the wrists may be read: as they are seen and, when they
// are too far apart to hold one bat, also with either wrist put to the other.
// What the rest of the arms makes of it decides between them.
func (w *work) suppose(e swing.EventName) []way {
	t := w.events[e].Time
	pl, _ := w.c.at(lead.Wrist, t, false)
	pr, _ := w.c.at(rear.Wrist, t, false)
	noise := math.Hypot(w.c.noise(lead.Wrist, t), w.c.noise(rear.Wrist, t))
	if pl.Sub(pr).Norm()-wristMost*w.c.stature <= noise {
		return []way{{}}
	}
	return []way{
		{},
		{map[swing.Joint]swing.Joint{lead.Wrist: rear.Wrist}, math.Log(wristWrong)},
		{map[swing.Joint]swing.Joint{rear.Wrist: lead.Wrist}, math.Log(wristWrong)},
	}
}

package measure

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// How the noise of a key point behaves over time. A network's error is mostly
// a habit (it draws a hip too high, a shoulder too far forward) that stays or
// changes with the posture, and hardly jitter: after smoothing at 8 Hz a still
// hitter's points move by .01 torso while their error is .06. So half of the
// variance is constant over the swing and cancels in differences, half changes
// smoothly with the posture, within slowTime.
const (
	constantShare = 0.5
	slowTime      = 0.25 // s between independent values of the slow part
)

// What one camera cannot know, one sigma each.
const (
	levelSigma = 1.0 // deg, tilt of a phone held to its own level line or on a tripod (common practice, no source)
	yawSigma   = 7.0 // deg, between the picture and the pitch line: camera placed by eye
	// viewDistance is the usual distance of the camera, statures: a standing
	// person fills about half of the picture height of a phone held upright
	// or lying, whose short side then spans about 35 degrees.
	viewDistance = 3.3
)

// draws holds the random numbers of all Monte Carlo draws. Draw -1 is the
// undisturbed one.
type draws struct {
	n       int
	times   map[swing.EventName][]float64
	stature []float64           // true stature over the track's
	level   []float64           // deg
	yaw     []float64           // deg
	parts   [][numParts]float64 // standard normal, for the segment lengths
	bias    [][swing.NumPoints]swing.Point
	slow    [][][swing.NumPoints]swing.Point // knots slowTime apart
	phase   []float64                        // s, first knot's time
}

// newDraws makes n draws for the events over the time span [from, to]; stature
// is the relative sigma of the standing height.
func newDraws(n int, seed uint64, events map[swing.EventName]swing.Event, from, to, stature float64) *draws {
	r := rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))
	d := &draws{n: n, times: map[swing.EventName][]float64{}}
	knots := int(math.Ceil((to-from)/slowTime)) + 4
	for range n {
		d.stature = append(d.stature, math.Exp(stature*r.NormFloat64()))
		d.level = append(d.level, levelSigma*r.NormFloat64())
		d.yaw = append(d.yaw, yawSigma*r.NormFloat64())
		var p [numParts]float64
		for i := range p {
			p[i] = r.NormFloat64()
		}
		d.parts = append(d.parts, p)
		d.bias = append(d.bias, cloud(r))
		k := make([][swing.NumPoints]swing.Point, knots)
		for i := range k {
			k[i] = cloud(r)
		}
		d.slow = append(d.slow, k)
		d.phase = append(d.phase, from-(1+r.Float64())*slowTime)
	}
	// Drawn in time order, events keep their order in every draw.
	last := make([]float64, n)
	for i := range last {
		last[i] = math.Inf(-1)
	}
	for _, name := range swing.EventNames() {
		e, ok := events[name]
		if !ok {
			continue
		}
		ts := make([]float64, n)
		for i := range ts {
			ts[i] = max(last[i], min(to, max(from, e.Time+e.Sigma*r.NormFloat64())))
			last[i] = ts[i]
		}
		d.times[name] = ts
	}
	return d
}

// pairShare is the part of the variance that left and right shoulder, hip or
// ear have in common: networks shift a whole shoulder or hip line, for instance
// toward the side that they see.
const pairShare = 0.5

// cloud draws one standard normal displacement per body point.
func cloud(r *rand.Rand) (p [swing.NumPoints]swing.Point) {
	for j := range p {
		p[j] = swing.Point{X: r.NormFloat64(), Y: r.NormFloat64()}
	}
	own, common := math.Sqrt(1-pairShare), math.Sqrt(pairShare)
	for _, j := range []swing.Joint{swing.LeftEar, swing.LeftShoulder, swing.LeftHip} {
		c := swing.Point{X: r.NormFloat64(), Y: r.NormFloat64()}.Scale(common)
		p[j] = p[j].Scale(own).Add(c)
		p[j.Partner()] = p[j.Partner()].Scale(own).Add(c)
	}
	return p
}

// at returns draw i's standard normal displacement of point j at time t.
func (d *draws) at(i int, j swing.Joint, t float64) swing.Point {
	k := d.slow[i]
	s := (t - d.phase[i]) / slowTime
	m := max(1, min(len(k)-3, int(math.Floor(s))))
	u := max(0, min(1, s-float64(m)))
	// Cubic through four knots (Catmull-Rom), scaled back to unit variance.
	a, b := -u*(1-u)*(1-u)/2, 1-u*u*(2.5-1.5*u)
	c, e := u*(0.5+u*(2-1.5*u)), -u*u*(1-u)/2
	g := math.Sqrt((1 - constantShare) / (a*a + b*b + c*c + e*e))
	h := math.Sqrt(constantShare)
	o := d.bias[i][j]
	return swing.Point{
		X: h*o.X + g*(a*k[m-1][j].X+b*k[m][j].X+c*k[m+1][j].X+e*k[m+2][j].X),
		Y: h*o.Y + g*(a*k[m-1][j].Y+b*k[m][j].Y+c*k[m+1][j].Y+e*k[m+2][j].Y),
	}
}

// Hidden points: networks guess them from the rest of the body, and give them a
// low score. Their error is about twice that of visible ones. A track's sigma is
// the mean over all frames; for elbows and wrists that mixes both (measured for
// the default network: elbow .046 torso when visible, .075 over all, wrist .061
// and .070), other points are seen nearly always.
const (
	clearScore  = 0.8 // at and above: visible
	hiddenScore = 0.3 // at and below: hidden
)

// blindness returns the factor on the noise of point j that a score asks for.
func blindness(j swing.Joint, score float64) float64 {
	clearly, hidden := 1.0, 2.0
	switch j {
	case swing.LeftElbow, swing.RightElbow, swing.LeftWrist, swing.RightWrist:
		clearly, hidden = 0.75, 1.6
	}
	f := max(0, min(1, (clearScore-score)/(clearScore-hiddenScore)))
	return clearly + (hidden-clearly)*f
}

// In an open-side view the hips are sharp as long as the pelvis faces the camera
// and less so once it turns to the pitcher (measured for the default network:
// .050 torso before plant, .124 on average from plant to contact, so about .19 at
// contact; the track's sigma stands for the mean of all).
const (
	hipsFacing = 0.6
	hipsTurned = 2.1
	// From behind, networks pull both hips toward the side they see: most of
	// the error lies across the picture.
	hipsBehind = 1.25
)

// noise returns the one-sigma noise of point j around time t, px per axis. A
// bridged point is at least as uncertain as a hidden one.
func (c *canon) noise(j swing.Joint, t float64) float64 {
	score := c.score(j, t)
	if i := signal.Nearest(c.times, t); i >= 0 && c.own[i][j].State == swing.Filled {
		score = 0
	}
	f := blindness(j, score)
	if j == swing.LeftHip || j == swing.RightHip {
		if c.view == swing.Rear {
			f *= hipsBehind
		} else {
			f *= hipsFacing + (hipsTurned-hipsFacing)*c.turned(t)
		}
	}
	return f * c.sigma[j]
}

// turned returns how far the pelvis has turned to the pitcher at time t: 0 until
// plant, 1 from contact on, in proportion between; 0.5 when they are not known.
func (c *canon) turned(t float64) float64 {
	if !(c.contact > c.plant) {
		return 0.5
	}
	return max(0, min(1, (t-c.plant)/(c.contact-c.plant)))
}

package measure

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Points of the canonical hitter: left is the lead side.
var (
	lead = swing.Right.Lead()
	rear = swing.Right.Rear()
)

// canon is the track of the canonical hitter: mirrored for a left-handed one,
// so that x grows toward the pitcher (open-side) or the plate (rear).
type canon struct {
	view    swing.View
	frames  []int
	times   []float64
	own     [][swing.NumPoints]swing.TrackPoint // each frame's own picture
	steady  [][swing.NumPoints]swing.Point      // all in the first frame's picture
	sigma   [swing.NumPoints]float64            // px
	stature float64                             // px
	torso   float64                             // px
	plant   float64                             // s; 0, 0 when one of both is not known
	contact float64                             // s
	curves  [2][swing.NumPoints][2]*signal.Curve
}

// newCanon copies the parts of sw that are needed. The picture's mirror image
// has x' = -x; where zero lies does not matter to any measure.
func newCanon(sw swing.Swing) *canon {
	t := &sw.Track
	c := &canon{view: sw.View, frames: t.Frames, times: t.Times, stature: t.Stature, torso: t.Torso}
	p, okP := sw.Events[swing.Plant]
	k, okK := sw.Events[swing.Contact]
	if okP && okK {
		c.plant, c.contact = p.Time, k.Time
	}
	sign, other := 1.0, func(j swing.Joint) swing.Joint { return j }
	if sw.Bats == swing.Left {
		sign, other = -1, swing.Joint.Partner
	}
	n := t.Len()
	c.own = make([][swing.NumPoints]swing.TrackPoint, n)
	c.steady = make([][swing.NumPoints]swing.Point, n)
	for i := range n {
		for j := range swing.NumPoints {
			k := other(swing.Joint(j))
			p := t.Points[i][k]
			q := p.Point()
			if i < len(t.Steady) && t.Steady[i] != (swing.Similarity{}) {
				q = t.Steady[i].Apply(q)
			}
			c.steady[i][j] = swing.Point{X: sign * q.X, Y: q.Y}
			p.X *= sign
			c.own[i][j] = p
		}
	}
	for j := range swing.NumPoints {
		c.sigma[j] = t.Sigma[other(swing.Joint(j))]
	}
	return c
}

// at returns the place of a point at time t, in the picture of that moment or,
// with steady set, in the first frame's picture. ok is false when the point is
// missing in one of the two frames around t.
func (c *canon) at(j swing.Joint, t float64, steady bool) (p swing.Point, ok bool) {
	i := signal.Nearest(c.times, t)
	if i < 0 || c.own[i][j].State == swing.Missing {
		return p, false
	}
	k := 0
	if steady {
		k = 1
	}
	if c.curves[k][j][0] == nil {
		c.fit(j, k)
	}
	return swing.Point{X: c.curves[k][j][0].At(t), Y: c.curves[k][j][1].At(t)}, true
}

// fit builds the curves of point j through the frames in which it is known.
func (c *canon) fit(j swing.Joint, k int) {
	var ts, xs, ys []float64
	for i, t := range c.times {
		p := c.own[i][j]
		if p.State == swing.Missing {
			continue
		}
		q := p.Point()
		if k == 1 {
			q = c.steady[i][j]
		}
		ts, xs, ys = append(ts, t), append(xs, q.X), append(ys, q.Y)
	}
	c.curves[k][j] = [2]*signal.Curve{signal.NewCurve(ts, xs), signal.NewCurve(ts, ys)}
}

// score returns the lowest score of a point in the frames around time t.
func (c *canon) score(j swing.Joint, t float64) float64 {
	s := 1.0
	for _, i := range c.around(t) {
		s = min(s, c.own[i][j].Score)
	}
	return s
}

// around returns the indices of the one or two frames next to time t.
func (c *canon) around(t float64) []int {
	i := signal.Nearest(c.times, t)
	switch {
	case i < 0:
		return nil
	case t > c.times[i] && i+1 < len(c.times):
		return []int{i, i + 1}
	case t < c.times[i] && i > 0:
		return []int{i - 1, i}
	}
	return []int{i}
}

// between returns the indices of the frames in [a, b].
func (c *canon) between(a, b float64) []int {
	var out []int
	for i, t := range c.times {
		if t >= a && t <= b {
			out = append(out, i)
		}
	}
	return out
}

// spacing returns the time between frames around t, s.
func (c *canon) spacing(t float64) float64 {
	i := signal.Nearest(c.times, t)
	lo, hi := max(0, i-2), min(len(c.times)-1, i+2)
	if hi <= lo {
		return math.Inf(1)
	}
	return (c.times[hi] - c.times[lo]) / float64(hi-lo)
}

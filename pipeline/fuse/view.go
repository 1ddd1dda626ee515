package fuse

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Points of the body in space; the lead side's precede the rear side's.
const (
	shoulders = 0
	elbows    = 2
	wrists    = 4
	hips      = 6
	knees     = 8
	ankles    = 10
	heels     = 12
	toes      = 14
	head      = 16
	numPoints = 17
)

// view is one clip's swing as a right-handed hitter's, in the picture of the first
// frame, so that x grows to the pitcher (open side) or to the plate (rear).
type view struct {
	sw     *swing.Swing
	side   float64 // -1: the picture is mirrored
	width  float64 // px
	height float64
	times  []float64
	size   float64 // stature, px
	curve  [numPoints]pointCurve
	bat    [2]pointCurve // knob, tip
}

// pointCurve is one point over the times at which it is known.
type pointCurve struct {
	times, scores []float64
	x, y          *signal.Curve
	sigma         float64 // px, one axis, of a point that is seen
}

// reach is how far the next known frame may be, s.
const reach = 0.06

func newView(sw *swing.Swing) *view {
	t := &sw.Track
	v := &view{sw: sw, side: 1, width: float64(sw.Width), height: float64(sw.Height), times: t.Times, size: t.Stature}
	if sw.Bats == swing.Left {
		v.side = -1
	}
	lead, rear := sw.Bats.Lead(), sw.Bats.Rear()
	for k, pair := range [][2]swing.Joint{
		{lead.Shoulder, rear.Shoulder},
		{lead.Elbow, rear.Elbow},
		{lead.Wrist, rear.Wrist},
		{lead.Hip, rear.Hip},
		{lead.Knee, rear.Knee},
		{lead.Ankle, rear.Ankle},
		{lead.Heel, rear.Heel},
		{lead.BigToe, rear.BigToe},
	} {
		v.curve[2*k], v.curve[2*k+1] = v.points(pair[0], pair[0]), v.points(pair[1], pair[1])
	}
	v.curve[head] = v.points(swing.LeftEar, swing.RightEar)
	v.follow()
	return v
}

// still returns a place of frame i's picture in the canonical one.
func (v *view) still(i int, p swing.Point) swing.Point {
	if s := v.sw.Track.Steady; i < len(s) && s[i] != (swing.Similarity{}) {
		p = s[i].Apply(p)
	}
	if v.side < 0 {
		p.X = v.width - p.X
	}
	return p
}

// points makes the curve of the middle of two points, which may be the same.
func (v *view) points(a, b swing.Joint) pointCurve {
	t := &v.sw.Track
	var c pointCurve
	var xs, ys []float64
	for i, at := range t.Times {
		p, q := t.Points[i][a], t.Points[i][b]
		if p.State == swing.Missing || q.State == swing.Missing {
			continue
		}
		m := v.still(i, p.Point().Mid(q.Point()))
		score := min(p.Score, q.Score)
		if p.State == swing.Filled || q.State == swing.Filled {
			score = 0
		}
		c.times, xs, ys, c.scores = append(c.times, at), append(xs, m.X), append(ys, m.Y), append(c.scores, score)
	}
	c.x, c.y = signal.NewCurve(c.times, xs), signal.NewCurve(c.times, ys)
	// A track that states no noise still has a pixel of it.
	c.sigma = max(t.Sigma[a], t.Sigma[b], 0.003*t.Stature)
	return c
}

// follow makes the curves of the bat's ends.
func (v *view) follow() {
	var xs, ys, sigmas [2][]float64
	for i, s := range v.sw.Bat.Sights {
		if !s.Seen || i >= len(v.times) {
			continue
		}
		for k, p := range [2]swing.Point{s.Knob, s.Tip} {
			p = v.still(i, p)
			c := &v.bat[k]
			c.times, xs[k], ys[k] = append(c.times, v.times[i]), append(xs[k], p.X), append(ys[k], p.Y)
			c.scores = append(c.scores, 1)
			sigmas[k] = append(sigmas[k], [2]float64{s.KnobSigma, s.TipSigma}[k])
		}
	}
	for k := range v.bat {
		if len(sigmas[k]) > 0 {
			v.bat[k].sigma = signal.Median(sigmas[k])
		}
		v.bat[k].x, v.bat[k].y = signal.NewCurve(v.bat[k].times, xs[k]), signal.NewCurve(v.bat[k].times, ys[k])
	}
}

// at returns the place of a point at time t; false where it is not known.
func (c *pointCurve) at(t float64) (swing.Point, bool) {
	i := signal.Nearest(c.times, t)
	if i < 0 || math.Abs(c.times[i]-t) > reach || len(c.times) < 2 {
		return swing.Point{}, false
	}
	return swing.Point{X: c.x.At(t), Y: c.y.At(t)}, true
}

// speed returns the point's speed at time t, px/s.
func (c *pointCurve) speed(t float64) swing.Point {
	const h = 0.005
	return swing.Point{X: c.x.At(t+h) - c.x.At(t-h), Y: c.y.At(t+h) - c.y.At(t-h)}.Scale(1 / (2 * h))
}

// A network says by its score whether it sees a point. Hidden ones are guessed from
// the rest of the body, with about twice the error (as in package measure).
const (
	clearScore = 0.8
	blindScore = 0.3
	blindTimes = 2.0
)

// noise returns the error of a point at time t, px per axis.
func (c *pointCurve) noise(t float64) float64 {
	i := signal.Nearest(c.times, t)
	if i < 0 {
		return c.sigma
	}
	f := max(0, min(1, (clearScore-c.scores[i])/(clearScore-blindScore)))
	return c.sigma * (1 + (blindTimes-1)*f)
}

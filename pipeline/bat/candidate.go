package bat

import (
	"math"

	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

// candidate is one way the bat may lie in a frame.
type candidate struct {
	knob, tip spot.Place
	hands     swing.Point // middle of the grip, px
	sigma     float64     // one-sigma error of the direction, degrees
	edges     float64     // share of the line that stands out, 0..1
}

// dir returns the direction from knob to tip, degrees, clockwise from right.
func (c *candidate) dir() float64 {
	d := c.tip.At.Sub(c.knob.At)
	return math.Atan2(d.Y, d.X) * 180 / math.Pi
}

// secondKnob is the probability from which another place of the knob counts.
const secondKnob = 0.2

// candidates lists the ways of one frame: every place of the tip with the
// likely places of the knob.
func candidates(s *Sighting, torso float64) []candidate {
	var out []candidate
	for k, kn := range s.Knob {
		if k > 0 && kn.Mass < secondKnob {
			break
		}
		for j, tp := range s.Tip {
			c := candidate{knob: kn, tip: tp, hands: s.Grip.At}
			if k == 0 && j < len(s.Edges) {
				c.edges = s.Edges[j]
			}
			c.straighten(s.Grip)
			c.sigma = math.Hypot(c.sigma, degrees(handsDoubt*torso, tp.At.Sub(kn.At).Norm()))
			if k == 0 && j < len(s.Axis) {
				c.follow(s.Axis[j], kn.At, tp.At)
			}
			out = append(out, c)
		}
	}
	return out
}

// handsDoubt is how far from its place in the fists a bat may run, torsos (1.5
// cm): grips differ, and no picture shows the inside of a hand.
const handsDoubt = 0.03

// follow takes the barrel's own axis x, measured about the line k-t, into the
// direction: weighed by the errors when both agree, alone when they do not,
// because the barrel is in sight and the knob is not.
func (c *candidate) follow(x Axis, k, t swing.Point) {
	if x.Strength < clearAxis {
		return
	}
	ak, at := x.along(k, t)
	a := math.Atan2(at.Y-ak.Y, at.X-ak.X) * 180 / math.Pi
	off := math.Remainder(a-c.dir(), 360)
	share, sigma := 1.0, x.Sigma
	if math.Abs(off) < 2.5*math.Hypot(x.Sigma, c.sigma) {
		w, v := 1/sq(x.Sigma), 1/sq(c.sigma)
		share, sigma = w/(w+v), 1/math.Sqrt(w+v)
	}
	n := c.tip.At.Sub(c.knob.At).Norm()
	sin, cos := math.Sincos((c.dir() + share*off) * math.Pi / 180)
	c.tip.At = c.tip.At.Add(at.Sub(t).Scale(share / 2))
	c.knob.At = c.tip.At.Sub(swing.Point{X: n * cos, Y: n * sin})
	c.sigma = sigma
}

// straighten moves knob and tip onto the straight line that fits knob, grip
// and tip best by their errors, when the three lie on a line within those
// errors, and sets sigma. The grip helps where the hands hide the knob.
func (c *candidate) straighten(grip spot.Place) {
	n := c.tip.At.Sub(c.knob.At).Norm()
	two := math.Hypot(c.tip.Sigma, c.knob.Sigma)
	c.sigma = degrees(two, n)
	if n < 1 || grip.Mass < 0.5 {
		return
	}
	w := [3]float64{1 / sq(c.knob.Sigma), 1 / sq(grip.Sigma), 1 / sq(c.tip.Sigma)}
	p := [3]swing.Point{c.knob.At, grip.At, c.tip.At}
	sum := w[0] + w[1] + w[2]
	var m swing.Point
	for i := range p {
		m = m.Add(p[i].Scale(w[i] / sum))
	}
	var xx, xy, yy float64
	for i := range p {
		d := p[i].Sub(m)
		xx, xy, yy = xx+w[i]*d.X*d.X, xy+w[i]*d.X*d.Y, yy+w[i]*d.Y*d.Y
	}
	a := math.Atan2(2*xy, xx-yy) / 2
	u := swing.Point{X: math.Cos(a), Y: math.Sin(a)}
	if u.Dot(c.tip.At.Sub(c.knob.At)) < 0 {
		u = u.Scale(-1)
	}
	var along float64 // sum of w s^2 about the mean
	for i := range p {
		d := p[i].Sub(m)
		off := math.Abs(d.X*u.Y-d.Y*u.X) * math.Sqrt(w[i])
		if off > 2.5 {
			return // not one line: the two ends stand
		}
		along += w[i] * sq(d.Dot(u))
	}
	if along > 0 {
		c.knob.At = m.Add(u.Scale(c.knob.At.Sub(m).Dot(u)))
		c.tip.At = m.Add(u.Scale(c.tip.At.Sub(m).Dot(u)))
		c.sigma = math.Min(c.sigma, 180/math.Pi/math.Sqrt(along))
	}
}

// degrees is the angle of an offset across a length.
func degrees(off, length float64) float64 {
	return math.Min(90, math.Atan2(off, math.Max(length, 1e-9))*180/math.Pi)
}

func sq(x float64) float64 { return x * x }

// angleBetween returns the difference of two directions, 0..180 degrees.
func angleBetween(a, b float64) float64 {
	return math.Abs(math.Remainder(a-b, 360))
}

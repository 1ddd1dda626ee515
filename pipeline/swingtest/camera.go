package swingtest

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

// Camera is a phone on a tripod, or in a hand.
type Camera struct {
	View     swing.View
	Distance float64 // m from the hitter. Default 5.5
	High     float64 // m over the ground. Default 1.3
	Yaw      float64 // deg, how far it is off the ideal direction
	Focal    float64 // px. Default 1100
	FPS      float64 // Default 60
	Jitter   float64 // variable rate: spread of frame times, share of the spacing
	Drop     int     // variable rate: every Drop-th frame is missing; 0 = none
	Shift    float64 // s, time of the first frame
	Length   float64 // s. Default 3
	Pan      float64 // px that the picture moves over the clip
	Shake    float64 // px, one sigma of hand-held shaking
	Mirror   bool    // the picture is flipped left to right
	Scale    float64 // picture size. Default 1
	Noise    float64 // stature, one sigma of each coordinate. Default 0
	Seed     uint64
}

func (c Camera) withDefaults() Camera {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&c.Distance, 5.5)
	def(&c.High, 1.3)
	def(&c.Focal, 1100)
	def(&c.FPS, 60)
	def(&c.Length, 3)
	def(&c.Scale, 1)
	if c.View == "" {
		c.View = swing.OpenSide
	}
	return c
}

const picWidth, picHeight = 1280, 720

// Film returns the poses of the motion and the maps of the still background,
// one per frame; moves is true when the camera moves.
func (c Camera) Film(m Motion) (poses []swing.Pose, steady []swing.Similarity, moves bool) {
	c = c.withDefaults()
	r := rand.New(rand.NewPCG(c.Seed, 77))
	view := c.lens(m)
	n := int(c.Length*c.FPS + 0.5)
	var first, shake swing.Point
	sigma := c.Noise * m.Height * c.Focal / c.Distance
	for i := range n {
		t := c.Shift + (float64(i)+c.Jitter*(r.Float64()-0.5))/c.FPS
		if c.Drop > 0 && i%c.Drop == c.Drop-1 {
			continue
		}
		b := m.at(t)
		pose := swing.Pose{Frame: len(poses), Time: t, Found: true, Score: 0.95}
		// Shaking keeps on for some 0.1 s.
		k := math.Exp(-1 / (0.1 * c.FPS))
		shake = shake.Scale(k).Add(swing.Point{X: r.NormFloat64(), Y: r.NormFloat64()}.Scale(c.Shake * math.Sqrt(1-k*k)))
		off := swing.Point{X: c.Pan * float64(i) / float64(n)}.Add(shake)
		if i == 0 {
			first = off
		}
		for j := range b {
			p := view(b[j]).Add(off)
			p = p.Add(swing.Point{X: r.NormFloat64(), Y: r.NormFloat64()}.Scale(sigma))
			if c.Mirror {
				p.X = picWidth - p.X
			}
			pose.Points[j] = swing.Keypoint{X: c.Scale * p.X, Y: c.Scale * p.Y, Score: 0.95}
		}
		if c.Mirror {
			flipped := pose.Points
			for j := range flipped {
				pose.Points[j] = flipped[swing.Joint(j).Partner()]
			}
		}
		s := swing.IdentitySimilarity()
		d := first.Sub(off)
		if c.Mirror {
			d.X = -d.X
		}
		s.TX, s.TY = c.Scale*d.X, c.Scale*d.Y
		poses, steady = append(poses, pose), append(steady, s)
	}
	return poses, steady, c.Pan != 0 || c.Shake != 0
}

// lens returns the projection into the picture before panning.
func (c Camera) lens(m Motion) func(vec) swing.Point {
	aim := vec{0.1, 0, 0.5 * m.Height}
	from := vec{0, -1, 0}
	if m.Left {
		from[1] = 1
	}
	if c.View == swing.Rear {
		from = vec{-1, 0, 0}
	}
	s, k := math.Sincos(rad(c.Yaw))
	from = vec{k*from[0] - s*from[1], s*from[0] + k*from[1], 0}
	eye := aim.add(from.mul(c.Distance))
	eye[2] = c.High
	fwd := aim.sub(eye)
	fwd = fwd.mul(1 / fwd.norm())
	right := vec{fwd[1], -fwd[0], 0}
	right = right.mul(1 / right.norm())
	up := vec{
		right[1]*fwd[2] - right[2]*fwd[1],
		right[2]*fwd[0] - right[0]*fwd[2],
		right[0]*fwd[1] - right[1]*fwd[0],
	}
	return func(p vec) swing.Point {
		d := p.sub(eye)
		z := d.dot(fwd)
		return swing.Point{X: picWidth/2 + c.Focal*d.dot(right)/z, Y: picHeight/2 - c.Focal*d.dot(up)/z}
	}
}

// PlantByDefinition returns the plant of the k-th swing by its definition,
// applied to the exact motion: the first instant from which the front ankle is
// within 0.006 stature of its lowest level between the top of the stride and
// contact and slower than 0.29 stature/s across, until contact.
func (m Motion) PlantByDefinition(k int) float64 {
	const step = 0.0005
	c := m.Contacts[k]
	ankle := swing.LeftAnkle
	if m.Left {
		ankle = swing.RightAnkle
	}
	at := func(t float64) vec { return m.at(t)[ankle] }
	top, low := c, math.Inf(1)
	for t := c; t > c-1.2; t -= step {
		if at(t)[2] > at(top)[2] {
			top = t
		}
	}
	for t := top; t < c; t += step {
		low = math.Min(low, at(t)[2])
	}
	t := c
	for ; t > top; t -= step {
		p, q := at(t-step), at(t)
		v := math.Hypot(q[0]-p[0], q[1]-p[1]) / step
		if q[2] > low+0.006*m.Height || v > 0.29*m.Height {
			break
		}
	}
	return t
}

package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// batMark is the bat in one frame, in canvas pixels.
type batMark struct {
	knob, tip swing.Point
	half      float64 // rad, one sigma of its direction in the picture
	reach     float64 // px, one sigma of the tip along the bat
	handle    float64 // px, one sigma of the knob
}

// sweetShare is the place of the barrel's sweet spot on the bat, from the knob:
// 0.15 m from the tip of 0.84 m (common practice, no source).
const sweetShare = 1 - 0.15/0.84

// batMarkAt takes the bat of track entry r; ok is false where it was not seen, and
// then nothing is drawn.
func batMarkAt(s *swing.Swing, r int, k float64) (b batMark, ok bool) {
	if r >= len(s.Bat.Sights) || !s.Bat.Sights[r].Seen {
		return b, false
	}
	at := s.Bat.Sights[r]
	for _, v := range []float64{at.Knob.X, at.Knob.Y, at.Tip.X, at.Tip.Y} {
		if !(math.Abs(v) < 1e6) { // a wild number counts as not seen
			return b, false
		}
	}
	b = batMark{
		knob: at.Knob.Scale(k), tip: at.Tip.Scale(k), half: at.Sigma * math.Pi / 180,
		reach: k * at.TipSigma, handle: k * at.KnobSigma,
	}
	// A direction that is off by more than a right angle fans out all round.
	b.half = math.Max(0, math.Min(b.half, math.Pi/2))
	return b, b.tip.Sub(b.knob).Norm() >= 1
}

func (b *batMark) sweet() swing.Point { return b.knob.Add(b.tip.Sub(b.knob).Scale(sweetShare)) }

// thinBat draws the bat as it goes along through the whole video: a line and the
// fan of its uncertainty.
func (f *figure) thinBat(c *canvas, col palette) {
	if !f.batSeen {
		return
	}
	b := &f.bat
	f.fan(c, b, col)
	c.stroke(b.knob, b.tip, 3.8*f.unit, col.dark, 0.5)
	c.stroke(b.knob, b.tip, 1.6*f.unit, col.bat, 0.95)
}

// fan fills what lies within one sigma of the bat: a wedge from the handle that is
// as long as the tip may reach and as wide at its root as the knob is uncertain.
func (f *figure) fan(c *canvas, b *batMark, col palette) {
	c.wedge(b.knob, b.tip.Sub(b.knob), b.tip.Sub(b.knob).Norm()+b.reach, b.half, b.handle/2, col.bat, 0.42)
}

// boldBat draws the bat of the launch position: line, knob and sweet spot.
func (f *figure) boldBat(c *canvas, col palette, halo bool, drawn map[line]bool) {
	if !f.batSeen {
		return
	}
	b := &f.bat
	if halo {
		f.fan(c, b, col)
	}
	p := f.pen(c, col, col.bat, halo)
	p.solid(b.knob, b.tip, bold)
	p.disc(b.knob, 3.4)
	f.sweetSpot(p, b.sweet(), b.tip.Sub(b.knob), col, halo)
	drawn[batLine] = true
}

// sweetSpot marks the place with a bar across the bat and a dark core.
func (f *figure) sweetSpot(p pen, at, along swing.Point, col palette, halo bool) {
	n := along.Norm()
	across := swing.Point{X: -along.Y, Y: along.X}.Scale(6.5 * f.unit / n)
	p.solid(at.Sub(across), at.Add(across), medium)
	if !halo {
		p.c.disc(at, 1.7*f.unit, col.dark, 1)
	}
}

// tilt draws the vertical over the knob and the arc from it to the bat, as far out
// as half of the bat.
func (f *figure) tilt(c *canvas, col palette, halo bool) {
	if !f.batSeen {
		return
	}
	p := f.pen(c, col, col.guide, halo)
	b := &f.bat
	d := b.tip.Sub(b.knob)
	top := swing.Point{X: b.knob.X, Y: b.knob.Y - 0.8*d.Norm()}
	p.broken(b.knob, top, medium*0.6, 5, 3.5)
	r := 0.5 * d.Norm()
	lean := math.Atan2(d.X, -d.Y)
	n := int(math.Ceil(math.Abs(lean)*r/(3*f.unit))) + 1
	at := func(i int) swing.Point {
		s, k := math.Sincos(lean * float64(i) / float64(n))
		return b.knob.Add(swing.Point{X: r * s, Y: -r * k})
	}
	for i := range n {
		p.solid(at(i), at(i+1), medium*0.6)
	}
}

// barrel draws the level line from the vertical through the centre of mass to the
// sweet spot, with a stop at each end; the vertical is drawn up or down to it.
func (f *figure) barrel(c *canvas, col palette, halo bool, drawn map[line]bool) {
	if !f.batSeen || f.mass == nil {
		return
	}
	p := f.pen(c, col, col.guide, halo)
	to := f.bat.sweet()
	from := swing.Point{X: f.mass.X, Y: to.Y}
	p.broken(from, to, medium*0.7, 5, 3.5)
	stop := swing.Point{Y: 6 * f.unit}
	p.solid(from.Sub(stop), from.Add(stop), medium*0.8)
	drawn[barrelLine] = true
}

// trail is the path of the hands from stance to the frame on show, at most to plant,
// in the picture of that frame, canvas px.
func trail(sec *section, frame int, k float64) []swing.Point {
	s, t := sec.s, &sec.s.Track
	now, ok := sec.rows[frame]
	stance, okS := s.Events[swing.Stance]
	plant, okP := s.Events[swing.Plant]
	if !ok || !okS || !okP {
		return nil
	}
	steady := func(r int) (swing.Similarity, bool) {
		if r >= len(t.Steady) || t.Steady[r] == (swing.Similarity{}) {
			return swing.IdentitySimilarity(), false
		}
		return t.Steady[r], true
	}
	back, moved := steady(now)
	back = back.Inverse()
	var out []swing.Point
	for r := range min(len(t.Points), len(t.Times)) {
		if r > now || t.Times[r] < stance.Time || t.Times[r] > plant.Time {
			continue
		}
		a, b := t.Points[r][swing.LeftWrist], t.Points[r][swing.RightWrist]
		if !known(a) || !known(b) {
			continue
		}
		p := a.Point().Mid(b.Point())
		if m, ok := steady(r); ok && moved {
			p = back.Apply(m.Apply(p))
		}
		out = append(out, p.Scale(k))
	}
	return out
}

// handsPath draws the hands' path as a string of beads: a ring where they were at
// stance, and beads a fixed way apart that grow toward the end.
func (f *figure) handsPath(c *canvas, path []swing.Point, col palette, halo bool, drawn map[line]bool) {
	if len(path) < 2 {
		return
	}
	p := f.pen(c, col, col.path, halo)
	for i := range path[1:] {
		p.solid(path[i], path[i+1], medium*0.45)
	}
	p.disc(path[0], 4)
	if !halo {
		c.disc(path[0], 2.2*f.unit, col.dark, 1)
	}
	p.box(path[len(path)-1], 3, true)
	drawn[handsLine] = true
}

// wedge fills a sector of a circle: from apex along the direction, half rad to either
// side of it, rounded off by root px.
func (c *canvas) wedge(apex, direction swing.Point, length, half, root float64, col colour, alpha float64) {
	n := direction.Norm()
	if n == 0 || length <= 0 {
		return
	}
	u := direction.Scale(1 / n)
	sin, cos := math.Sincos(half)
	m := length + root + 1
	c.cover(apex.X-m, apex.Y-m, apex.X+m, apex.Y+m, col, alpha, nil, func(x, y float64) float64 {
		v := swing.Point{X: x - apex.X, Y: y - apex.Y}
		along, across := v.Dot(u), math.Abs(v.X*u.Y-v.Y*u.X)
		// Distance from the edge ray, and beyond the arc.
		edge := across*cos - along*sin
		if along*cos+across*sin < 0 { // behind the apex: nearest is the apex
			edge = math.Sqrt(along*along + across*across)
		}
		return math.Max(edge-root, math.Sqrt(along*along+across*across)-length)
	})
}

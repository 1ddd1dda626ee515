package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// figure is the hitter in one frame, in canvas pixels.
type figure struct {
	at   [swing.NumPoints]swing.Point
	has  [swing.NumPoints]bool
	mass *swing.Point
	bats swing.Bats
	unit float64 // px, width of a thin line

	rear    bool // seen from behind
	bat     batMark
	batSeen bool
	hands   []swing.Point // path since stance
}

// figureAt takes the hitter of a frame from the track; k is canvas pixels per
// full-size pixel. ok is false when the track does not cover the frame.
func figureAt(sec *section, frame int, k, unit float64) (figure, bool) {
	f := figure{bats: sec.s.Bats, unit: unit, rear: sec.s.View == swing.Rear}
	r, ok := sec.rows[frame]
	t := &sec.s.Track
	if !ok || r >= len(t.Points) {
		return f, false
	}
	for j, p := range t.Points[r] {
		if !known(p) {
			continue
		}
		f.at[j], f.has[j] = p.Point().Scale(k), true
	}
	f.bat, f.batSeen = batMarkAt(sec.s, r, k)
	if r < len(sec.s.CentreOfMass) {
		if p := sec.s.CentreOfMass[r]; p != nil && math.Abs(p.X) < 1e6 && math.Abs(p.Y) < 1e6 {
			m := p.Scale(k)
			f.mass = &m
		}
	}
	return f, true
}

// known reports whether p has a place; wild numbers count as none and so
// never reach the drawing loops.
func known(p swing.TrackPoint) bool {
	return p.State != swing.Missing && math.Abs(p.X) < 1e6 && math.Abs(p.Y) < 1e6
}

// mid returns the middle of two joints; ok is false unless both are known.
func (f *figure) mid(a, b swing.Joint) (swing.Point, bool) {
	return f.at[a].Mid(f.at[b]), f.has[a] && f.has[b]
}

// skeleton draws the thin bones that go along through the whole video.
func (f *figure) skeleton(c *canvas, col palette) {
	for _, pass := range []struct {
		width, alpha float64
		col          colour
	}{{3.2, 0.45, col.dark}, {1.2, 0.8, col.bones}} {
		for _, b := range swing.Bones() {
			if f.has[b[0]] && f.has[b[1]] {
				c.stroke(f.at[b[0]], f.at[b[1]], pass.width*f.unit, pass.col, pass.alpha)
			}
		}
		if m, ok := f.mid(swing.LeftShoulder, swing.RightShoulder); ok && f.has[swing.Nose] {
			c.stroke(m, f.at[swing.Nose], pass.width*f.unit, pass.col, pass.alpha)
		}
	}
}

// launch draws the lines of the launch position and returns which could be
// drawn. Halos come first, all of them, so that no line cuts another's core.
func (f *figure) launch(c *canvas, col palette) map[line]bool {
	drawn := map[line]bool{}
	for _, halo := range []bool{true, false} {
		f.massAxis(c, col, halo, drawn)
		f.handsPath(c, f.hands, col, halo, drawn)
		if f.rear {
			f.barrel(c, col, halo, drawn)
		} else {
			f.tilt(c, col, halo)
		}
		f.trunk(c, col, halo, drawn)
		f.stride(c, col, halo, drawn)
		f.shoulders(c, col, halo, drawn)
		f.boldBat(c, col, halo, drawn)
		// The lead arm last: seen from the open side it lies in front.
		f.arm(c, f.bats.Rear(), rearArm, col, halo, drawn)
		f.arm(c, f.bats.Lead(), leadArm, col, halo, drawn)
	}
	return drawn
}

// pen draws one style of line either as its dark halo or as itself.
type pen struct {
	c     *canvas
	col   colour
	alpha float64
	extra float64 // px added to every width
	unit  float64
}

func (f *figure) pen(c *canvas, col palette, own colour, halo bool) pen {
	if halo {
		return pen{c, col.dark, 0.55, 3.2 * f.unit, f.unit}
	}
	return pen{c, own, 1, 0, f.unit}
}

const (
	bold   = 3.4 // widths in thin lines
	medium = 2.4
)

func (p pen) solid(a, b swing.Point, width float64) {
	p.c.stroke(a, b, width*p.unit+p.extra, p.col, p.alpha)
}

// broken draws dashes; the halo runs through so that the line stays one line.
func (p pen) broken(a, b swing.Point, width, on, off float64) {
	if p.extra > 0 {
		p.solid(a, b, width)
		return
	}
	p.c.dashes(a, b, width*p.unit, on*p.unit, off*p.unit, p.col, p.alpha)
}

func (p pen) disc(a swing.Point, r float64) { p.c.disc(a, r*p.unit+p.extra/2, p.col, p.alpha) }

func (p pen) box(a swing.Point, r float64, onCorner bool) {
	p.c.box(a, r*p.unit+p.extra/2, onCorner, p.col, p.alpha)
}

func (f *figure) shoulders(c *canvas, col palette, halo bool, drawn map[line]bool) {
	a, b := swing.LeftShoulder, swing.RightShoulder
	if !f.has[a] || !f.has[b] {
		return
	}
	p := f.pen(c, col, col.shoulders, halo)
	// A little beyond both shoulders, so that the tilt is seen past the arms.
	over := f.at[b].Sub(f.at[a]).Scale(0.3)
	p.solid(f.at[a].Sub(over), f.at[b].Add(over), bold)
	drawn[shoulderLine] = true
}

// arm draws upper arm and forearm: the lead arm solid with round joints, the
// rear arm dashed with square ones. What is known of it is drawn.
func (f *figure) arm(c *canvas, s swing.Side, which line, col palette, halo bool, drawn map[line]bool) {
	own := col.lead
	if which == rearArm {
		own = col.rear
	}
	p := f.pen(c, col, own, halo)
	joints := []swing.Joint{s.Shoulder, s.Elbow, s.Wrist}
	for i := 1; i < len(joints); i++ {
		a, b := joints[i-1], joints[i]
		if !f.has[a] || !f.has[b] {
			continue
		}
		drawn[which] = true
		if which == rearArm {
			p.broken(f.at[a], f.at[b], bold, 6, 4)
		} else {
			p.solid(f.at[a], f.at[b], bold)
		}
	}
	for _, j := range joints {
		switch {
		case !f.has[j]:
		case which == rearArm:
			p.box(f.at[j], 3.6, false)
		default:
			p.disc(f.at[j], 4)
		}
	}
}

func (f *figure) trunk(c *canvas, col palette, halo bool, drawn map[line]bool) {
	hip, ok1 := f.mid(swing.LeftHip, swing.RightHip)
	neck, ok2 := f.mid(swing.LeftShoulder, swing.RightShoulder)
	if !ok1 || !ok2 {
		return
	}
	p := f.pen(c, col, col.trunk, halo)
	p.solid(hip, neck, bold)
	p.box(hip, 3.2, true)
	p.box(neck, 3.2, true)
	drawn[trunkLine] = true
}

// massAxis draws the vertical through the centre of mass, dotted from the
// head to the ground, with a ring at the centre.
func (f *figure) massAxis(c *canvas, col palette, halo bool, drawn map[line]bool) {
	if f.mass == nil {
		return
	}
	top, bottom := f.mass.Y, f.mass.Y
	for j := range f.at {
		if f.has[j] {
			top, bottom = math.Min(top, f.at[j].Y), math.Max(bottom, f.at[j].Y)
		}
	}
	if f.rear && f.batSeen { // up or down to the barrel's distance
		y := f.bat.sweet().Y
		top, bottom = math.Min(top, y), math.Max(bottom, y)
	}
	p := f.pen(c, col, col.mass, halo)
	p.broken(swing.Point{X: f.mass.X, Y: top - 6*f.unit}, swing.Point{X: f.mass.X, Y: bottom + 4*f.unit}, medium*0.8, 0.1, 4)
	p.disc(*f.mass, 5.5)
	if !halo {
		c.disc(*f.mass, 3*f.unit, col.dark, 1)
	}
	drawn[massAxis] = true
}

// stride draws the line between the ankles with a stop at each end.
func (f *figure) stride(c *canvas, col palette, halo bool, drawn map[line]bool) {
	a, b := swing.LeftAnkle, swing.RightAnkle
	if !f.has[a] || !f.has[b] {
		return
	}
	p := f.pen(c, col, col.stride, halo)
	p.solid(f.at[a], f.at[b], medium)
	d := f.at[b].Sub(f.at[a])
	if n := d.Norm(); n > 1 {
		stop := swing.Point{X: -d.Y, Y: d.X}.Scale(7 * f.unit / n)
		for _, e := range []swing.Point{f.at[a], f.at[b]} {
			p.solid(e.Sub(stop), e.Add(stop), medium)
		}
	}
	drawn[strideLine] = true
}

// sample draws a short piece of a line's style for the panel, from x0 to x1
// at height y.
func sample(c *canvas, which line, x0, x1, y, unit float64, col palette) {
	f := figure{unit: unit}
	a, b := swing.Point{X: x0, Y: y}, swing.Point{X: x1, Y: y}
	switch which {
	case shoulderLine:
		f.pen(c, col, col.shoulders, false).solid(a, b, bold)
	case leadArm:
		p := f.pen(c, col, col.lead, false)
		p.solid(a, b, bold)
		p.disc(a.Mid(b), 4)
	case rearArm:
		p := f.pen(c, col, col.rear, false)
		p.broken(a, b, bold, 6, 4)
		p.box(a.Mid(b), 3.6, false)
	case trunkLine:
		p := f.pen(c, col, col.trunk, false)
		p.solid(a, b, bold)
		p.box(a.Mid(b), 3.6, true)
	case massAxis:
		p := f.pen(c, col, col.mass, false)
		p.broken(a, b, medium*0.8, 0.1, 4)
		p.disc(a.Mid(b), 5.5)
		c.disc(a.Mid(b), 3*unit, col.dark, 1)
	case batLine:
		p := f.pen(c, col, col.bat, false)
		p.solid(a, b, bold)
		f.sweetSpot(p, a.Add(b.Sub(a).Scale(0.7)), b.Sub(a), col, false)
	case barrelLine:
		p := f.pen(c, col, col.guide, false)
		p.broken(a, b, medium*0.7, 5, 3.5)
		p.solid(a.Sub(swing.Point{Y: 6 * unit}), a.Add(swing.Point{Y: 6 * unit}), medium*0.8)
	case handsLine:
		p := f.pen(c, col, col.path, false)
		p.solid(a, b, medium*0.45)
		p.disc(a, 4)
		c.disc(a, 2.2*unit, col.dark, 1)
		p.box(b, 3, true)
	case strideLine:
		p := f.pen(c, col, col.stride, false)
		p.solid(a, b, medium)
		for _, e := range []swing.Point{a, b} {
			p.solid(e.Sub(swing.Point{Y: 6 * unit}), e.Add(swing.Point{Y: 6 * unit}), medium)
		}
	}
}

package render

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// draw fills a cell with a plan. As in an open-side picture the pitcher is to the right
// of a right-handed hitter; the plate is below.
func (p *onePlan) draw(c *canvas, st *style) {
	col := st.colour
	c.wipe(col.ground)
	place := func(q swing.Point) swing.Point {
		if p.left {
			q.X = -q.X
		}
		k := planCell / (2 * planReach)
		return swing.Point{X: planCell/2 + k*q.X, Y: planMid*planCell + k*q.Y}
	}
	if p.why != "" {
		st.name.put(c, (planCell-st.name.width(p.why))/2, planCell/2, p.why, col.quiet, 1)
		return
	}
	p.ground(c, st)
	thick := 7 * st.unit
	if p.hasFeet {
		for k, f := range p.feet {
			// A shoe is about a third as wide as long.
			c.stroke(place(f[0]), place(f[1]), 0.06*planCell/(2*planReach), col.quiet, 0.35)
			c.disc(place(f[1]), 2.2*st.unit, []colour{col.lead, col.rear}[k], 0.9)
		}
	}
	for _, l := range []struct {
		line   *planLine
		colour colour
	}{{&p.hips, col.trunk}, {&p.shoulders, col.shoulders}} {
		if l.line.known {
			a, b := place(l.line.lead), place(l.line.rear)
			c.fan(a.Mid(b), a.Sub(b).Norm()/2+24*st.unit, a.Sub(b), l.line.sigma*math.Pi/180, l.colour, 0.40)
		}
	}
	if p.hasBat {
		// A bat is thin at the hands and thick at the barrel.
		a, b := place(p.knob), place(p.tip)
		c.stroke(a, b, 4*st.unit, col.dark, 1)
		c.stroke(a, b, 2.6*st.unit, col.bat, 1)
		c.stroke(a.Scale(0.4).Add(b.Scale(0.6)), b, 6*st.unit, col.bat, 1)
	}
	// Hips under shoulders; every line has its own ends, none is told by colour alone.
	if p.hips.known {
		a, b := place(p.hips.lead), place(p.hips.rear)
		c.stroke(a, b, thick+3*st.unit, col.dark, 0.9)
		c.stroke(a, b, thick, col.trunk, 1)
		c.box(a, 7*st.unit, false, col.dark, 0.9)
		c.box(a, 5*st.unit, false, col.lead, 1)
		c.box(b, 7*st.unit, false, col.dark, 0.9)
		c.box(b, 5*st.unit, false, col.rear, 1)
	}
	if p.shoulders.known {
		a, b := place(p.shoulders.lead), place(p.shoulders.rear)
		c.stroke(a, b, thick+3*st.unit, col.dark, 0.9)
		c.stroke(a, b, thick, col.shoulders, 1)
		c.disc(a, 8*st.unit, col.dark, 0.9)
		c.disc(a, 6*st.unit, col.lead, 1)
		c.disc(b, 8*st.unit, col.dark, 0.9)
		c.disc(b, 6*st.unit, col.rear, 1)
	}
}

// ground draws where the pitcher and the plate are.
func (p *onePlan) ground(c *canvas, st *style) {
	col := st.colour
	const y, edge = planMid * planCell, 8.0
	c.dashes(swing.Point{X: edge, Y: y}, swing.Point{X: planCell - edge, Y: y}, st.unit, 6*st.unit, 6*st.unit, col.quiet, 0.5)
	// An arrow head to the pitcher.
	tip, back := swing.Point{X: planCell - edge, Y: y}, -9*st.unit
	text := "pitcher"
	at := planCell - edge - st.small.name.width(text)
	if p.left {
		tip.X, back, at = edge, -back, edge
	}
	for _, s := range []float64{-1, 1} {
		c.stroke(tip, tip.Add(swing.Point{X: back, Y: s * 5 * st.unit}), 1.5*st.unit, col.quiet, 0.8)
	}
	st.small.name.put(c, at, y-11*st.unit, text, col.quiet, 1)
	text = "plate"
	st.small.name.put(c, (planCell-st.small.name.width(text))/2, planCell-6*st.unit, text, col.quiet, 1)
}

// words writes the turns under a plan.
func (p *onePlan) words(c *canvas, st *style, x0, y0 float64) {
	if p.why != "" {
		return
	}
	row := 1.32 * st.name.size
	for i, l := range []struct {
		name   string
		line   *planLine
		colour colour
		square bool
	}{{"shoulders", &p.shoulders, st.colour.shoulders, false}, {"hips", &p.hips, st.colour.trunk, true}} {
		y := math.Round(y0 + row*float64(i+1))
		at := swing.Point{X: x0 + 10*st.unit, Y: y - st.name.height/2}
		if l.square {
			c.box(at, 5*st.unit, false, l.colour, 1)
		} else {
			c.disc(at, 6*st.unit, l.colour, 1)
		}
		x := st.name.put(c, x0+22*st.unit, y, l.name+" ", st.colour.quiet, 1)
		st.value.put(c, x, y, p.saying(l.line), st.colour.text, 1)
	}
}

// saying is the number of a line, or why there is none.
func (p *onePlan) saying(l *planLine) string {
	switch {
	case p.rough:
		return "too fast"
	case l.value == nil || l.value.Value == nil:
		return "not measurable"
	}
	return fmt.Sprintf("%s° ± %.0f°", pairSigned(*l.value.Value), *l.value.Sigma)
}

// fan fills the two sectors that a line sweeps when it turns about its middle by an
// angle, radians, to both sides.
func (c *canvas) fan(mid swing.Point, radius float64, way swing.Point, angle float64, col colour, alpha float64) {
	n := way.Norm()
	if n == 0 || angle <= 0 {
		return
	}
	way = way.Scale(1 / n)
	angle = min(angle, math.Pi/2)
	c.cover(mid.X-radius-1, mid.Y-radius-1, mid.X+radius+1, mid.Y+radius+1, col, alpha, nil, func(x, y float64) float64 {
		v := swing.Point{X: x - mid.X, Y: y - mid.Y}
		r := math.Sqrt(v.X*v.X + v.Y*v.Y)
		off := math.Atan2(math.Abs(v.X*way.Y-v.Y*way.X), math.Abs(v.Dot(way))) - angle
		return math.Max(r-radius, off*r)
	})
}

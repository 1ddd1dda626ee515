package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// tag is a number that stands in the picture beside what it measures.
type tag struct {
	text string
	rect rect
}

// batTag returns the bat's number at event ev: its tilt over the vertical in an
// open-side view, the barrel's distance on its line in a rear view. ok is false when
// there is no event, no bat in the frame or no such number.
func (sc *scene) batTag(f *figure, ev swing.EventName) (g tag, ok bool) {
	if ev == "" || !f.batSeen {
		return g, false
	}
	st := sc.st
	b := &f.bat
	d := b.tip.Sub(b.knob)
	if f.rear {
		if f.mass == nil {
			return g, false
		}
		if g.text = sc.number("barrel_distance_m", ev); g.text == "" {
			g.text = sc.number("barrel_distance", ev)
		}
	} else {
		g.text = sc.number("bat_tilt", ev)
	}
	if g.text == "" {
		return g, false
	}
	pad := 0.3 * st.value.size
	w, h := st.value.width(g.text)+2*pad, st.value.height+2*pad
	// Past the tip, where nothing of the hitter is.
	u := d.Scale(1 / d.Norm())
	at := b.tip.Add(u.Scale(w/2*math.Abs(u.X) + h/2*math.Abs(u.Y) + b.reach + 5*st.unit))
	at.Y += h / 2
	// Inside the picture and off the band.
	top, bottom := st.margin, sc.strip.rect.y0-st.margin
	if sc.strip.top {
		top, bottom = sc.strip.rect.y1+st.margin, st.h-st.margin
	}
	at.X = math.Max(st.margin+w/2, math.Min(st.w-st.margin-w/2, at.X))
	at.Y = math.Max(top+h, math.Min(bottom, at.Y))
	g.rect = rect{at.X - w/2, at.Y - h, at.X + w/2, at.Y}
	return g, true
}

// number writes a measure at an event, "" where it has none.
func (sc *scene) number(id string, ev swing.EventName) string {
	for _, m := range sc.sec.s.Measures {
		if m.ID != id || m.Event != ev || m.Status == swing.NotMeasurable || m.Value == nil || m.Sigma == nil {
			continue
		}
		if m.Unit == "m" {
			return pair(100**m.Value, 100**m.Sigma, 1, " cm")
		}
		return quantity(*m.Value, *m.Sigma, m.Unit)
	}
	return ""
}

func (g tag) draw(c *canvas, st *style) {
	pad := 0.3 * st.value.size
	c.plate(g.rect, 0.3*st.value.size, st.colour.dark, 0.7)
	st.value.put(c, g.rect.x0+pad, g.rect.y1-pad, g.text, st.colour.guide, 1)
}

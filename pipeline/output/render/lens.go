package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// lens maps the picture of a swing to a panel in which the hitter stands at a
// fixed place and has a fixed size.
type lens struct {
	party *swing.Party
	w, h  int         // px, of the panel
	k     float64     // panel px per full-size px
	foot  swing.Point // where the middle between the feet falls in the panel
	// stand is that middle in the full-size picture, one entry per track row.
	stand []swing.Point
}

// frameBox is what panels show around the feet, in statures, y down.
type frameBox struct{ x0, y0, x1, y1 float64 }

// Bounds of what a panel shows, statures. A hitter reaches about half a stature
// before and behind the feet and the bat half of one more; points beyond are
// taken for errors. The least keeps the figure from filling the panel.
const (
	mostAside = 1.0
	mostAbove = 1.55
	mostBelow = 0.22
	leastSide = 1.25
	boxMargin = 0.06
)

// boxAround returns what has to be shown of the swings from stance to shortly
// after contact: bodies and bats of all, mirrored where need be. What a bat does
// later may leave the panel.
func boxAround(parties []*swing.Party) frameBox {
	b := frameBox{-leastSide / 2, -1.1, leastSide / 2, 0.08}
	for _, p := range parties {
		from, to := shownSpan(p)
		stand := stands(p)
		t := &p.Swing.Track
		put := func(r int, q swing.Point) {
			d := q.Sub(stand[r]).Scale(1 / p.Stature)
			if p.Mirrored {
				d.X = -d.X
			}
			if d.X < -mostAside || d.X > mostAside || d.Y < -mostAbove || d.Y > mostBelow {
				return
			}
			b.x0, b.x1 = math.Min(b.x0, d.X-boxMargin), math.Max(b.x1, d.X+boxMargin)
			b.y0, b.y1 = math.Min(b.y0, d.Y-boxMargin), math.Max(b.y1, d.Y+boxMargin)
		}
		for r, at := range t.Times {
			if at < from || at > to {
				continue
			}
			for _, q := range t.Points[r] {
				if known(q) {
					put(r, q.Point())
				}
			}
			if m, ok := batMarkAt(p.Swing, r, 1); ok {
				put(r, m.tip)
				put(r, m.knob)
			}
		}
	}
	return b
}

// shownSpan is from stance to shortly after contact, s of the clip, or what is
// known of it.
func shownSpan(p *swing.Party) (from, to float64) {
	from, to = p.Zero-1, p.Zero+0.25
	if e, ok := p.Swing.Events[swing.Stance]; ok {
		from = math.Max(from, e.Time)
	}
	if e, ok := p.Swing.Events[swing.Contact]; ok && e.Time > p.Zero-0.5 && e.Time < p.Zero+0.5 {
		to = e.Time + 0.05
	}
	return from, to
}

// newLens makes the lens of a party for a panel that shows b.
func newLens(p *swing.Party, b frameBox, w, h int) *lens {
	scale := math.Min(float64(w)/(b.x1-b.x0), float64(h)/(b.y1-b.y0)) // px per stature
	l := &lens{party: p, w: w, h: h, k: scale / p.Stature, stand: stands(p)}
	l.foot = swing.Point{
		X: float64(w)/2 - scale*(b.x0+b.x1)/2,
		Y: float64(h)/2 - scale*(b.y0+b.y1)/2,
	}
	return l
}

// to maps a point of the full-size picture at track row r to the panel.
func (l *lens) to(r int, p swing.Point) swing.Point {
	d := p.Sub(l.stand[r]).Scale(l.k)
	if l.party.Mirrored {
		d.X = -d.X
	}
	return l.foot.Add(d)
}

// maxSide is the picture size that is worth decoding for this panel, px: a pixel
// of the clip for each of the panel. 0 = full size.
func (l *lens) maxSide() int {
	long := max(l.party.Clip.Width, l.party.Clip.Height)
	if l.k >= 1 || long == 0 {
		return 0
	}
	return max(16, int(math.Ceil(l.k*float64(long)/2))*2)
}

// outside is what stands where the clip's picture ends.
const outsideGrey = 28

// shoot puts frame f, of track row r, on the panel c. scale is full-size px per
// frame px. Between pixels values are taken linearly.
func (l *lens) shoot(c *canvas, f swing.Frame, r int, scale float64) {
	step := 1 / (l.k * scale) // frame px per panel px
	at := l.stand[r].Scale(1 / scale)
	dir := 1.0
	if l.party.Mirrored {
		dir = -1
	}
	type place struct{ lo, hi, frac int } // frac in 1/256; lo < 0: outside
	places := func(n, size int, foot, stand, dir float64) []place {
		out := make([]place, n)
		for u := range out {
			s := stand + dir*(float64(u)+0.5-foot)*step - 0.5
			if s < -0.5 || s > float64(size)-0.5 {
				out[u] = place{lo: -1}
				continue
			}
			s = math.Max(0, math.Min(float64(size-1), s))
			lo := int(s)
			out[u] = place{lo, min(lo+1, size-1), int(256 * (s - float64(lo)))}
		}
		return out
	}
	xs := places(c.w, f.Width, l.foot.X, at.X, dir)
	ys := places(c.h, f.Height, l.foot.Y, at.Y, 1)
	for v, y := range ys {
		out := c.pix[3*c.w*v : 3*c.w*(v+1)]
		if y.lo < 0 {
			for i := range out {
				out[i] = outsideGrey
			}
			continue
		}
		upper := f.Pix[3*f.Width*y.lo : 3*f.Width*(y.lo+1)]
		lower := f.Pix[3*f.Width*y.hi : 3*f.Width*(y.hi+1)]
		for u, x := range xs {
			o := out[3*u : 3*u+3 : 3*u+3]
			if x.lo < 0 {
				o[0], o[1], o[2] = outsideGrey, outsideGrey, outsideGrey
				continue
			}
			for k := range 3 {
				a := int(upper[3*x.lo+k])*(256-x.frac) + int(upper[3*x.hi+k])*x.frac
				b := int(lower[3*x.lo+k])*(256-x.frac) + int(lower[3*x.hi+k])*x.frac
				o[k] = uint8((a*(256-y.frac) + b*y.frac) >> 16)
			}
		}
	}
}

// figure returns the hitter of a track row in panel pixels.
func (l *lens) figure(sec *section, row int, unit float64) (figure, bool) {
	f, ok := figureAt(sec, sec.s.Track.Frames[row], 1, unit)
	if !ok {
		return f, false
	}
	for j := range f.at {
		if f.has[j] {
			f.at[j] = l.to(row, f.at[j])
		}
	}
	if f.mass != nil {
		m := l.to(row, *f.mass)
		f.mass = &m
	}
	f.bat.knob, f.bat.tip = l.to(row, f.bat.knob), l.to(row, f.bat.tip)
	f.bat.reach, f.bat.handle = l.k*f.bat.reach, l.k*f.bat.handle
	if e, ok := sec.s.Events[swing.Plant]; ok && sec.s.Track.Times[row] > e.Time+0.02 {
		return f, true // the path ends at plant and has nothing to do with what follows
	}
	for _, p := range trail(sec, sec.s.Track.Frames[row], 1) {
		f.hands = append(f.hands, l.to(row, p))
	}
	return f, true
}

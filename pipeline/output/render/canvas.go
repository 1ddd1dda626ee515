package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// canvas is one picture under the brush: blue, green, red bytes, rows without
// gaps, the layout of swing.Frame. Places are pixels with (0,0) the outer
// corner of the top-left pixel.
type canvas struct {
	w, h int
	pix  []byte
}

func newCanvas(w, h int) *canvas {
	return &canvas{w: w, h: h, pix: make([]byte, 3*w*h)}
}

// mix moves the pixel at byte offset i toward c; a is 0 (nothing) to 256.
func (c *canvas) mix(i int, col colour, a int32) {
	p := c.pix[i : i+3 : i+3]
	for k := range p {
		old := int32(p[k])
		p[k] = uint8(old + (int32(col[k])-old)*a>>8)
	}
}

// cover fills the pixels of rows y0..y1 and columns x0..x1 (inclusive, cut to
// the picture) as far as distance says: distance is the signed distance of a
// pixel's centre from the shape's edge, px, negative inside. The edge is one
// pixel soft, which is what makes slanted lines smooth.
func (c *canvas) cover(x0, y0, x1, y1 float64, col colour, alpha float64, span func(y float64) (float64, float64), distance func(x, y float64) float64) {
	ya, yb := clampInt(y0, c.h), clampInt(y1, c.h)
	for y := ya; y <= yb; y++ {
		fy := float64(y) + 0.5
		l, r := x0, x1
		if span != nil {
			sl, sr := span(fy)
			l, r = math.Max(l, sl), math.Min(r, sr)
		}
		if r < 0 || l > float64(c.w) || l > r {
			continue
		}
		xa, xb := clampInt(l, c.w), clampInt(r, c.w)
		i := 3 * (y*c.w + xa)
		for x := xa; x <= xb; x++ {
			if d := distance(float64(x)+0.5, fy); d < 0.5 {
				c.mix(i, col, int32(256*alpha*math.Min(1, 0.5-d)))
			}
			i += 3
		}
	}
}

// clampInt turns a place into a row or column inside 0..n-1.
func clampInt(v float64, n int) int {
	return int(math.Max(0, math.Min(float64(n-1), math.Floor(v))))
}

// stroke draws a straight line with round ends, width px wide.
func (c *canvas) stroke(p, q swing.Point, width float64, col colour, alpha float64) {
	r := width / 2
	d := q.Sub(p)
	n2 := d.Dot(d)
	m := r + 1
	x0, x1 := math.Min(p.X, q.X)-m, math.Max(p.X, q.X)+m
	y0, y1 := math.Min(p.Y, q.Y)-m, math.Max(p.Y, q.Y)+m
	if x1 < 0 || y1 < 0 || x0 > float64(c.w) || y0 > float64(c.h) {
		return
	}
	// Of a long slanted line each row touches only a short piece: where the
	// row crosses the line, m wide at right angles to it.
	var span func(y float64) (float64, float64)
	if math.Abs(d.Y) > 1 {
		half := m*math.Sqrt(n2)/math.Abs(d.Y) + 1
		span = func(y float64) (float64, float64) {
			x := p.X + (y-p.Y)*d.X/d.Y
			return x - half, x + half
		}
	}
	c.cover(x0, y0, x1, y1, col, alpha, span, func(x, y float64) float64 {
		v := swing.Point{X: x - p.X, Y: y - p.Y}
		t := 0.0
		if n2 > 0 {
			t = math.Max(0, math.Min(1, v.Dot(d)/n2))
		}
		ex, ey := v.X-t*d.X, v.Y-t*d.Y
		return math.Sqrt(ex*ex+ey*ey) - r // math.Hypot guards against overflow at ten times the cost
	})
}

// dashes draws a line of strokes on px long with gaps of off px between their
// round ends; on 0 makes dots.
func (c *canvas) dashes(p, q swing.Point, width, on, off float64, col colour, alpha float64) {
	d := q.Sub(p)
	n := d.Norm()
	step := on + width + off
	for s := width / 2; s < n; s += step {
		e := math.Min(s+on, n)
		c.stroke(p.Add(d.Scale(s/n)), p.Add(d.Scale(e/n)), width, col, alpha)
	}
}

// disc fills a circle.
func (c *canvas) disc(p swing.Point, r float64, col colour, alpha float64) {
	c.stroke(p, p, 2*r, col, alpha)
}

// box fills a square of half side r, or the same square stood on its corner.
func (c *canvas) box(p swing.Point, r float64, onCorner bool, col colour, alpha float64) {
	m := r + 1
	if onCorner {
		m = r*math.Sqrt2 + 1
	}
	c.cover(p.X-m, p.Y-m, p.X+m, p.Y+m, col, alpha, nil, func(x, y float64) float64 {
		dx, dy := math.Abs(x-p.X), math.Abs(y-p.Y)
		if onCorner {
			return (dx+dy)/math.Sqrt2 - r
		}
		return math.Max(dx, dy) - r
	})
}

// plate fills a rectangle with round corners, evenly and see-through; it is
// the ground under text.
func (c *canvas) plate(r rect, radius float64, col colour, alpha float64) {
	if radius <= 0 {
		c.tint(r, col, alpha)
		return
	}
	// On whole pixels the three parts meet without a seam; the middle has no
	// edge and needs no distances.
	r, radius = r.whole(), math.Round(radius)
	c.tint(rect{r.x0, r.y0 + radius, r.x1, r.y1 - radius}, col, alpha)
	cx, cy := (r.x0+r.x1)/2, (r.y0+r.y1)/2
	hx, hy := (r.x1-r.x0)/2-radius, (r.y1-r.y0)/2-radius
	d := func(x, y float64) float64 {
		dx, dy := math.Max(math.Abs(x-cx)-hx, 0), math.Max(math.Abs(y-cy)-hy, 0)
		return math.Hypot(dx, dy) - radius
	}
	c.cover(r.x0, r.y0, r.x1-1, r.y0+radius-1, col, alpha, nil, d)
	c.cover(r.x0, r.y1-radius, r.x1-1, r.y1-1, col, alpha, nil, d)
}

// tint mixes col into the whole pixels of r.
func (c *canvas) tint(r rect, col colour, alpha float64) {
	r = r.whole().cut(c.w, c.h)
	if r.area() == 0 {
		return
	}
	// One table instead of a multiplication per byte: plates are large.
	var table [3][256]uint8
	a := int32(256 * alpha)
	for k := range table {
		for v := range table[k] {
			table[k][v] = uint8(int32(v) + (int32(col[k])-int32(v))*a>>8)
		}
	}
	for y := int(r.y0); y < int(r.y1); y++ {
		row := c.pix[3*(y*c.w+int(r.x0)) : 3*(y*c.w+int(r.x1))]
		for i := 0; i+2 < len(row); i += 3 {
			row[i] = table[0][row[i]]
			row[i+1] = table[1][row[i+1]]
			row[i+2] = table[2][row[i+2]]
		}
	}
}

// rect is an upright rectangle, px.
type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) w() float64 { return r.x1 - r.x0 }
func (r rect) h() float64 { return r.y1 - r.y0 }

func (r rect) area() float64 { return math.Max(0, r.w()) * math.Max(0, r.h()) }

// and returns what r and s share; its area is 0 when they are apart.
func (r rect) and(s rect) rect {
	return rect{math.Max(r.x0, s.x0), math.Max(r.y0, s.y0), math.Min(r.x1, s.x1), math.Min(r.y1, s.y1)}
}

// or returns the smallest rectangle around both.
func (r rect) or(s rect) rect {
	return rect{math.Min(r.x0, s.x0), math.Min(r.y0, s.y0), math.Max(r.x1, s.x1), math.Max(r.y1, s.y1)}
}

func (r rect) whole() rect {
	return rect{math.Round(r.x0), math.Round(r.y0), math.Round(r.x1), math.Round(r.y1)}
}

func (r rect) cut(w, h int) rect { return r.and(rect{0, 0, float64(w), float64(h)}) }

// grow returns r larger by x and y px on each side.
func (r rect) grow(x, y float64) rect { return rect{r.x0 - x, r.y0 - y, r.x1 + x, r.y1 + y} }

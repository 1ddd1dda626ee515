package bat

import (
	"math"

	"plantframe/pipeline/swing"
)

const (
	// barrelRadius and handleRadius are half a bat's width as shares of a
	// torso of 0.5 m. Common practice, no source: 2 5/8 in barrel, 1 in
	// handle.
	barrelRadius, handleRadius = 0.066, 0.026
	// contrast is the difference, grey levels of one colour, from which a
	// side counts as different: three times the noise of a phone at dusk.
	contrast = 12
	// rows is how many places along the bat are asked.
	rows = 24
)

// standsOut returns the share of the free part of the line knob-tip along
// which the strip of a bat's width differs from the picture on both sides of
// it. torso in px.
func standsOut(f swing.Frame, k, t swing.Point, torso float64) float64 {
	d := t.Sub(k)
	n := d.Norm()
	if n < 0.2*torso {
		return 0 // points at the camera: no strip to see
	}
	u := d.Scale(1 / n)
	side := swing.Point{X: -u.Y, Y: u.X}
	hits := 0
	for i := range rows {
		// From beyond the hands to just inside the tip.
		q := 0.3 + 0.65*(float64(i)+0.5)/rows
		r := torso * (handleRadius + (barrelRadius-handleRadius)*math.Min(1, math.Max(0, (q-0.35)/0.35)))
		c := k.Add(d.Scale(q))
		in, ok := strip(f, c, side, -0.5*r, 0.5*r)
		if !ok {
			continue
		}
		w := math.Max(r, 1.5)
		a, okA := strip(f, c, side, r+0.6*w, r+1.8*w)
		b, okB := strip(f, c, side, -r-1.8*w, -r-0.6*w)
		if okA && okB && differs(in, a) && differs(in, b) {
			hits++
		}
	}
	return float64(hits) / rows
}

// strip averages the pixels c + s*side for s in lo..hi; false when one lies
// outside the picture.
func strip(f swing.Frame, c, side swing.Point, lo, hi float64) ([3]float64, bool) {
	var sum [3]float64
	n := max(2, int(hi-lo)+1)
	for i := range n {
		p := c.Add(side.Scale(lo + (hi-lo)*float64(i)/float64(n-1)))
		x, y := int(math.Floor(p.X)), int(math.Floor(p.Y))
		if x < 0 || y < 0 || x >= f.Width || y >= f.Height {
			return sum, false
		}
		px := f.Pix[3*(y*f.Width+x):]
		for k := range sum {
			sum[k] += float64(px[k]) / float64(n)
		}
	}
	return sum, true
}

func differs(a, b [3]float64) bool {
	for k := range a {
		if math.Abs(a[k]-b[k]) > contrast {
			return true
		}
	}
	return false
}

package models

import "fmt"

// The test pictures of testdata/models, made of whole numbers alone so that Go and JavaScript give the same bytes.
// scripts/compare-models.d/picture.cjs is the same in JavaScript.

// recordedDraws is a linear congruential generator modulo 2^32 (multiplier and increment from Press et al., Numerical
// Recipes, section 7.1); its upper bits are the random ones.
func recordedDraws(seed uint32) func() int {
	return func() int {
		seed = seed*1664525 + 1013904223
		return int(seed >> 24)
	}
}

type recordedColour [3]int

// recordedPart is a capsule from a to b, in thousandths of the side.
type recordedPart struct {
	ax, ay, bx, by, r int
	colour            recordedColour
}

// recordedParts lists the figure back to front; u and v move the hands.
func recordedParts(u, v int) []recordedPart {
	skin, hair, shirt := recordedColour{214, 160, 128}, recordedColour{58, 40, 30}, recordedColour{36, 70, 150}
	trousers, shoes := recordedColour{222, 222, 214}, recordedColour{24, 24, 28}
	wood, dark := recordedColour{176, 124, 70}, recordedColour{30, 22, 22}
	hx, hy := 590+u, 330+v
	return []recordedPart{
		{hx, hy, hx + 110, hy - 210, 11, wood},
		{455, 520, 430, 690, 42, trousers},
		{430, 690, 415, 850, 30, trousers},
		{545, 520, 590, 680, 42, trousers},
		{590, 680, 620, 850, 30, trousers},
		{412, 866, 375, 880, 20, shoes},
		{622, 866, 668, 880, 20, shoes},
		{445, 300, 465, 500, 45, shirt},
		{500, 290, 500, 505, 48, shirt},
		{555, 300, 535, 500, 45, shirt},
		{500, 235, 500, 275, 28, skin},
		{500, 165, 500, 190, 58, hair},
		{500, 185, 500, 205, 50, skin},
		{480, 180, 482, 180, 6, dark},
		{520, 180, 518, 180, 6, dark},
		{500, 195, 500, 206, 5, hair},
		{486, 226, 514, 226, 4, dark},
		{425, 305, 400, 400, 30, shirt},
		{400, 400, hx - 12, hy + 12, 23, skin},
		{575, 305, 660, 390, 30, shirt},
		{660, 390, hx, hy, 23, skin},
		{hx - 8, hy + 10, hx + 4, hy - 8, 24, skin},
	}
}

// shade returns the part's colour at a point and whether it covers it: darker toward the rim.
func (p recordedPart) shade(x, y int) (recordedColour, bool) {
	dx, dy, qx, qy := p.bx-p.ax, p.by-p.ay, x-p.ax, y-p.ay
	length, dot := dx*dx+dy*dy, qx*dx+qy*dy
	var d int
	switch {
	case dot <= 0:
		d = qx*qx + qy*qy
	case dot >= length:
		d = (x-p.bx)*(x-p.bx) + (y-p.by)*(y-p.by)
	default:
		cross := qx*dy - qy*dx
		d = cross * cross / length
	}
	if d > p.r*p.r {
		return recordedColour{}, false
	}
	light := 256 - 96*d/(p.r*p.r)
	c := p.colour
	for k := range c {
		c[k] = c[k] * light >> 8
	}
	return c, true
}

// recordedPicture returns w*h RGB bytes, row by row.
func recordedPicture(kind string, seed uint32, w, h int) ([]byte, error) {
	draw := recordedDraws(seed)
	b := make([]byte, 3*w*h)
	switch kind {
	case "noise":
		for i := range b {
			b[i] = byte(draw())
		}
	case "figure":
		move := draw()%61 - 30
		u := draw()%41 - 20
		v := draw()%41 - 20
		parts := recordedParts(u, v)
		for y := range h {
			for x := range w {
				px, py := (2*x+1)*500/w-move, (2*y+1)*500/h
				c := recordedColour{150 - py>>4, 156 - py>>4, 160 - py>>5} // wall
				if py >= 620 {
					c = recordedColour{70 + py>>5, 120 - py>>5, 56} // lawn
				}
				for _, p := range parts {
					if over, ok := p.shade(px, py); ok {
						c = over
					}
				}
				n := draw()%9 - 4
				for k := range c {
					b[3*(y*w+x)+k] = byte(max(0, min(255, c[k]+n)))
				}
			}
		}
	default:
		return nil, fmt.Errorf("there is no picture called %q", kind)
	}
	return b, nil
}

// recordedInput turns RGB bytes into the input of a network.
func recordedInput(rgb []byte, in Input, to []float32) {
	area := in.Width * in.Height
	for i := range area {
		for k := range 3 {
			from := k
			if in.Colour == "bgr" {
				from = 2 - k
			}
			at := 3*i + k
			if in.Layout == "nchw" {
				at = k*area + i
			}
			to[at] = (float32(rgb[3*i+from]) - in.Mean[k]) / in.Std[k]
		}
	}
}

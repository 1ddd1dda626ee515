package camera

import (
	"fmt"
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

func name(size [2]int) string { return fmt.Sprintf("%dx%d", size[0], size[1]) }

// scene is a still world of soft grey blobs on a far sphere, drawn through any
// view. It is continuous, so a picture moved by a fraction of a px is exact.
type scene struct {
	blobs []blob
	noise *rand.Rand
	focal float64 // long sides
}

// blob is a Gauss spot in plane coordinates of the first view.
type blob struct {
	at          swing.Point
	size, level float64 // plane units; grey levels, negative = dark
}

func newScene(seed uint64, n int) *scene {
	rng := rand.New(rand.NewPCG(seed, 1))
	s := &scene{noise: rng, focal: 0.8}
	for range n {
		s.blobs = append(s.blobs, blob{
			at:    swing.Point{X: 2.4 * (rng.Float64() - 0.5), Y: 2.0 * (rng.Float64() - 0.5)},
			size:  0.003 + 0.006*rng.Float64(),
			level: 120 * (rng.Float64() - 0.5),
		})
	}
	return s
}

// frame draws the scene in view v. shade, when not nil, changes the grey level
// of every px: people, noise, light.
func (s *scene) frame(w, h, index int, v view, shade func(x, y int, grey float64) float64) swing.Frame {
	l := newLens(w, h, s.focal)
	grey := make([]float64, w*h)
	for i := range grey {
		grey[i] = 128
	}
	across := make([]float64, w)
	for _, b := range s.blobs {
		p, ok := v.project(vec{b.at.X, b.at.Y, 1})
		if !ok {
			continue
		}
		c, r := l.px(p), b.size*l.f*v.zoom
		x0, x1 := max(0, int(c.X-3*r)), min(w-1, int(c.X+3*r))
		y0, y1 := max(0, int(c.Y-3*r)), min(h-1, int(c.Y+3*r))
		if x0 > x1 || y0 > y1 {
			continue
		}
		across := across[:x1-x0+1]
		for i := range across {
			d := float64(x0+i) + 0.5 - c.X
			across[i] = math.Exp(-d * d / (2 * r * r))
		}
		for y := y0; y <= y1; y++ {
			d := float64(y) + 0.5 - c.Y
			k := b.level * math.Exp(-d*d/(2*r*r))
			row := grey[y*w+x0 : y*w+x1+1]
			for i, a := range across {
				row[i] += k * a
			}
		}
	}
	f := swing.Frame{Index: index, Time: float64(index) / 60, Width: w, Height: h, Pix: make([]byte, 3*w*h)}
	for i, g := range grey {
		if shade != nil {
			g = shade(i%w, i/w, g)
		}
		b := byte(min(254.9, max(0, g)) + 0.5)
		f.Pix[3*i], f.Pix[3*i+1], f.Pix[3*i+2] = b, b, b
	}
	return f
}

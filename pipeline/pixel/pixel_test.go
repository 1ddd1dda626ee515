package pixel

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"plantframe/pipeline/swing"
)

// noise returns a reproducible random picture.
func noise(w, h int, seed uint64) swing.Frame {
	r := rand.New(rand.NewPCG(seed, 1))
	f := swing.Frame{Width: w, Height: h, Pix: make([]byte, 3*w*h)}
	for i := range f.Pix {
		f.Pix[i] = byte(r.IntN(256))
	}
	return f
}

// smooth returns a picture whose colours are known functions of place:
// blue rises along x, green along y, red is constant.
func smooth(w, h int) swing.Frame {
	f := swing.Frame{Width: w, Height: h, Pix: make([]byte, 3*w*h)}
	for y := range h {
		for x := range w {
			p := f.Pix[3*(y*w+x):]
			p[0], p[1], p[2] = byte(255*x/w), byte(255*y/h), 77
		}
	}
	return f
}

// unit is the format v = p/255 in colour order o.
func unit(w, h int, l Layout, o Order) Format {
	return Format{Width: w, Height: h, Layout: l, Order: o, Std: [3]float64{255, 255, 255}}
}

// slowCrop is the definition of Crop without shrinking, in floating point.
// It returns blue, green, red in 0..255 of crop pixel (u,v).
func slowCrop(f swing.Frame, r Region, fm Format, u, v int) (out [3]float64) {
	sin, cos := math.Sincos(r.Rot)
	dx := (float64(u) + fm.Centre - float64(fm.Width)/2) * r.W / float64(fm.Width)
	dy := (float64(v) + fm.Centre - float64(fm.Height)/2) * r.H / float64(fm.Height)
	x, y := r.CX+cos*dx-sin*dy-0.5, r.CY+sin*dx+cos*dy-0.5
	ix, iy := math.Floor(x), math.Floor(y)
	for k := range 4 {
		cx, cy := int(ix)+k%2, int(iy)+k/2
		if cx < 0 || cy < 0 || cx >= f.Width || cy >= f.Height {
			continue
		}
		w := (1 - math.Abs(x-float64(cx))) * (1 - math.Abs(y-float64(cy)))
		for c := range 3 {
			out[c] += w * float64(f.Pix[3*(cy*f.Width+cx)+c])
		}
	}
	return out
}

func TestCropMatchesDefinition(t *testing.T) {
	f := noise(97, 61, 7)
	regions := map[string]Region{
		"inside":         {CX: 50, CY: 30, W: 40, H: 40},
		"turned":         {CX: 48.3, CY: 29.7, W: 44, H: 44, Rot: 0.7},
		"half turn":      {CX: 48.3, CY: 29.7, W: 30, H: 30, Rot: math.Pi},
		"over the edge":  {CX: 3, CY: 58, W: 50, H: 50, Rot: -0.4},
		"larger":         {CX: 48, CY: 30, W: 130, H: 130, Rot: 0.1},
		"outside":        {CX: -200, CY: 30, W: 50, H: 50},
		"tiny":           {CX: 96.9, CY: 60.9, W: 3, H: 3},
		"whole":          {CX: 48.5, CY: 30.5, W: 97, H: 61},
		"last row":       {CX: 60, CY: 60, W: 30, H: 2},
		"not square":     {CX: 40, CY: 30, W: 30, H: 60, Rot: 1.5},
		"not square two": {CX: 40, CY: 30, W: 60, H: 30, Rot: -1.5},
	}
	formats := []Format{
		unit(96, 96, NHWC, RGB), unit(96, 96, NCHW, BGR), unit(96, 96, NHWC, BGR), unit(96, 96, NCHW, RGB),
		{Width: 90, Height: 120, Layout: NCHW, Order: RGB, Centre: 0.5, Mean: [3]float64{123, 116, 103}, Std: [3]float64{58, 57, 56}},
	}
	for name, r := range regions {
		for _, fm := range formats {
			s, err := NewSampler(fm)
			if err != nil {
				t.Fatal(err)
			}
			dst := make([]float32, s.Len())
			s.Crop(f, r, dst)
			worst := 0.0
			for v := range fm.Height {
				for u := range fm.Width {
					want := slowCrop(f, r, fm, u, v)
					for ch := range 3 { // tensor channel
						c := ch
						if fm.Order == RGB {
							c = 2 - ch
						}
						at := 3*(v*fm.Width+u) + ch
						if fm.Layout == NCHW {
							at = ch*fm.Width*fm.Height + v*fm.Width + u
						}
						got := float64(dst[at])*fm.Std[ch] + fm.Mean[ch]
						worst = math.Max(worst, math.Abs(got-want[c]))
					}
				}
			}
			// 8-bit weights: at most 1/256 of a pixel step in each axis, 255 levels a step.
			if worst > 2.1 {
				t.Errorf("%s %v: differs by %.2f grey levels", name, fm, worst)
			}
		}
	}
}

// A whole-factor reduction must equal the block mean, at every border.
func TestShrinkIsBlockMean(t *testing.T) {
	for n := 2; n <= maxShrink; n++ {
		for _, size := range [][2]int{{1, 1}, {2, 3}, {16, 16}, {47, 33}, {64, 9}} {
			f := noise(size[0], size[1], uint64(n))
			src := image{f.Width, f.Height, f.Pix}
			x0, y0 := size[0]/2/n*n, size[1]/3/n*n
			dst := image{w: (src.w - x0 + n - 1) / n, h: (src.h - y0 + n - 1) / n}
			dst.pix = make([]byte, 3*dst.w*dst.h)
			shrink(dst, src, x0, y0, n)
			for y := range dst.h {
				for x := range dst.w {
					sum := blockSum(src, x0+x*n, y0+y*n, n)
					for c := range 3 {
						want := math.Floor(float64(sum[c])/float64(n*n) + 0.5)
						if got := float64(dst.pix[3*(y*dst.w+x)+c]); math.Abs(got-want) > 0 && math.Abs(got-float64(sum[c])/float64(n*n)) > 0.5001 {
							t.Fatalf("n %d size %v pixel %d,%d: got %v want %v", n, size, x, y, got, want)
						}
					}
				}
			}
		}
	}
}

// With shrinking, a picture with known gradients must still be sampled at the
// right place: a wrong half-pixel shift shows as an offset.
func TestReducedCropKeepsPlaces(t *testing.T) {
	f := smooth(1020, 765)
	for _, r := range []Region{
		{CX: 500, CY: 380, W: 420, H: 420}, {CX: 500, CY: 380, W: 640, H: 640, Rot: 0.3}, {CX: 510, CY: 390, W: 500, H: 500, Rot: -2},
	} {
		for _, centre := range []float64{0, 0.5} {
			fm := unit(128, 128, NHWC, BGR)
			fm.Centre = centre
			s, _ := NewSampler(fm)
			dst := make([]float32, s.Len())
			a := s.Crop(f, r, dst)
			for v := 0; v < 128; v += 7 {
				for u := 0; u < 128; u += 7 {
					p := a.Apply(float64(u)+centre, float64(v)+centre)
					if p.X < 10 || p.Y < 10 || p.X > 1010 || p.Y > 755 {
						continue
					}
					// byte(255*x/w) is a staircase: its mean at centre x+0.5 is 255*x/w - about 0.5.
					gotX := (float64(dst[3*(v*128+u)])*255+0.375)/255*1020 + 0.5
					gotY := (float64(dst[3*(v*128+u)+1])*255+1.0/3)/255*765 + 0.5
					if math.Abs(gotX-p.X) > 3.1 || math.Abs(gotY-p.Y) > 3.1 {
						t.Fatalf("%v centre %v at %d,%d: picture place %.2f,%.2f holds colours of %.2f,%.2f", r, centre, u, v, p.X, p.Y, gotX, gotY)
					}
				}
			}
		}
	}
}

// The mean over many places must agree far below a pixel, which the test above
// cannot see because colours are whole numbers.
func TestReducedCropHasNoShift(t *testing.T) {
	f := smooth(1020, 1020) // four px a grey level: block means need no rounding that would bias
	s, _ := NewSampler(unit(128, 128, NHWC, BGR))
	dst := make([]float32, s.Len())
	for _, size := range []float64{150, 220, 300, 420, 560} {
		a := s.Crop(f, Square(swing.Point{X: 510, Y: 380}, size, 0), dst)
		var dx, dy float64
		for v := range 128 {
			for u := range 128 {
				p := a.Apply(float64(u), float64(v))
				dx += (float64(dst[3*(v*128+u)])*255+0.375)/255*1020 + 0.5 - p.X
				dy += (float64(dst[3*(v*128+u)+1])*255+0.375)/255*1020 + 0.5 - p.Y
			}
		}
		if dx, dy = dx/128/128, dy/128/128; math.Abs(dx) > 0.3 || math.Abs(dy) > 0.3 {
			t.Errorf("size %v: mean shift %.3f, %.3f px", size, dx, dy)
		}
	}
}

// A mirrored picture under a mirrored region gives the mirrored crop.
func TestCropMirror(t *testing.T) {
	f := noise(80, 60, 3)
	m := swing.Frame{Width: 80, Height: 60, Pix: make([]byte, len(f.Pix))}
	for y := range 60 {
		for x := range 80 {
			copy(m.Pix[3*(y*80+79-x):][:3], f.Pix[3*(y*80+x):][:3])
		}
	}
	fm := unit(64, 64, NHWC, RGB)
	fm.Centre = 0.5 // only then is the sampling grid symmetric
	s, _ := NewSampler(fm)
	for _, size := range []float64{40, 130} { // without and with shrinking
		a, b := make([]float32, s.Len()), make([]float32, s.Len())
		s.Crop(f, Region{CX: 30, CY: 28, W: size, H: size, Rot: 0.4}, a)
		s.Crop(m, Region{CX: 50, CY: 28, W: size, H: size, Rot: -0.4}, b)
		for v := range 64 {
			for u := range 64 {
				for c := range 3 {
					if d := math.Abs(float64(a[3*(v*64+u)+c] - b[3*(v*64+63-u)+c])); d > 2.5/255 {
						t.Fatalf("size %v at %d,%d: mirrored crop differs by %.4f", size, u, v, d)
					}
				}
			}
		}
	}
}

func TestFit(t *testing.T) {
	a := Fit(1280, 720, 224, 224).To(224, 224)
	if p := a.Apply(0, 49); math.Abs(p.X) > 1e-9 || math.Abs(p.Y) > 1e-9 {
		t.Errorf("letterbox corner maps to %v, want 0,0", p)
	}
	if p := a.Apply(224, 175); math.Abs(p.X-1280) > 1e-9 || math.Abs(p.Y-720) > 1e-9 {
		t.Errorf("letterbox corner maps to %v, want 1280,720", p)
	}
	r := Fit(100, 400, 192, 256)
	if r.H != 400 || r.W != 300 {
		t.Errorf("Fit of a tall picture is %v", r)
	}
}

func TestRegionBoundsHoldCorners(t *testing.T) {
	r := Region{CX: 10, CY: 20, W: 6, H: 4, Rot: 0.6}
	box, a := r.Bounds(), r.To(2, 2)
	for _, c := range [][2]float64{{0, 0}, {2, 0}, {0, 2}, {2, 2}} {
		p := a.Apply(c[0], c[1])
		if p.X < box.X0-1e-9 || p.X > box.X1+1e-9 || p.Y < box.Y0-1e-9 || p.Y > box.Y1+1e-9 {
			t.Errorf("corner %v outside bounds %v", p, box)
		}
	}
	if up := a.Apply(1, 0); up.X <= 10 || up.Y >= 20 {
		t.Errorf("a positive turn must move the upper edge right: %v", up)
	}
}

func TestBadRegionsAndFormats(t *testing.T) {
	s, _ := NewSampler(unit(8, 8, NHWC, RGB))
	dst := make([]float32, s.Len())
	for _, r := range []Region{{}, {CX: math.NaN(), W: 1, H: 1}, {W: math.Inf(1), H: 1}, {CX: 1e30, W: 5, H: 5}, {W: -1, H: 2}} {
		for i := range dst {
			dst[i] = 9
		}
		s.Crop(noise(5, 5, 1), r, dst)
		for _, v := range dst {
			if v != 0 {
				t.Fatalf("%v: crop is not black", r)
			}
		}
	}
	for _, f := range []Format{
		{},
		{Width: 8, Height: 8, Layout: "hwc", Order: RGB, Std: [3]float64{1, 1, 1}},
		{Width: 8, Height: 8, Layout: NHWC, Order: "grb", Std: [3]float64{1, 1, 1}},
		{Width: 8, Height: 8, Layout: NHWC, Order: RGB},
		{Width: 1 << 20, Height: 8, Layout: NHWC, Order: RGB, Std: [3]float64{1, 1, 1}},
	} {
		if _, err := NewSampler(f); err == nil {
			t.Errorf("format %v accepted", f)
		}
	}
}

// Random regions on small pictures must never read outside the picture.
func TestCropNeverPanics(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	s, _ := NewSampler(unit(24, 32, NCHW, RGB))
	dst := make([]float32, s.Len())
	for i := range 4000 {
		f := noise(1+r.IntN(40), 1+r.IntN(40), uint64(i))
		s.Crop(f, Region{
			CX: r.Float64()*80 - 20, CY: r.Float64()*80 - 20,
			W: math.Exp(r.Float64()*8 - 1), H: math.Exp(r.Float64()*8 - 1), Rot: r.Float64()*8 - 4,
		}, dst)
	}
}

func BenchmarkCrop(b *testing.B) {
	f := noise(1280, 720, 1)
	for _, r := range []Region{
		{CX: 640, CY: 360, W: 380, H: 380, Rot: 0.1},
		{CX: 640, CY: 360, W: 520, H: 520, Rot: 0.1},
		{CX: 640, CY: 360, W: 800, H: 800, Rot: 0.1},
	} {
		b.Run(fmt.Sprint(r.W), func(b *testing.B) {
			s, _ := NewSampler(unit(256, 256, NHWC, RGB))
			dst := make([]float32, s.Len())
			s.Crop(f, r, dst)
			b.ReportAllocs()
			for b.Loop() {
				s.Crop(f, r, dst)
			}
		})
	}
	b.Run("letterbox224", func(b *testing.B) {
		s, _ := NewSampler(unit(224, 224, NHWC, RGB))
		dst := make([]float32, s.Len())
		s.Crop(f, Fit(1280, 720, 224, 224), dst)
		b.ReportAllocs()
		for b.Loop() {
			s.Crop(f, Fit(1280, 720, 224, 224), dst)
		}
	})
}

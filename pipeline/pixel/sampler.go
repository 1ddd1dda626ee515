package pixel

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Layout is the order of a tensor's axes, batch left out.
type Layout string

// Layouts.
const (
	NHWC Layout = "nhwc" // colour changes fastest
	NCHW Layout = "nchw" // one plane a colour
)

// Order is the order of the colours in a tensor.
type Order string

// Colour orders.
const (
	RGB Order = "rgb"
	BGR Order = "bgr"
)

// shrinkAbove is the number of picture px per crop px above which a picture is
// first averaged down by a whole factor; bilinear sampling alone would skip
// pixels there and alias.
const shrinkAbove = 1.6

// Format describes a network's picture input.
type Format struct {
	Width, Height int // px
	Layout        Layout
	Order         Order
	// Mean and Std, in the tensor's colour order: value = (p-Mean)/Std with
	// p in 0..255. Pixels outside the picture are p = 0.
	Mean, Std [3]float64
	// Centre is where in its cell an output pixel is sampled, crop px:
	// 0 when crop coordinate u is the centre of output pixel u (landmark
	// networks), 0.5 when it is the pixel's outer corner (plain resizing).
	Centre float64
}

// Validate checks f.
func (f Format) Validate() error {
	switch {
	case f.Width < 1 || f.Height < 1 || f.Width > 4096 || f.Height > 4096:
		return fmt.Errorf("input size %dx%d is outside 1..4096", f.Width, f.Height)
	case f.Layout != NHWC && f.Layout != NCHW:
		return fmt.Errorf("layout %q is neither nhwc nor nchw", f.Layout)
	case f.Order != RGB && f.Order != BGR:
		return fmt.Errorf("colour order %q is neither rgb nor bgr", f.Order)
	}
	for c := range 3 {
		if f.Std[c] == 0 || math.IsNaN(f.Std[c]+f.Mean[c]) || math.IsInf(f.Std[c]+f.Mean[c], 0) {
			return fmt.Errorf("mean %v, std %v: std must not be zero and both must be finite", f.Mean, f.Std)
		}
	}
	return nil
}

// Sampler fills tensors of one format. It owns scratch memory and must not be
// used by two goroutines at once.
type Sampler struct {
	f       Format
	scale   [3]float32 // by blue, green, red; for values with 16 fraction bits
	bias    [3]float32
	at      [3]int // tensor offset of blue, green, red
	step    int    // tensor distance of neighbours
	scratch []byte
}

// NewSampler returns a Sampler for f, or what is wrong with f.
func NewSampler(f Format) (*Sampler, error) {
	if err := f.Validate(); err != nil {
		return nil, err
	}
	s := &Sampler{f: f, step: 3}
	plane := 1
	if f.Layout == NCHW {
		plane, s.step = f.Width*f.Height, 1
	}
	for c := range 3 { // c counts blue, green, red
		t := c
		if f.Order == RGB {
			t = 2 - c
		}
		s.at[c] = t * plane
		s.scale[c] = float32(1 / (f.Std[t] * (1 << 16)))
		s.bias[c] = float32(-f.Mean[t] / f.Std[t])
	}
	return s, nil
}

// Len returns the number of floats of one tensor.
func (s *Sampler) Len() int { return 3 * s.f.Width * s.f.Height }

// Crop writes the part r of frame f to dst, which has Len floats, and returns
// the map from crop coordinates to picture coordinates. A part that is not
// Valid gives a black crop.
func (s *Sampler) Crop(f swing.Frame, r Region, dst []float32) Affine {
	if !r.Valid() || f.Width < 1 || f.Height < 1 {
		s.fill(dst[:s.Len()], 0, s.f.Width*s.f.Height)
		return Affine{}
	}
	a := r.To(s.f.Width, s.f.Height)
	src := image{f.Width, f.Height, f.Pix[:3*f.Width*f.Height]}
	// b maps output pixel indexes to source pixel indexes (whole numbers
	// are pixel centres on both sides).
	b := a
	b.X0 += (a.XU+a.XV)*s.f.Centre - 0.5
	b.Y0 += (a.YU+a.YV)*s.f.Centre - 0.5
	k := math.Max(r.W/float64(s.f.Width), r.H/float64(s.f.Height))
	if k > shrinkAbove {
		src, b = s.reduce(src, r, b, min(int(k+0.5), maxShrink))
	}
	s.sample(src, b, dst[:s.Len()])
	return a
}

// reduce averages the part of src under r by n and adapts the map. Blocks are
// aligned to the picture, not to r, so that a still background stays still.
func (s *Sampler) reduce(src image, r Region, b Affine, n int) (image, Affine) {
	box := r.Bounds()
	clip := func(v float64, hi int) int { return int(math.Max(0, math.Min(v, float64(hi)))) }
	m := float64(2 * n) // one block and a half-pixel shift of room
	x0, y0 := clip(box.X0-m, src.w)/n*n, clip(box.Y0-m, src.h)/n*n
	x1, y1 := clip(box.X1+m, src.w), clip(box.Y1+m, src.h)
	small := image{w: (x1 - x0 + n - 1) / n, h: (y1 - y0 + n - 1) / n}
	need := 3*small.w*small.h + 8
	if cap(s.scratch) < need {
		s.scratch = make([]byte, need+need/4)
	}
	small.pix = s.scratch[:need]
	shrink(small, src, x0, y0, n)
	f := float64(n)
	// The centre of block i has the source index x0 + n*i + (n-1)/2.
	mid := (f - 1) / 2
	b.X0, b.Y0 = (b.X0-float64(x0)-mid)/f, (b.Y0-float64(y0)-mid)/f
	b.XU, b.XV, b.YU, b.YV = b.XU/f, b.XV/f, b.YU/f, b.YV/f
	return small, b
}

// sample fills dst by bilinear interpolation. Places run in fixed point with
// 32 fraction bits, weights have 8.
func (s *Sampler) sample(src image, b Affine, dst []float32) {
	const one = 1 << 32
	w, h := s.f.Width, s.f.Height
	du, dv := int64(math.Round(b.XU*one)), int64(math.Round(b.YU*one))
	stride := 3 * src.w
	pix := src.pix
	for v := range h {
		fx, fy := b.XV*float64(v)+b.X0, b.YV*float64(v)+b.Y0
		x, y := int64(math.Round(fx*one)), int64(math.Round(fy*one))
		lo, hi := inner(fx, b.XU, float64(src.w-3), 0, w)
		lo, hi = inner(fy, b.YU, float64(src.h-2), lo, hi)
		in := func(u int) bool {
			px, py := (x+int64(u)*du)>>32, (y+int64(u)*dv)>>32
			return px >= 0 && px <= int64(src.w-3) && py >= 0 && py <= int64(src.h-2)
		}
		for lo < hi && !in(lo) {
			lo++
		}
		for hi > lo && !in(hi-1) {
			hi--
		}
		s.edge(src, dst, v*w, x, y, du, dv, 0, lo)
		part := run{pix: pix, stride: stride, x: x + int64(lo)*du, y: y + int64(lo)*dv, du: du, dv: dv}
		if s.f.Layout == NHWC && s.f.Order == RGB {
			part.rgb(dst[3*(v*w+lo):3*(v*w+hi)], s.scale, s.bias)
		} else {
			part.any(dst[(v*w+lo)*s.step:], hi-lo, s)
		}
		s.edge(src, dst, v*w, x, y, du, dv, hi, w)
	}
}

// inner narrows [lo,hi) to the u with 0 <= p + q*u < limit+1, give or take
// rounding, which the caller repairs.
func inner(p, q, limit float64, lo, hi int) (int, int) {
	if q == 0 {
		if p < 0 || p >= limit+1 {
			return lo, lo
		}
		return lo, hi
	}
	a, b := -p/q, (limit+1-p)/q
	if a > b {
		a, b = b, a
	}
	a, b = math.Max(a, float64(lo)), math.Min(math.Ceil(b), float64(hi))
	if !(a < b) { // also when a or b is not a number
		return lo, lo
	}
	return int(a), int(b)
}

// edge fills the output pixels [from,to) of the row that starts at pixel
// first, testing every source pixel against the picture's border.
// x and y are the source place of the row's first pixel.
func (s *Sampler) edge(src image, dst []float32, first int, x, y, du, dv int64, from, to int) {
	for u := from; u < to; u++ {
		px, py := x+int64(u)*du, y+int64(u)*dv
		ix, iy := int(px>>32), int(py>>32)
		if ix < -1 || iy < -1 || ix >= src.w || iy >= src.h {
			s.fill(dst, first+u, 1)
			continue
		}
		wx, wy := int64(uint64(px)>>24&0xff), int64(uint64(py)>>24&0xff)
		var sum [3]int64
		for k := range 4 {
			cx, cy := ix+k&1, iy+k>>1
			if cx < 0 || cy < 0 || cx >= src.w || cy >= src.h {
				continue
			}
			weight := (256 - wx + int64(k&1)*(2*wx-256)) * (256 - wy + int64(k>>1)*(2*wy-256))
			p := src.pix[3*(cy*src.w+cx):]
			for c := range 3 {
				sum[c] += int64(p[c]) * weight
			}
		}
		o := (first + u) * s.step
		for c := range 3 {
			dst[s.at[c]+o] = float32(sum[c])*s.scale[c] + s.bias[c]
		}
	}
}

// fill writes black to n pixels from pixel first on.
func (s *Sampler) fill(dst []float32, first, n int) {
	for u := first; u < first+n; u++ {
		o := u * s.step
		for c := range 3 {
			dst[s.at[c]+o] = s.bias[c]
		}
	}
}

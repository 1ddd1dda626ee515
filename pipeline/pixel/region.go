package pixel

import (
	"math"

	"plantframe/pipeline/swing"
)

// Region is a rotated rectangle of a picture. It may lie partly or wholly
// outside the picture.
type Region struct {
	CX, CY float64 // centre, picture px
	W, H   float64 // side lengths along the region's own axes, picture px, > 0
	Rot    float64 // rad; positive turns the region's upper edge to the right (clockwise on screen)
}

// Square returns the region with equal sides.
func Square(c swing.Point, size, rot float64) Region {
	return Region{CX: c.X, CY: c.Y, W: size, H: size, Rot: rot}
}

// Fit returns the smallest upright region of a given shape around a whole
// picture: the letterbox, with the picture in the middle.
// Sizes are px; outW:outH is the shape.
func Fit(width, height, outW, outH int) Region {
	k := math.Max(float64(width)/float64(outW), float64(height)/float64(outH))
	return Region{
		CX: float64(width) / 2, CY: float64(height) / 2,
		W: k * float64(outW), H: k * float64(outH),
	}
}

// farAway bounds the places and sizes of a Valid region, px; fixed-point
// sampling would overflow far beyond it.
const farAway = 1e6

// Valid reports whether r has a positive size and a place and size below a
// million px.
func (r Region) Valid() bool {
	within := func(v float64) bool { return math.Abs(v) < farAway } // false for NaN
	return r.W > 0 && r.H > 0 && within(r.W) && within(r.H) &&
		within(r.CX) && within(r.CY) && within(r.Rot)
}

// Center returns the middle of r.
func (r Region) Center() swing.Point { return swing.Point{X: r.CX, Y: r.CY} }

// Scaled returns r in a picture k times as large.
func (r Region) Scaled(k float64) Region {
	r.CX, r.CY, r.W, r.H = r.CX*k, r.CY*k, r.W*k, r.H*k
	return r
}

// Bounds returns the upright box around r, picture px.
func (r Region) Bounds() swing.Box {
	sin, cos := math.Sincos(r.Rot)
	dx := (math.Abs(cos)*r.W + math.Abs(sin)*r.H) / 2
	dy := (math.Abs(sin)*r.W + math.Abs(cos)*r.H) / 2
	return swing.Box{X0: r.CX - dx, Y0: r.CY - dy, X1: r.CX + dx, Y1: r.CY + dy}
}

// Affine maps crop coordinates to picture coordinates:
// (u,v) -> (XU*u + XV*v + X0, YU*u + YV*v + Y0).
type Affine struct{ XU, XV, X0, YU, YV, Y0 float64 }

// To returns the map from a crop of outW x outH px onto r:
// picture = centre + R(rot) * ((u,v) - (outW,outH)/2) * size/out.
func (r Region) To(outW, outH int) Affine {
	sin, cos := math.Sincos(r.Rot)
	kx, ky := r.W/float64(outW), r.H/float64(outH)
	a := Affine{XU: cos * kx, XV: -sin * ky, YU: sin * kx, YV: cos * ky}
	hu, hv := float64(outW)/2, float64(outH)/2
	a.X0 = r.CX - a.XU*hu - a.XV*hv
	a.Y0 = r.CY - a.YU*hu - a.YV*hv
	return a
}

// Apply maps a crop point to the picture.
func (a Affine) Apply(u, v float64) swing.Point {
	return swing.Point{X: a.XU*u + a.XV*v + a.X0, Y: a.YU*u + a.YV*v + a.Y0}
}

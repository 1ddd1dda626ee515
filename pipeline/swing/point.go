package swing

import "math"

// Point is a place in the upright picture, px, or a difference of two places.
type Point struct{ X, Y float64 }

// Add returns p+q.
func (p Point) Add(q Point) Point { return Point{p.X + q.X, p.Y + q.Y} }

// Sub returns p-q.
func (p Point) Sub(q Point) Point { return Point{p.X - q.X, p.Y - q.Y} }

// Scale returns k*p.
func (p Point) Scale(k float64) Point { return Point{k * p.X, k * p.Y} }

// Norm returns the length of p.
func (p Point) Norm() float64 { return math.Hypot(p.X, p.Y) }

// Dot returns the scalar product of p and q.
func (p Point) Dot(q Point) float64 { return p.X*q.X + p.Y*q.Y }

// Mid returns the point halfway between p and q.
func (p Point) Mid(q Point) Point { return Point{(p.X + q.X) / 2, (p.Y + q.Y) / 2} }

// Similarity maps picture points of one frame to another frame:
// (x,y) -> (A*x - B*y + TX, B*x + A*y + TY). A zero value is invalid; use
// IdentitySimilarity.
type Similarity struct{ A, B, TX, TY float64 }

// IdentitySimilarity returns the map that changes nothing.
func IdentitySimilarity() Similarity { return Similarity{A: 1} }

// Apply maps p.
func (s Similarity) Apply(p Point) Point {
	return Point{s.A*p.X - s.B*p.Y + s.TX, s.B*p.X + s.A*p.Y + s.TY}
}

// Then returns the map that applies s first and t second.
func (s Similarity) Then(t Similarity) Similarity {
	return Similarity{
		A:  t.A*s.A - t.B*s.B,
		B:  t.B*s.A + t.A*s.B,
		TX: t.A*s.TX - t.B*s.TY + t.TX,
		TY: t.B*s.TX + t.A*s.TY + t.TY,
	}
}

// Inverse returns the map that undoes s.
func (s Similarity) Inverse() Similarity {
	d := s.A*s.A + s.B*s.B
	a, b := s.A/d, -s.B/d
	return Similarity{A: a, B: b, TX: -(a*s.TX - b*s.TY), TY: -(b*s.TX + a*s.TY)}
}

package camera

import (
	"math"

	"plantframe/pipeline/swing"
)

// vec is a direction in space; x right, y down, z away from the camera.
type vec [3]float64

// view is how the camera looks, against the first frame: a point seen in
// direction b of the first frame's camera appears at zoom * (x/z, y/z) of
// turn*b. The zero value is invalid; use firstView.
type view struct {
	turn [3]vec // rows of a rotation
	zoom float64
}

// firstView looks like the first frame.
func firstView() view { return view{[3]vec{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, 1} }

// lens converts px of a delivered picture to plane coordinates, the tangents
// of angles at zoom 1, and back.
type lens struct{ cx, cy, f float64 } // px

func newLens(w, h int, focal float64) lens {
	return lens{float64(w) / 2, float64(h) / 2, focal * float64(max(w, h))}
}

func (l lens) plane(p swing.Point) swing.Point {
	return swing.Point{X: (p.X - l.cx) / l.f, Y: (p.Y - l.cy) / l.f}
}

func (l lens) px(p swing.Point) swing.Point {
	return swing.Point{X: p.X*l.f + l.cx, Y: p.Y*l.f + l.cy}
}

// project returns where direction b appears, plane coordinates. ok is false
// for directions beside or behind the camera.
func (v view) project(b vec) (p swing.Point, ok bool) {
	z := dot(v.turn[2], b)
	if z < 0.1*math.Sqrt(dot(b, b)) {
		return p, false
	}
	k := v.zoom / z
	return swing.Point{X: k * dot(v.turn[0], b), Y: k * dot(v.turn[1], b)}, true
}

// direction undoes project.
func (v view) direction(p swing.Point) vec {
	c := vec{p.X / v.zoom, p.Y / v.zoom, 1}
	var b vec
	for i := range 3 {
		for j := range 3 {
			b[j] += v.turn[i][j] * c[i]
		}
	}
	return b
}

// turned returns v after small turns about the camera's own axes, rad, and a
// small change of log zoom.
func (v view) turned(s step) view {
	r := rodrigues(vec{s[0], s[1], s[2]})
	var out view
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out.turn[i][j] += r[i][k] * v.turn[k][j]
			}
		}
	}
	out.zoom = v.zoom * math.Exp(s[3])
	return out
}

// between returns the view a fraction t of the way from v to w.
func between(v, w view, t float64) view {
	// The turn from v to w, as a vector along its axis.
	var d [3]vec
	for i := range 3 {
		for j := range 3 {
			d[i][j] = dot(w.turn[i], v.turn[j])
		}
	}
	axis := vec{d[2][1] - d[1][2], d[0][2] - d[2][0], d[1][0] - d[0][1]}
	n := math.Sqrt(dot(axis, axis)) // 2 sin(angle)
	var s step
	if n > 1e-12 {
		angle := math.Atan2(n/2, (d[0][0]+d[1][1]+d[2][2]-1)/2)
		for i := range 3 {
			s[i] = t * angle * axis[i] / n
		}
	}
	s[3] = t * math.Log(w.zoom/v.zoom)
	return v.turned(s)
}

// rodrigues returns the rotation about axis by its length, rad.
func rodrigues(axis vec) [3]vec {
	a := math.Sqrt(dot(axis, axis))
	if a == 0 {
		return firstView().turn
	}
	s, c := math.Sincos(a)
	x, y, z := axis[0]/a, axis[1]/a, axis[2]/a
	k := 1 - c
	return [3]vec{
		{c + x*x*k, x*y*k - z*s, x*z*k + y*s},
		{y*x*k + z*s, c + y*y*k, y*z*k - x*s},
		{z*x*k - y*s, z*y*k + x*s, c + z*z*k},
	}
}

func dot(a, b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// toFirst returns the similarity that comes nearest, in the sense of least
// squares over the points at (px), to the map from v's picture to the first
// frame's.
func (v view) toFirst(l lens, at []swing.Point) swing.Similarity {
	from := make([]swing.Point, 0, len(at))
	to := make([]swing.Point, 0, len(at))
	for _, p := range at {
		if q, ok := firstView().project(v.direction(l.plane(p))); ok {
			from, to = append(from, p), append(to, l.px(q))
		}
	}
	return nearestSimilarity(from, to)
}

// nearestSimilarity fits to = S(from) by least squares; the identity when
// there are fewer than two different points. With complex numbers the fit is
// a linear regression, so it has a closed form.
func nearestSimilarity(from, to []swing.Point) swing.Similarity {
	if len(from) < 2 {
		return swing.IdentitySimilarity()
	}
	var mf, mt swing.Point
	for i := range from {
		mf, mt = mf.Add(from[i]), mt.Add(to[i])
	}
	n := float64(len(from))
	mf, mt = mf.Scale(1/n), mt.Scale(1/n)
	var a, b, d float64
	for i := range from {
		f, t := from[i].Sub(mf), to[i].Sub(mt)
		a += f.Dot(t)
		b += f.X*t.Y - f.Y*t.X
		d += f.Dot(f)
	}
	if d == 0 {
		return swing.IdentitySimilarity()
	}
	a, b = a/d, b/d
	return swing.Similarity{A: a, B: b, TX: mt.X - (a*mf.X - b*mf.Y), TY: mt.Y - (b*mf.X + a*mf.Y)}
}

package fuse

import "math"

// vec is a place or a way in space, statures: X to the pitcher, Y to the plate, Z up.
type vec [3]float64

func (a vec) add(b vec) vec       { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec       { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) mul(k float64) vec   { return vec{k * a[0], k * a[1], k * a[2]} }
func (a vec) dot(b vec) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) norm() float64       { return math.Sqrt(a.dot(a)) }
func (a vec) mid(b vec) vec       { return a.add(b).mul(0.5) }
func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func radians(deg float64) float64 { return deg * math.Pi / 180 }

// turnOf returns the turn of a line from the rear to the lead side about the vertical,
// radians: 0 = along X, + = opened to the pitcher, away from the plate.
func turnOf(line vec) float64 { return math.Atan2(-line[1], line[0]) }

// bend returns the angle between two consecutive segments, radians, 0 = straight.
func bend(a, b, c vec) float64 {
	u, v := b.sub(a), c.sub(b)
	n := u.norm() * v.norm()
	if n == 0 {
		return 0
	}
	return math.Acos(max(-1, min(1, u.dot(v)/n)))
}

// around brings an angle into -pi..pi.
func around(x float64) float64 { return math.Remainder(x, 2*math.Pi) }

// camera is a pinhole camera without distortion, principal point in the middle of the
// picture (Hartley and Zisserman 2004, Multiple View Geometry, chapter 6). It looks at
// the body from a heading; its place is told by how the point middle of the world
// appears.
type camera struct {
	// heading is how the picture's right lies, seen from above counter-clockwise
	// from X, radians: about 0 open-side, -pi/2 from behind.
	heading float64
	tilt    float64 // looking down is +, radians
	roll    float64 // radians
	focal   float64 // logarithm of the focal length, px
	size    float64 // logarithm of the px per stature at the middle point
	across  float64 // statures, of the middle point from the line of sight, to the right
	above   float64 // the same, up
}

// cameraSize counts the numbers of a camera.
const cameraSize = 7

func (c *camera) numbers() [cameraSize]*float64 {
	return [cameraSize]*float64{&c.heading, &c.tilt, &c.roll, &c.focal, &c.size, &c.across, &c.above}
}

// middle is the point of the world by which a camera's place is told.
var middle = vec{0, 0, 0.5}

// eye is a camera made ready to project.
type eye struct {
	right, up, ahead vec
	focal, distance  float64
	across, above    float64
	cx, cy           float64
	sin, cos         float64 // of the roll
}

func (c *camera) eye(width, height float64) eye {
	s, k := math.Sincos(c.heading)
	ts, tc := math.Sincos(c.tilt)
	flat := vec{-s, -k, 0}
	e := eye{
		right: vec{k, -s, 0},
		ahead: flat.mul(tc).add(vec{0, 0, -ts}),
		up:    flat.mul(ts).add(vec{0, 0, tc}),
		focal: math.Exp(c.focal), across: c.across, above: c.above, cx: width / 2, cy: height / 2,
	}
	e.distance = math.Exp(c.focal - c.size)
	e.sin, e.cos = math.Sincos(c.roll)
	return e
}

// see projects p, px, and returns the rows of the derivative by p.
func (e *eye) see(p vec) (x, y float64, dx, dy vec) {
	q := p.sub(middle)
	u, v, w := e.right.dot(q)+e.across, e.up.dot(q)+e.above, max(0.2*e.distance, e.ahead.dot(q)+e.distance)
	f := e.focal / w
	px, py := f*u, -f*v
	gx := e.right.mul(f).sub(e.ahead.mul(px / w))
	gy := e.up.mul(-f).sub(e.ahead.mul(py / w))
	return e.cx + e.cos*px - e.sin*py, e.cy + e.sin*px + e.cos*py,
		gx.mul(e.cos).sub(gy.mul(e.sin)), gx.mul(e.sin).add(gy.mul(e.cos))
}

// ray returns the camera's place and the direction in which a point of the picture
// lies.
func (e *eye) ray(x, y float64) (from, way vec) {
	px, py := x-e.cx, y-e.cy
	px, py = e.cos*px+e.sin*py, -e.sin*px+e.cos*py
	from = middle.sub(e.right.mul(e.across)).sub(e.up.mul(e.above)).sub(e.ahead.mul(e.distance))
	return from, e.ahead.add(e.right.mul(px / e.focal)).sub(e.up.mul(py / e.focal))
}

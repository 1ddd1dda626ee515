package fuse

import "math"

// image is a point of the body in a picture, with its derivatives.
type image struct {
	x, y   float64
	dx, dy vec
	gx, gy [cameraSize]float64
}

func (b *bundle) image(v int, p vec, eyes *[2]eye, moved *[2][cameraSize]eye) (m image) {
	m.x, m.y, m.dx, m.dy = eyes[v].see(p)
	for c := range cameraSize {
		x, y, _, _ := moved[v][c].see(p)
		m.gx[c], m.gy[c] = (x-m.x)/tiny, (y-m.y)/tiny
	}
	return m
}

func (b *bundle) addPoints(s *state, d *noise, a *adder, eyes *[2]eye, moved *[2][cameraSize]eye) {
	for v := range b.views {
		late := 0.0
		if v == rearView {
			late = s.offset - b.at
			if d != nil {
				late += d.lag
			}
		}
		for k := range numPoints {
			o := &b.points[a.i][v][k]
			if !o.ok {
				continue
			}
			m := b.image(v, s.body[a.i][k], eyes, moved)
			rx, ry := o.x+late*o.vx-m.x, o.y+late*o.vy-m.y
			if d != nil {
				rx, ry = rx+d.points[a.i][v][k][0], ry+d.points[a.i][v][k][1]
			}
			w := 1 / (o.sigma * o.sigma * o.far * o.far)
			if k < 2 || k == hips || k == hips+1 {
				// Across the picture only the middle of a line and what its
				// direction lets through.
				if q := k ^ 1; q > k && b.points[a.i][v][q].ok {
					b.addLine(s, d, a, v, k, late, &m, rx, eyes, moved)
				}
				w *= (nu + 2) / (nu + w*ry*ry)
				a.picture(v, k, &m.dy, &m.gy, o.vy)
				a.row(ry, w)
				continue
			}
			w *= (nu + 2) / (nu + w*(rx*rx+ry*ry))
			a.picture(v, k, &m.dx, &m.gx, o.vx)
			a.row(rx, w)
			a.picture(v, k, &m.dy, &m.gy, o.vy)
			a.row(ry, w)
		}
	}
}

// picture puts a picture coordinate of a point into the row.
func (a *adder) picture(v, k int, by *vec, g *[cameraSize]float64, speed float64) {
	a.vec(k, *by)
	for c := range cameraSize {
		a.d(dim+v*cameraSize+c, g[c])
	}
	if v == rearView {
		a.d(dim+atClock, -speed)
	}
}

// addLine adds the middle of a line across the picture, and the difference of its ends
// as far as it lies in the picture: along the line of sight one end hides the other,
// and what networks then guess was learnt by the lift stage.
func (b *bundle) addLine(s *state, d *noise, a *adder, v, k int, late float64, m *image, rx float64, eyes *[2]eye, moved *[2][cameraSize]eye) {
	o, q := &b.points[a.i][v][k], &b.points[a.i][v][k+1]
	n := b.image(v, s.body[a.i][k+1], eyes, moved)
	rq := q.x + late*q.vx - n.x
	if d != nil {
		rq += d.points[a.i][v][k+1][0]
	}
	for _, sign := range [2]float64{1, -1} {
		var g [cameraSize]float64
		for c := range g {
			g[c] = (m.gx[c] + sign*n.gx[c]) / 2
		}
		r := (rx + sign*rq) / 2
		sigma := math.Hypot(o.sigma, q.sigma) / 2 * max(o.far, q.far)
		if sign < 0 {
			sigma *= o.along
		}
		w := 1 / (sigma * sigma)
		w *= (nu + 2) / (nu + w*r*r)
		a.vec(k+1, n.dx.mul(sign/2))
		half := m.dx.mul(0.5)
		a.picture(v, k, &half, &g, (o.vx+sign*q.vx)/2)
		a.row(r, w)
	}
}

// addLines adds the lifted turns: turn of the line less the camera's heading.
func (b *bundle) addLines(s *state, d *noise, a *adder) {
	for v := range b.views {
		for l, k := range [2]int{shoulders, hips} {
			o := b.lines[a.i][v][l]
			line := s.body[a.i][k].sub(s.body[a.i][k+1])
			flat := line[0]*line[0] + line[1]*line[1]
			if !o.ok || flat < 1e-6 {
				continue
			}
			lean := leanOf(v, l)
			r := o.turn + s.cameras[v].heading - turnOf(line) - s.lean[lean-atLean]
			if d != nil {
				r += d.lines[a.i][v][l]
			}
			// d atan2(-y, x) = (y dx - x dy) / (x2 + y2)
			by := vec{line[1] / flat, -line[0] / flat, 0}
			a.vec(k, by)
			a.vec(k+1, by.mul(-1))
			a.d(dim+v*cameraSize, -1)
			a.d(dim+lean, 1)
			r = around(r)
			w := 1 / (o.sigma * o.sigma * o.far * o.far * (1 - habitShare))
			a.row(r, w*(nu+2)/(nu+w*r*r))
		}
	}
}

// addParts adds what holds the body together.
func (b *bundle) addParts(s *state, a *adder) {
	body := &s.body[a.i]
	for _, rod := range rods {
		a.distance(body, rod.a, rod.b, s.parts[rod.part], rod.give, dim+atParts+rod.part)
	}
	if b.times[a.i] <= b.swung {
		a.distance(body, [2]int{wrists, wrists}, [2]int{wrists + 1, wrists + 1}, grip.mean, grip.sigma, -1)
	}
	a.distance(body, [2]int{head, head}, [2]int{shoulders, shoulders + 1}, neck.mean, neck.sigma, -1)
	for k := range numPoints { // nothing is a mile away
		for c := range 3 {
			a.d(3*k+c, 1)
			a.row(middle[c]-body[k][c], 1)
		}
	}
}

// distance adds a length between two middles; part is the place of an unknown length.
func (a *adder) distance(body *[numPoints]vec, p, q [2]int, l, give float64, part int) {
	way := body[p[0]].mid(body[p[1]]).sub(body[q[0]].mid(body[q[1]]))
	n := way.norm()
	if n < 1e-6 {
		return
	}
	u := way.mul(0.5 / n)
	a.vec(p[0], u)
	a.vec(p[1], u)
	a.vec(q[0], u.mul(-1))
	a.vec(q[1], u.mul(-1))
	if part >= 0 {
		a.d(part, -1)
	}
	a.row(l-n, 1/(give*give))
}

// addFeet adds what is known of a stance: both feet on the ground, about along the
// line to the pitcher.
func (b *bundle) addFeet(s *state, d *noise, a *adder) {
	line := s.body[a.i][ankles].sub(s.body[a.i][ankles+1])
	feet, level := b.feet, b.level
	if d != nil {
		feet, level = feet+d.feet, level+d.level
	}
	if flat := line[0]*line[0] + line[1]*line[1]; flat > 1e-4 {
		by := vec{line[1] / flat, -line[0] / flat, 0}
		a.vec(ankles, by)
		a.vec(ankles+1, by.mul(-1))
		a.row(around(feet-turnOf(line)), 1/(feetSigma*feetSigma))
	}
	a.d(3*ankles+2, 1)
	a.d(3*(ankles+1)+2, -1)
	a.row(level-line[2], 1/(levelSigma*levelSigma))
}

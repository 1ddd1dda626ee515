package fuse

import "math"

// normal is the normal equations of one step: blocks of the instants, which meet only
// through the unknowns of the whole (Triggs et al. 2000, section 6).
type normal struct {
	pp   []([dim * dim]float64)
	pg   []([dim * whole]float64)
	gp   []([dim]float64)
	gg   [whole * whole]float64
	g    [whole]float64
	cost float64
}

// noise is one disturbance of everything known; nil disturbs nothing.
type noise struct {
	points [][2][numPoints][2]float64 // px added
	lines  [][2][2]float64            // radians added
	prior  [whole]float64             // added to the means
	feet   float64                    // radians
	level  float64                    // statures
	lag    float64                    // s, by which the rear view's network is late
	bat    [2][2]float64              // px added to the bat's ends: view, end; along both axes
}

// nu is the freedom of the t distribution that errors of points are taken to have:
// four gives outliers little weight.
const nu = 4

// build sums the normal equations at a state.
func (b *bundle) build(s *state, d *noise, m *normal) {
	n := len(b.times)
	if len(m.pp) != n {
		m.pp, m.pg, m.gp = make([][dim * dim]float64, n), make([][dim * whole]float64, n), make([][dim]float64, n)
	}
	clear(m.pp)
	clear(m.pg)
	clear(m.gp)
	m.gg, m.g, m.cost = [whole * whole]float64{}, [whole]float64{}, 0
	var eyes [2]eye
	var moved [2][cameraSize]eye
	for v, w := range b.views {
		eyes[v] = s.cameras[v].eye(w.width, w.height)
		for k := range cameraSize {
			c := s.cameras[v]
			*c.numbers()[k] += tiny
			moved[v][k] = c.eye(w.width, w.height)
		}
	}
	for i := range b.times {
		a := adder{m: m, i: i, share: b.share}
		b.addPoints(s, d, &a, &eyes, &moved)
		b.addLines(s, d, &a)
		b.addParts(s, &a)
	}
	if b.stance >= 0 {
		b.addFeet(s, d, &adder{m: m, i: b.stance, share: 1})
	}
	for k := range whole {
		p := b.prior[k]
		mean := p.mean
		if d != nil {
			mean += d.prior[k]
		}
		r, w := mean-*s.number(k), 1/(p.sigma*p.sigma)
		m.gg[k*whole+k] += w
		m.g[k] += w * r
		m.cost += w * r * r
	}
}

// tiny is the step of derivatives by differences.
const tiny = 1e-6

// adder adds residuals to the equations of one instant.
type adder struct {
	m     *normal
	i     int
	share float64
	// The row: places and derivatives of the prediction.
	at [32]int // < dim: of the instant; from dim on: of the whole
	by [32]float64
	n  int
}

func (a *adder) d(at int, by float64) {
	a.at[a.n], a.by[a.n] = at, by
	a.n++
}

func (a *adder) vec(point int, by vec) {
	for k, v := range by {
		a.d(3*point+k, v)
	}
}

// row ends a residual: known less predicted, with its weight.
func (a *adder) row(r, w float64) {
	w *= a.share
	pp, pg, gp := &a.m.pp[a.i], &a.m.pg[a.i], &a.m.gp[a.i]
	for k := range a.n {
		p, x := a.at[k], w*a.by[k]
		for l := range a.n {
			q, y := a.at[l], x*a.by[l]
			switch {
			case p < dim && q < dim:
				pp[p*dim+q] += y
			case p < dim:
				pg[p*whole+q-dim] += y
			case q >= dim:
				a.m.gg[(p-dim)*whole+q-dim] += y
			}
		}
		if p < dim {
			gp[p] += x * r
		} else {
			a.m.g[p-dim] += x * r
		}
	}
	a.m.cost += w * r * r
	a.n = 0
}

// step solves the equations with damping and moves the state. It returns false when
// they cannot be solved.
func (m *normal) step(s *state, damping float64) bool {
	gg, g := m.gg, m.g
	for k := range whole {
		gg[k*whole+k] *= 1 + damping
	}
	n := len(m.pp)
	solved := make([][dim * whole]float64, n)
	own := make([][dim]float64, n)
	for i := range n {
		l := m.pp[i]
		for k := range dim {
			l[k*dim+k] *= 1 + damping
		}
		if !cholesky(l[:], dim) {
			return false
		}
		own[i], solved[i] = m.gp[i], m.pg[i]
		solveCholesky(l[:], dim, own[i][:], 1)
		solveCholesky(l[:], dim, solved[i][:], whole)
		// The whole's equations with the instant taken out.
		for r := range dim {
			pg := m.pg[i][r*whole : (r+1)*whole]
			x := solved[i][r*whole : (r+1)*whole]
			for j, c := range pg {
				if c == 0 {
					continue
				}
				g[j] -= c * own[i][r]
				row := gg[j*whole : (j+1)*whole]
				for k, v := range x {
					row[k] -= c * v
				}
			}
		}
	}
	if !cholesky(gg[:], whole) {
		return false
	}
	solveCholesky(gg[:], whole, g[:], 1)
	for k, v := range g {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
		*s.number(k) += v
	}
	for i := range n {
		for r := range dim {
			v := own[i][r]
			for k, x := range solved[i][r*whole : (r+1)*whole] {
				v -= x * g[k]
			}
			s.body[i][r/3][r%3] += v
		}
	}
	return true
}

// solve moves a state to the least cost (Levenberg and Marquardt, as in Triggs et al.
// 2000). It returns the cost.
func (b *bundle) solve(s *state, d *noise, steps int, m *normal) float64 {
	damping := 1e-3
	b.build(s, d, m)
	cost := m.cost
	for range steps {
		next := s.clone()
		if !m.step(next, damping) {
			damping = max(1e-4, 10*damping)
			if damping > 1e6 {
				break
			}
			continue
		}
		var try normal
		b.build(next, d, &try)
		if !(try.cost < cost) {
			damping *= 10
			if damping > 1e6 {
				break
			}
			continue
		}
		done := cost-try.cost < 1e-5*cost
		*s, *m, cost, damping = *next, try, try.cost, damping/10
		if done {
			break
		}
	}
	return cost
}

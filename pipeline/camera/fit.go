package camera

import (
	"math"
	"math/rand/v2"
	"slices"

	"plantframe/pipeline/swing"
)

// step is a small change of a view: turns about x, y, z, rad, and log zoom.
type step [4]float64

// sight is one background corner: its direction in space, where it appears
// now, plane coordinates, and how much it counts, up to 1.
type sight struct {
	dir    vec
	at     swing.Point
	weight float64
}

// fitted is a view with how well it is known.
type fitted struct {
	view    view
	inliers int
	noise   float64 // of one corner, one axis, plane units
	info    [4]step // J'J of the inliers, plane units
}

const (
	// hypotheses is the number of corner pairs tried. With half of the
	// corners on moving things one pair in four is good; 60 tries then miss
	// with a chance of 0.75^60 = 3e-8.
	hypotheses = 60
	// refinements of the fit; it is nearly linear and settles in two.
	refinements = 4
	// noiseFloor keeps the weights sensible when corners agree perfectly,
	// px of the searched picture.
	noiseFloor = 0.02
	// biweight is Tukey's constant for 95 % efficiency under Gauss noise.
	biweight = 4.685
)

// fit finds the view that explains the sights best, beginning at guess. px is
// a pixel of the searched picture in plane units, gate the largest error, px,
// of a corner that agrees. ok is false when no view explains least of them.
func fit(sights []sight, guess view, px, gate float64, least int) (fitted, bool) {
	if len(sights) < least {
		return fitted{}, false
	}
	start := guess.turned(consensus(sights, guess, gate*px))
	f := fitted{view: start}
	res := make([]float64, 0, len(sights))
	cut := gate * px // first round: fixed
	for range refinements {
		var jtj [4]step
		var jtr step
		f.inliers, res = 0, res[:0]
		for _, s := range sights {
			rows, r, ok := linearise(f.view, s)
			if !ok {
				continue
			}
			e := r.Norm()
			if e >= gate*px {
				continue
			}
			f.inliers++
			res = append(res, math.Abs(r.X), math.Abs(r.Y))
			if e >= cut {
				continue
			}
			w := 1 - (e/cut)*(e/cut)
			w *= w * s.weight
			accumulate(&jtj, &jtr, rows, r, w)
		}
		if f.inliers < least {
			return f, false
		}
		d, ok := solve(jtj, jtr)
		if !ok {
			return f, false
		}
		f.view, f.info = f.view.turned(d), jtj
		// 1.4826 x median of absolute errors = sigma of a Gauss noise.
		slices.Sort(res)
		f.noise = max(1.4826*res[len(res)/2], noiseFloor*px)
		cut = min(gate*px, max(biweight*f.noise*math.Sqrt2, 4*noiseFloor*px))
	}
	return f, true
}

// asKey tells whether at least half of the corners are where they were in the
// key's picture, to within tolerance (plane units). No turn of a camera leaves
// half of the picture in place, so the camera then looks as it did in the key,
// exactly. Without this rule a standing camera would seem to tremble, and
// people and shadows near the hitter could pull at it.
func asKey(sights []sight, k *key, tolerance float64, least int) (fitted, bool) {
	f := fitted{view: k.view}
	for _, s := range sights {
		if p, ok := k.view.project(s.dir); ok && s.at.Sub(p).Norm() <= tolerance {
			f.inliers++
		}
	}
	return f, f.inliers >= least && 2*f.inliers >= len(sights)
}

// consensus returns the step from guess that most sights agree with: every
// pair of corners fixes one (four equations, four unknowns), and the one with
// the smallest truncated error wins. The pairs are drawn with a fixed seed so
// that the same clip gives the same result.
func consensus(sights []sight, guess view, cut float64) step {
	type line struct {
		rows [2]step
		r    swing.Point
		w    float64
	}
	lines := make([]line, 0, len(sights))
	for _, s := range sights {
		if rows, r, ok := linearise(guess, s); ok {
			lines = append(lines, line{rows, r, s.weight})
		}
	}
	if len(lines) < 2 {
		return step{}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	score := func(d step) float64 {
		sum := 0.0
		for _, l := range lines {
			ex := l.r.X - (l.rows[0][0]*d[0] + l.rows[0][1]*d[1] + l.rows[0][2]*d[2] + l.rows[0][3]*d[3])
			ey := l.r.Y - (l.rows[1][0]*d[0] + l.rows[1][1]*d[1] + l.rows[1][2]*d[2] + l.rows[1][3]*d[3])
			sum += l.w * min(ex*ex+ey*ey, cut*cut)
		}
		return sum
	}
	best := step{}
	bestScore := score(best)
	for range hypotheses {
		i, j := rng.IntN(len(lines)), rng.IntN(len(lines))
		if i == j {
			continue
		}
		var jtj [4]step
		var jtr step
		accumulate(&jtj, &jtr, lines[i].rows, lines[i].r, 1)
		accumulate(&jtj, &jtr, lines[j].rows, lines[j].r, 1)
		d, ok := solve(jtj, jtr)
		if !ok {
			continue
		}
		if s := score(d); s < bestScore {
			best, bestScore = d, s
		}
	}
	return best
}

// linearise returns how the place of a sight changes with a step, and how far
// it lies from where view v expects it.
func linearise(v view, s sight) (rows [2]step, r swing.Point, ok bool) {
	p, ok := v.project(s.dir)
	if !ok {
		return rows, r, false
	}
	return motion(p, v.zoom), s.at.Sub(p), true
}

// motion returns d(x,y)/d(step) of a far point seen at p: the rotational part
// of Longuet-Higgins and Prazdny's image motion, and zoom.
func motion(p swing.Point, zoom float64) [2]step {
	x, y := p.X/zoom, p.Y/zoom
	return [2]step{
		{-zoom * x * y, zoom * (1 + x*x), -zoom * y, p.X},
		{-zoom * (1 + y*y), zoom * x * y, zoom * x, p.Y},
	}
}

func accumulate(jtj *[4]step, jtr *step, rows [2]step, r swing.Point, w float64) {
	for a := range 4 {
		for b := a; b < 4; b++ {
			jtj[a][b] += w * (rows[0][a]*rows[0][b] + rows[1][a]*rows[1][b])
		}
		jtr[a] += w * (rows[0][a]*r.X + rows[1][a]*r.Y)
	}
}

// solve solves the normal equations by Cholesky; only the upper triangle of m
// is read. ok is false when the corners do not fix all four unknowns.
func solve(m [4]step, b step) (x step, ok bool) {
	l, ok := cholesky(m)
	if !ok {
		return x, false
	}
	for i := range 4 {
		x[i] = b[i]
		for k := range i {
			x[i] -= l[i][k] * x[k]
		}
		x[i] /= l[i][i]
	}
	for i := 3; i >= 0; i-- {
		for k := i + 1; k < 4; k++ {
			x[i] -= l[k][i] * x[k]
		}
		x[i] /= l[i][i]
	}
	return x, true
}

func cholesky(m [4]step) (l [4]step, ok bool) {
	for i := range 4 {
		for j := range i + 1 {
			s := m[j][i]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = s / l[j][j]
				continue
			}
			if s <= 1e-9*m[i][i] || s <= 0 {
				return l, false
			}
			l[i][i] = math.Sqrt(s)
		}
	}
	return l, true
}

// sigma returns the one-sigma error, plane units, with which the fit places
// a background point that appears at p.
func (f *fitted) sigma(p swing.Point) float64 {
	l, ok := cholesky(f.info)
	if !ok {
		return math.Inf(1)
	}
	sum := 0.0
	for _, row := range motion(p, f.view.zoom) {
		// row' (L L')^-1 row = |L^-1 row|^2
		var y step
		for i := range 4 {
			y[i] = row[i]
			for k := range i {
				y[i] -= l[i][k] * y[k]
			}
			y[i] /= l[i][i]
			sum += y[i] * y[i]
		}
	}
	return f.noise * math.Sqrt(sum/2)
}

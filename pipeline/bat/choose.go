package bat

import "math"

// frames is the search over time.
type frames struct {
	times  []float64
	torso  float64 // px
	all    [][]candidate
	absent []float64
}

const (
	// fastest is the speed of the tip against the hands, torsos a second,
	// that costs one unit: 60 torsos of 0.5 m are 30 m/s, a hard swing.
	fastest = 60.0
	// unknownCost is what it costs to say nothing of a frame: a likeliest
	// place of 5 % is then as good.
	unknownCost = 3.0
)

// likeliest returns the cheapest path through the candidates (Viterbi 1967):
// the index of each frame's candidate, -1 for unknown. A candidate costs the
// logarithm of its probability, a step the square of the tip's speed.
func (f *frames) likeliest() []int {
	n := len(f.all)
	cost := make([][]float64, n)
	from := make([][]int, n)
	for i := range f.all {
		m := len(f.all[i])
		cost[i], from[i] = make([]float64, m+1), make([]int, m+1)
		for k := range m + 1 {
			own := unknownCost
			if k < m {
				c := &f.all[i][k]
				own = -math.Log(math.Max(1e-6, c.tip.Mass*c.knob.Mass)) - 0.5*c.edges
			}
			best, at := 0.0, -1
			if i > 0 {
				best = math.Inf(1)
				for j := range cost[i-1] {
					if v := cost[i-1][j] + f.step(i-1, j, i, k); v < best {
						best, at = v, j
					}
				}
			}
			cost[i][k], from[i][k] = own+best, at
		}
	}
	chosen := make([]int, n)
	if n == 0 {
		return chosen
	}
	at := 0
	for k, v := range cost[n-1] {
		if v < cost[n-1][at] {
			at = k
		}
	}
	for i := n - 1; i >= 0; i-- {
		chosen[i] = at
		if at == len(f.all[i]) {
			chosen[i] = -1
		}
		at = from[i][at]
	}
	return chosen
}

// step is the cost of going from candidate j of frame a to k of frame b; the
// last index is unknown and goes anywhere.
func (f *frames) step(a, j, b, k int) float64 {
	if j == len(f.all[a]) || k == len(f.all[b]) || f.torso <= 0 {
		return 0
	}
	p, q := &f.all[a][j], &f.all[b][k]
	d := q.tip.At.Sub(q.hands).Sub(p.tip.At.Sub(p.hands)).Norm() / f.torso
	dt := math.Max(1e-4, f.times[b]-f.times[a])
	return math.Min(8, sq(d/dt/fastest)+sq(d/0.6)*math.Min(1, 0.004/dt))
}

// departure is how far a direction lies from what the frames round it say.
type departure struct {
	angle float64 // degrees
	sigma float64 // error of the prediction, degrees
}

const (
	// aroundTime is how far frames may lie from the one that is judged, s,
	// and aroundFrames how many on each side are asked at most.
	aroundTime   = 0.11
	aroundFrames = 4
)

// surprise predicts frame i from the chosen frames on both sides of it by a
// parabola through their directions; false when there are too few.
func (f *frames) surprise(chosen []int, i int) (departure, bool) {
	c := &f.all[i][chosen[i]]
	var t, a, w []float64
	before, after := 0, 0
	for _, dir := range []int{-1, 1} {
		last, taken := 0.0, 0
		for j := i + dir; j >= 0 && j < len(chosen) && taken < aroundFrames; j += dir {
			dt := f.times[j] - f.times[i]
			if math.Abs(dt) > aroundTime {
				break
			}
			if chosen[j] < 0 {
				continue
			}
			o := &f.all[j][chosen[j]]
			// Unwrapped along the way from i.
			d := last + math.Remainder(o.dir()-c.dir()-last, 360)
			last = d
			t, a, w = append(t, dt), append(a, d), append(w, 1/(sq(o.sigma)+sq(1)))
			taken++
			if dir < 0 {
				before++
			} else {
				after++
			}
		}
	}
	if before+after < 4 || before == 0 || after == 0 {
		return departure{}, false
	}
	at, sigma, ok := parabola(t, a, w)
	return departure{angle: math.Abs(at), sigma: sigma}, ok
}

// parabola fits a + b t + c t^2 by weights and returns a with its error, the
// larger of that of the weights and that of the residuals.
func parabola(t, y, w []float64) (at, sigma float64, ok bool) {
	var m [3][4]float64
	const scale = 20 // 1/s: keeps the powers of t near 1
	for i := range t {
		u := [3]float64{1, t[i] * scale, sq(t[i] * scale)}
		for r := range 3 {
			for c := range 3 {
				m[r][c] += w[i] * u[r] * u[c]
			}
			m[r][3] += w[i] * u[r] * y[i]
		}
	}
	a := m // solved by Cramer's rule: three unknowns
	det := func(c int) float64 {
		b := a
		if c >= 0 {
			for r := range 3 {
				b[r][c] = a[r][3]
			}
		}
		return b[0][0]*(b[1][1]*b[2][2]-b[1][2]*b[2][1]) - b[0][1]*(b[1][0]*b[2][2]-b[1][2]*b[2][0]) + b[0][2]*(b[1][0]*b[2][1]-b[1][1]*b[2][0])
	}
	d := det(-1)
	if math.Abs(d) < 1e-12 {
		return 0, 0, false
	}
	x := [3]float64{det(0) / d, det(1) / d, det(2) / d}
	v := (a[1][1]*a[2][2] - a[1][2]*a[2][1]) / d // variance of x[0] for unit weights
	var chi float64
	for i := range t {
		u := t[i] * scale
		chi += w[i] * sq(y[i]-x[0]-x[1]*u-x[2]*u*u)
	}
	if free := float64(len(t) - 3); free > 0 {
		v *= math.Max(1, chi/free)
	}
	return x[0], math.Sqrt(math.Max(0, v)), true
}

// review gives up frames that do not fit the frames round them when another
// candidate of the frame does, or when the network was unsure of them.
func (f *frames) review(chosen []int) {
	for i := range chosen {
		if chosen[i] < 0 {
			continue
		}
		off, ok := f.surprise(chosen, i)
		limit := func(c *candidate) float64 { return math.Max(4*math.Hypot(off.sigma, c.sigma), wildAngle) }
		c := &f.all[i][chosen[i]]
		if !ok || off.angle <= limit(c) {
			continue
		}
		was, fits := chosen[i], -1
		for k := range f.all[i] {
			chosen[i] = k
			if o, ok := f.surprise(chosen, i); ok && o.angle <= limit(&f.all[i][k]) && (fits < 0 || f.all[i][k].tip.Mass > f.all[i][fits].tip.Mass) {
				fits = k
			}
		}
		chosen[i] = fits
		if fits < 0 && c.tip.Mass > 0.9 && c.edges >= 0.5 {
			chosen[i] = was // sure of itself and seen as a strip: the neighbours may be wrong
		}
	}
}

// wildAngle is the departure, degrees, up to which a frame is never given up.
const wildAngle = 15.0

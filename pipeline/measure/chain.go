package measure

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"plantframe/pipeline/swing"
)

// The posture of a limb in space is found by importance sampling. A sample
// draws every segment's length from its estimate, its lean out of the picture
// and its direction in the picture from how well they explain the segment as
// seen; the sample's weight then puts right what was left out: that segments
// share joints, and what a hitter's body obeys.

const (
	samples   = 4000 // limbs drawn at one event
	leanSteps = 81   // leans per segment, -1..1 = sine of the lean toward the camera
	leanFloor = 1e-6 // least chance of a lean, against the likeliest
)

// timeSteps are standard normal quantiles at the middle of eight equal shares:
// the event's time uncertainty is taken into account at these.
var timeSteps = [8]float64{-1.534, -0.887, -0.489, -0.157, 0.157, 0.489, 0.887, 1.534}

// seen is one segment as it appears.
type seen struct {
	v        swing.Point // px
	apparent float64     // px, length of v
	sigma    float64     // px, noise of v per axis
	sum      [leanSteps]float64
}

// newSeen weighs leans by the apparent length of a segment of length l: lean z
// (sine) makes it m = l sqrt(1-z^2) long. All directions in space are equally
// likely beforehand, which is the same as a uniform sine and a uniform direction
// in the picture.
func newSeen(v swing.Point, noise float64, l length) *seen {
	s := &seen{v: v, apparent: v.Norm(), sigma: max(noise, 1e-3*l.mean)}
	var w [leanSteps]float64
	top := math.Inf(-1)
	for i := range w {
		k := math.Sqrt(1 - leanAt(i)*leanAt(i))
		w[i] = s.fit(l.mean*k, math.Hypot(s.sigma, l.sigma*k))
		top = max(top, w[i])
	}
	sum := 0.0
	for i := range w {
		sum += math.Exp(w[i]-top) + leanFloor
		s.sum[i] = sum
	}
	return s
}

func leanAt(i int) float64 { return -1 + 2*float64(i)/(leanSteps-1) }

// fit is the logarithm of the chance to see the segment as it is seen when it is
// m long in the picture and its direction is unknown: a normal error of both
// axes, averaged over the circle of directions.
func (s *seen) fit(m, sigma float64) float64 {
	d := (s.apparent - m) / sigma
	return -d*d/2 + logBessel(m*s.apparent/(sigma*sigma)) - 2*math.Log(sigma)
}

// logBessel returns log(I0(x) exp(-x)) for x >= 0, I0 the modified Bessel function
// of order 0 (Abramowitz and Stegun 1964, 9.8.1 and 9.8.2; error < 2e-7 relative).
func logBessel(x float64) float64 {
	if x < 3.75 {
		t := x / 3.75
		t *= t
		return math.Log(1+t*(3.5156229+t*(3.0899424+t*(1.2067492+t*(0.2659732+t*(0.0360768+t*0.0045813)))))) - x
	}
	t := 3.75 / x
	p := 0.39894228 + t*(0.01328592+t*(0.00225319+t*(-0.00157565+t*(0.00916281+
		t*(-0.02057706+t*(0.02635537+t*(-0.01647633+t*0.00392377)))))))
	return math.Log(p) - math.Log(x)/2
}

// lean draws a lean and returns the logarithm of its chance (per step).
func (s *seen) lean(r *rand.Rand) (z, logChance float64) {
	u := r.Float64() * s.sum[leanSteps-1]
	lo, hi := 0, leanSteps-1
	for lo < hi {
		if m := (lo + hi) / 2; s.sum[m] < u {
			lo = m + 1
		} else {
			hi = m
		}
	}
	c := s.sum[lo]
	if lo > 0 {
		c -= s.sum[lo-1]
	}
	return max(-1, min(1, leanAt(lo)+(r.Float64()-0.5)*2/(leanSteps-1))), math.Log(c)
}

// direction draws a unit vector around the seen direction with concentration
// kappa (von Mises), by the method of Best and Fisher (1979, Appl. Statist.
// 28:152-157).
func (s *seen) direction(r *rand.Rand, kappa float64) swing.Point {
	a := math.Atan2(s.v.Y, s.v.X)
	switch {
	case kappa < 1e-6:
		a = 2 * math.Pi * r.Float64()
	case kappa > 1e4: // a normal distribution to all purposes
		a += r.NormFloat64() / math.Sqrt(kappa)
	default:
		t := 1 + math.Sqrt(1+4*kappa*kappa)
		p := (t - math.Sqrt(2*t)) / (2 * kappa)
		q := (1 + p*p) / (2 * p)
		for {
			z := math.Cos(math.Pi * r.Float64())
			f := (1 + q*z) / (q + z)
			c := kappa * (q - f)
			u := r.Float64()
			if c*(2-c) > u || math.Log(c/u)+1 >= c {
				d := math.Acos(max(-1, min(1, f)))
				if r.Float64() < 0.5 {
					d = -d
				}
				a += d
				break
			}
		}
	}
	return swing.Point{X: math.Cos(a), Y: math.Sin(a)}
}

// limb draws chains of segments at one event.
type limb struct {
	w     *work
	rand  *rand.Rand
	parts []part
	ends  [][2]swing.Joint
	moved map[swing.Joint]swing.Joint // key taken to lie where the other is
}

// place returns where joint j is seen at time t and its noise, px.
func (l *limb) place(j swing.Joint, t float64) (p swing.Point, noise float64, ok bool) {
	k, moved := l.moved[j]
	if !moved {
		k = j
	}
	p, ok = l.w.c.at(k, t, false)
	noise = l.w.c.noise(k, t)
	if moved {
		noise = math.Hypot(noise, wristGap*l.w.c.stature)
	}
	return p, noise, ok
}

// drawn is one segment of one sample.
type drawn struct {
	v     vec     // px
	seen  float64 // px, apparent length
	flat  float64 // px, length in the picture that v implies, without perspective
	sigma float64 // px, noise of seen
}

// each calls f for all samples at event e with the segments in the order of
// l.ends, the stature in px and the logarithm of the sample's weight so far.
// Segments of the same part share one length in every sample. It returns false
// when an end point is missing.
func (l *limb) each(e swing.EventName, f func(segments []drawn, stature, logWeight float64)) bool {
	w := l.w
	ev := w.events[e]
	n := len(l.ends)
	out, miss := make([]drawn, n), make([]swing.Point, n)
	for _, q := range timeSteps {
		t := max(w.from, min(w.to, ev.Time+q*ev.Sigma))
		look, ok := l.look(t)
		if !ok {
			return false
		}
		extra := l.shared(t, look)
		for s := range samples / len(timeSteps) {
			var size [numParts]float64
			for p := range size {
				size[p] = w.lengths[p].mean + w.lengths[p].sigma*l.rand.NormFloat64()
			}
			lw := 0.0
			for i, p := range l.parts {
				k := look[i]
				z, chance := k.lean(l.rand)
				m := max(0, size[p]) * math.Sqrt(1-z*z)
				d := k.direction(l.rand, m*k.apparent/(k.sigma*k.sigma)).Scale(m)
				lw += k.fit(m, k.sigma) - chance
				miss[i] = k.v.Sub(d)
				out[i] = drawn{v: w.c.space(d, size[p]*z), seen: k.apparent, flat: m, sigma: k.sigma}
			}
			for i := range n {
				for j := range n {
					lw -= extra[i][j] * miss[i].Dot(miss[j]) / 2
				}
			}
			f(out, w.c.stature*w.d.stature[s%w.d.n], lw)
		}
	}
	return true
}

// look returns the segments as they appear at time t.
func (l *limb) look(t float64) (out []*seen, ok bool) {
	for i, ends := range l.ends {
		a, na, okA := l.place(ends[0], t)
		b, nb, okB := l.place(ends[1], t)
		if !okA || !okB {
			return nil, false
		}
		out = append(out, newSeen(b.Sub(a), math.Hypot(na, nb), l.w.lengths[l.parts[i]]))
	}
	return out, true
}

// shared returns what the errors of neighbouring segments have to do with each
// other, because they share a joint: the inverse of their covariance less the
// inverse of its diagonal, which the draws have used already.
func (l *limb) shared(t float64, look []*seen) [][]float64 {
	n := len(l.ends)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s := 0.0
			for a, p := range l.ends[i] {
				for b, q := range l.ends[j] {
					if p == q {
						_, v, _ := l.place(p, t)
						if a == b {
							s += v * v
						} else {
							s -= v * v
						}
					}
				}
			}
			if i == j {
				s = look[i].sigma * look[i].sigma * (1 + 1e-6)
			}
			cov.SetSym(i, j, s)
		}
	}
	out := make([][]float64, n)
	for i := range out {
		out[i] = make([]float64, n)
	}
	var chol mat.Cholesky
	var inv mat.SymDense
	if !chol.Factorize(cov) || chol.InverseTo(&inv) != nil {
		return out // segments count as independent
	}
	for i := range n {
		for j := range n {
			out[i][j] = inv.At(i, j)
		}
		out[i][i] -= 1 / cov.At(i, i)
	}
	return out
}

// space turns a vector of the picture and a depth toward the camera, both px,
// into the hitter's space.
func (c *canon) space(p swing.Point, toCamera float64) vec {
	if c.view == swing.Rear {
		return vec{x: -toCamera, y: p.X, z: -p.Y}
	}
	return vec{x: p.X, y: toCamera, z: -p.Y}
}

// depth returns the part of v that points to the camera.
func (c *canon) depth(v vec) float64 {
	if c.view == swing.Rear {
		return -v.x
	}
	return v.y
}

// bell is the logarithm of an unscaled normal density.
func bell(x, mean, sigma float64) float64 {
	q := (x - mean) / sigma
	return -q * q / 2
}

// nearer corrects a sample's weight for perspective: a segment at depth c
// toward the camera (px, against the middle of the body) appears larger by
// 1 + c/distance. The leans were drawn without that.
func nearer(s drawn, c, distance float64) float64 {
	return bell(s.seen, s.flat*(1+c/distance), s.sigma) - bell(s.seen, s.flat, s.sigma)
}

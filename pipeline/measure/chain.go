package measure

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"plantframe/pipeline/swing"
)

// The posture of a limb in space is a random walk over all that explain the
// picture (Metropolis et al. 1953, Hastings 1970). A step draws one or two
// segments anew: the lean out of the picture and the direction in it from how
// well they explain the segment as seen. It is taken or not by what that leaves
// out: that segments share joints, and what a hitter's body obeys.
const (
	walkSteps = 1200 // steps at each of the times below
	walkSkip  = 3    // one step in so many is kept; the ones between are alike
	walkStart = 300  // draws of which the first is chosen
)

// timeSteps are standard normal quantiles at the middle of eight equal shares:
// the event's time uncertainty is taken into account at these.
var timeSteps = [8]float64{-1.534, -0.887, -0.489, -0.157, 0.157, 0.489, 0.887, 1.534}

// way is one reading of the picture: as it is seen, or with a joint taken to
// lie where another one is seen.
type way struct {
	moved map[swing.Joint]swing.Joint
	log   float64 // logarithm of its chance beforehand
}

// reading is a way at one time.
type reading struct {
	look  []*seen
	extra [][]float64
	log   float64
}

// limb is a set of segments that hang together, at one event.
type limb struct {
	w     *work
	rand  *rand.Rand
	parts []part
	ends  [][2]swing.Joint
	ways  []way
	// weigh returns the logarithm of the chance of a posture by what a body
	// obeys; stature is in px.
	weigh func(s []drawn, stature float64) float64
}

// drawn is one segment of one sample.
type drawn struct {
	v     vec         // px
	miss  swing.Point // px, as seen less v in the picture
	seen  float64     // px, apparent length
	flat  float64     // px, length in the picture that v implies, without perspective
	sigma float64     // px, noise of seen per axis
}

// state is where the walk stands.
type state struct {
	way      int
	size     [numParts]int
	segments []drawn
	stature  float64 // px
	log      float64
}

// each calls f for all samples at event e with the segments in the order of
// l.ends. It returns false when an end point is missing.
func (l *limb) each(e swing.EventName, f func(segments []drawn)) bool {
	ev := l.w.events[e]
	for _, q := range timeSteps {
		t := max(l.w.from, min(l.w.to, ev.Time+q*ev.Sigma))
		var readings []*reading
		for _, y := range l.ways {
			r, ok := l.read(t, y)
			if !ok {
				return false
			}
			readings = append(readings, r)
		}
		now := l.start(readings)
		next := state{segments: make([]drawn, len(l.ends))}
		for step := range walkSteps {
			l.step(&now, &next, readings)
			if step%walkSkip == walkSkip-1 {
				f(now.segments)
			}
		}
	}
	return true
}

// start chooses one of walkStart independent draws by their weights.
func (l *limb) start(readings []*reading) state {
	var best state
	total := math.Inf(-1)
	for range walkStart {
		s := state{segments: make([]drawn, len(l.ends)), way: l.rand.IntN(len(readings))}
		s.stature = l.anyStature()
		for p := range s.size {
			s.size[p] = l.rand.IntN(sizeSteps)
		}
		for i := range s.segments {
			l.redraw(&s, readings, i)
		}
		s.log = l.chance(&s, readings)
		// Kept with its share of all weight so far.
		top := max(total, s.log)
		total = top + math.Log(math.Exp(total-top)+math.Exp(s.log-top))
		if best.segments == nil || math.Log(l.rand.Float64()) < s.log-total {
			best = s
		}
	}
	return best
}

// step proposes a change of now in next and takes it or not.
func (l *limb) step(now, next *state, readings []*reading) {
	n := len(now.segments)
	copy(next.segments, now.segments)
	next.way, next.size, next.stature = now.way, now.size, now.stature
	switch u := l.rand.Float64(); {
	case u < 0.55:
		l.redraw(next, readings, l.rand.IntN(n))
	case u < 0.80:
		l.redraw(next, readings, l.rand.IntN(n))
		l.redraw(next, readings, l.rand.IntN(n))
	case u < 0.92:
		p := l.parts[l.rand.IntN(n)]
		next.size[p] = l.rand.IntN(sizeSteps)
		for i := range n {
			if l.parts[i] == p {
				l.redraw(next, readings, i)
			}
		}
	case u < 0.96 || len(readings) == 1:
		next.stature = l.anyStature()
	default:
		next.way = l.rand.IntN(len(readings))
		for i := range n {
			if a, b := readings[now.way].look[i], readings[next.way].look[i]; a.v != b.v || a.sigma != b.sigma {
				l.redraw(next, readings, i)
			}
		}
	}
	next.log = l.chance(next, readings)
	if next.log >= now.log || math.Log(l.rand.Float64()) < next.log-now.log {
		*now, *next = *next, *now
	}
}

// anyStature draws a standing height, px.
func (l *limb) anyStature() float64 {
	return l.w.c.stature * l.w.d.stature[l.rand.IntN(l.w.d.n)]
}

// redraw draws segment i of s from how it is seen.
func (l *limb) redraw(s *state, readings []*reading, i int) {
	k := readings[s.way].look[i]
	of := &k.of[s.size[l.parts[i]]]
	z := of.draw(l.rand)
	m := of.size * math.Sqrt(1-z*z)
	d := k.direction(l.rand, m*k.apparent/(k.sigma*k.sigma)).Scale(m)
	s.segments[i] = drawn{v: l.w.c.space(d, of.size*z), miss: k.v.Sub(d), seen: k.apparent, flat: m, sigma: k.sigma}
}

// chance returns the logarithm of the chance of s against what its segments
// are drawn from.
func (l *limb) chance(s *state, readings []*reading) float64 {
	r := readings[s.way]
	lw := r.log
	for i, p := range l.parts {
		lw += r.look[i].of[s.size[p]].logMass
		for j := range l.parts {
			lw -= r.extra[i][j] * s.segments[i].miss.Dot(s.segments[j].miss) / 2
		}
	}
	return lw + l.weigh(s.segments, s.stature)
}

// read returns the segments as they appear at time t.
func (l *limb) read(t float64, y way) (*reading, bool) {
	r := &reading{log: y.log}
	noise := map[swing.Joint]float64{}
	place := func(j swing.Joint) (swing.Point, bool) {
		k, moved := y.moved[j]
		if !moved {
			k = j
		}
		p, ok := l.w.c.at(k, t, false)
		noise[j] = l.w.c.noise(k, t)
		if moved {
			noise[j] = math.Hypot(noise[j], wristGap*l.w.c.stature)
		}
		return p, ok
	}
	for i, ends := range l.ends {
		a, okA := place(ends[0])
		b, okB := place(ends[1])
		if !okA || !okB {
			return nil, false
		}
		r.look = append(r.look, newSeen(b.Sub(a), math.Hypot(noise[ends[0]], noise[ends[1]]), l.w.lengths[l.parts[i]]))
	}
	var logDet float64
	r.extra, logDet = l.shared(noise, r.look)
	r.log -= logDet // of both axes: twice half of it
	return r, true
}

// shared returns what the errors of neighbouring segments have to do with each
// other, because they share a joint: the inverse of their covariance (one axis)
// less the inverse of its diagonal, which the draws have used already; and the
// logarithm of the covariance's determinant.
func (l *limb) shared(noise map[swing.Joint]float64, look []*seen) (extra [][]float64, logDet float64) {
	n := len(l.ends)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s := 0.0
			for a, p := range l.ends[i] {
				for b, q := range l.ends[j] {
					if v := noise[p] * noise[p]; p == q && a == b {
						s += v
					} else if p == q {
						s -= v
					}
				}
			}
			if i == j {
				s = look[i].sigma * look[i].sigma * (1 + 1e-6)
			}
			cov.SetSym(i, j, s)
		}
	}
	extra = make([][]float64, n)
	for i := range extra {
		extra[i] = make([]float64, n)
	}
	var chol mat.Cholesky
	var inv mat.SymDense
	if !chol.Factorize(cov) || chol.InverseTo(&inv) != nil {
		return extra, 0 // segments count as independent
	}
	for i := range n {
		for j := range n {
			extra[i][j] = inv.At(i, j)
		}
		extra[i][i] -= 1 / cov.At(i, i)
	}
	return extra, chol.LogDet()
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

package measure

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

// The posture of a limb in space is sampled: for every segment a lean out of
// the picture is drawn in proportion to how well it explains the segment's
// apparent length, then whole limbs are weighted by what a hitter's body obeys.

const (
	samples   = 4000 // limbs drawn at one event
	leanSteps = 81   // leans per segment, -1..1 = sine of the lean toward the camera
)

// timeSteps are standard normal quantiles at the middle of eight equal shares:
// the event's time uncertainty is taken into account at these.
var timeSteps = [8]float64{-1.534, -0.887, -0.489, -0.157, 0.157, 0.489, 0.887, 1.534}

// leans is the chance of each lean of one segment.
type leans struct {
	apparent, sigma float64 // px
	sum             [leanSteps]float64
}

// newLeans weighs leans by the apparent length of the segment: lean z (sine)
// makes a segment of length l appear l sqrt(1-z^2) long. All directions in space
// are equally likely beforehand, which is the same as a uniform sine.
func newLeans(apparent, noise float64, l length) *leans {
	t := &leans{apparent: apparent, sigma: max(noise, 1e-3*l.mean)}
	sum := 0.0
	for i := range leanSteps {
		k := math.Sqrt(1 - leanAt(i)*leanAt(i))
		s := math.Hypot(t.sigma, l.sigma*k)
		e := (apparent - l.mean*k) / s
		sum += math.Exp(-e*e/2) + 1e-12
		t.sum[i] = sum
	}
	return t
}

func leanAt(i int) float64 { return -1 + 2*float64(i)/(leanSteps-1) }

// draw returns one lean.
func (t *leans) draw(r *rand.Rand) float64 {
	u := r.Float64() * t.sum[leanSteps-1]
	lo, hi := 0, leanSteps-1
	for lo < hi {
		if m := (lo + hi) / 2; t.sum[m] < u {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return max(-1, min(1, leanAt(lo)+(r.Float64()-0.5)*2/(leanSteps-1)))
}

// limb draws chains of segments at one event.
type limb struct {
	w     *work
	rand  *rand.Rand
	parts []part
	ends  [][2]swing.Joint
}

// drawn is one segment of one sample.
type drawn struct {
	v        vec     // px
	apparent float64 // px, as seen
	flat     float64 // px, length in the picture that v implies, without perspective
	sigma    float64 // px, noise of apparent
}

// each calls f for all samples at event e with the segments in the order of
// l.ends and the stature in px. Segments of the same part share one length in
// every sample. It returns false when an end point is missing.
func (l *limb) each(e swing.EventName, f func(segments []drawn, stature float64)) bool {
	w := l.w
	ev := w.events[e]
	out := make([]drawn, len(l.ends))
	for _, q := range timeSteps {
		t := max(w.from, min(w.to, ev.Time+q*ev.Sigma))
		var place, noise [swing.NumPoints]swing.Point
		tables := make([]*leans, len(l.ends))
		for i, ends := range l.ends {
			for _, j := range ends {
				p, ok := w.c.at(j, t, false)
				if !ok {
					return false
				}
				place[j], noise[j] = p, swing.Point{X: w.c.noise(j, t)}
			}
			d := place[ends[1]].Sub(place[ends[0]]).Norm()
			tables[i] = newLeans(d, math.Hypot(noise[ends[0]].X, noise[ends[1]].X), w.lengths[l.parts[i]])
		}
		for s := range samples / len(timeSteps) {
			d := s % w.d.n
			var size [numParts]float64
			for p := range size {
				size[p] = w.lengths[p].mean + w.lengths[p].sigma*l.rand.NormFloat64()
			}
			for i, ends := range l.ends {
				a, b := place[ends[0]], place[ends[1]]
				a = a.Add(w.d.at(d, ends[0], t).Scale(noise[ends[0]].X))
				b = b.Add(w.d.at(d, ends[1], t).Scale(noise[ends[1]].X))
				dir := b.Sub(a)
				if n := dir.Norm(); n > 0 {
					dir = dir.Scale(1 / n)
				}
				z := tables[i].draw(l.rand)
				flat := size[l.parts[i]] * math.Sqrt(1-z*z)
				out[i] = drawn{
					v:        w.c.space(dir.Scale(flat), size[l.parts[i]]*z),
					apparent: tables[i].apparent, flat: flat, sigma: tables[i].sigma,
				}
			}
			f(out, w.c.stature*w.d.stature[d])
		}
	}
	return true
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
	k := s.flat * (1 + c/distance)
	return bell(s.apparent, k, s.sigma) - bell(s.apparent, s.flat, s.sigma)
}

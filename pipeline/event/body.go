package event

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// body is a track in the steady picture, lengths in stature, x to the right
// and y down. Missing points are NaN.
type body struct {
	times           []float64
	frames          []int   // Frame.Index of each time
	dt              float64 // median frame spacing, s
	slow, fast, raw [swing.NumPoints][]swing.Point
	score           [swing.NumPoints][]float64
	hands           []swing.Point // middle of both hands, fast
	apart           []float64     // distance of the hands
	hips, shoulders []swing.Point // middles, slow
	handsX, handsY  []float64     // hands relative to the hips, gaps bridged
	handSpeed       []float64     // of the hands relative to the hips, stature/s
	mass            []swing.Point // centre of mass, slow
	lead, rear      swing.Side    // set once the batting side is known
	forward         float64       // +1 when the pitcher is to the right of the picture (open-side)
	bats            swing.Bats
	view            swing.View
	levelTol        float64  // Options.Level
	stillSpeed      float64  // Options.Speed
	bat             *batView // nil when the bat was not seen
	cracks          []swing.Crack
}

// step is the time between frames around t, s: in slow motion it changes within
// a clip.
func (b *body) step(t float64) float64 {
	const around = 3
	i := signal.Nearest(b.times, t)
	return signal.Spacing(b.times[max(0, i-around):min(len(b.times), i+around+1)])
}

func newBody(t *swing.Track, o Options) *body {
	n := t.Len()
	b := &body{times: t.Times, dt: signal.Spacing(t.Times), frames: t.Frames, levelTol: o.Level, stillSpeed: o.Speed}
	unit := t.Stature
	conv := func(src [][swing.NumPoints]swing.TrackPoint, dst *[swing.NumPoints][]swing.Point) {
		for j := range swing.NumPoints {
			dst[j] = make([]swing.Point, n)
			for i := range n {
				p := src[i][j]
				if p.State == swing.Missing {
					dst[j][i] = swing.Point{X: math.NaN(), Y: math.NaN()}
					continue
				}
				q := p.Point()
				if t.CameraMoves && i < len(t.Steady) {
					q = t.Steady[i].Apply(q)
				}
				dst[j][i] = q.Scale(1 / unit)
			}
		}
	}
	conv(t.Points, &b.slow)
	conv(t.Fast, &b.fast)
	for j := range swing.NumPoints {
		b.score[j] = make([]float64, n)
		for i := range n {
			b.score[j][i] = t.Raw[i][j].Score
		}
	}
	conv(t.Raw, &b.raw)
	b.hips = mids(b.slow[swing.LeftHip], b.slow[swing.RightHip])
	b.shoulders = mids(b.slow[swing.LeftShoulder], b.slow[swing.RightShoulder])
	left := orElse(b.raw[swing.LeftHand], b.raw[swing.LeftWrist])
	right := orElse(b.raw[swing.RightHand], b.raw[swing.RightWrist])
	b.hands = make([]swing.Point, n)
	b.apart = make([]float64, n)
	rel := make([]swing.Point, n)
	for i := range n {
		wl, wr := trust(t.Raw[i], swing.LeftHand, swing.LeftWrist), trust(t.Raw[i], swing.RightHand, swing.RightWrist)
		b.apart[i] = left[i].Sub(right[i]).Norm()
		switch {
		case missing(left[i]):
			b.hands[i] = right[i]
		case missing(right[i]):
			b.hands[i] = left[i]
		default:
			b.hands[i] = left[i].Scale(wl / (wl + wr)).Add(right[i].Scale(wr / (wl + wr)))
		}
		rel[i] = b.hands[i].Sub(b.hips[i])
	}
	b.handsX, b.handsY = bridged(b.times, rel)
	b.handsX, b.handsY = signal.Smooth(b.times, b.handsX, handCutoff), signal.Smooth(b.times, b.handsY, handCutoff)
	b.handSpeed = speed(b.times, b.handsX, b.handsY)
	b.mass = b.massCentre()
	return b
}

// handCutoff is the low-pass of the hands' path, Hz; see track.Options.
const handCutoff = 12

// trust is the weight of a hand in the middle of both. Networks lose one hand
// behind the other or in blur and say so by a score near 0; the other is then
// the better answer for both, because they hold one bat.
func trust(p [swing.NumPoints]swing.TrackPoint, hand, wrist swing.Joint) float64 {
	s := p[hand].Score
	if p[hand].State == swing.Missing {
		s = p[wrist].Score
	}
	return max(s*s, 1e-4)
}

// mids returns the middle of two points per frame; the one that is there when
// the other is missing.
func mids(p, q []swing.Point) []swing.Point {
	out := make([]swing.Point, len(p))
	for i := range p {
		switch {
		case missing(p[i]):
			out[i] = q[i]
		case missing(q[i]):
			out[i] = p[i]
		default:
			out[i] = p[i].Mid(q[i])
		}
	}
	return out
}

func orElse(p, q []swing.Point) []swing.Point {
	out := append([]swing.Point(nil), p...)
	for i := range out {
		if missing(out[i]) {
			out[i] = q[i]
		}
	}
	return out
}

func missing(p swing.Point) bool { return math.IsNaN(p.X) || math.IsNaN(p.Y) }

// bridged returns both coordinates with missing samples replaced along
// straight lines and held at the ends; all zero when nothing is there.
func bridged(times []float64, p []swing.Point) (xs, ys []float64) {
	var kt, kx, ky []float64
	for i, q := range p {
		if !missing(q) {
			kt, kx, ky = append(kt, times[i]), append(kx, q.X), append(ky, q.Y)
		}
	}
	xs, ys = make([]float64, len(p)), make([]float64, len(p))
	for i, t := range times {
		xs[i], ys[i] = signal.At(kt, kx, t), signal.At(kt, ky, t)
	}
	return xs, ys
}

// speed returns the speed of a path, per second.
func speed(times, xs, ys []float64) []float64 {
	vx, vy := signal.Derivative(times, xs), signal.Derivative(times, ys)
	out := make([]float64, len(times))
	for i := range out {
		out[i] = math.Hypot(vx[i], vy[i])
	}
	return out
}

func speedOf(times []float64, p []swing.Point) []float64 {
	xs, ys := bridged(times, p)
	return speed(times, xs, ys)
}

// limb is one part of a limb: its ends, its share of the mass and the place of
// its centre from the first end.
type limb struct {
	a, b         swing.Joint
	mass, centre float64
}

// limbs returns the parts of arms and legs of table t. The head is put between
// the ears, hands at the wrists, feet at the ankles, whose points a network gives
// best; the error is well under a hundredth of stature and nearly constant over a
// swing.
func limbs(t swing.BodyTable) []limb {
	var out []limb
	for _, s := range []swing.Side{swing.Right.Lead(), swing.Right.Rear()} {
		out = append(
			out,
			limb{s.Shoulder, s.Elbow, t.UpperArm.Mass, t.UpperArm.Centre},
			limb{s.Elbow, s.Wrist, t.Forearm.Mass, t.Forearm.Centre},
			limb{s.Wrist, s.Wrist, t.Hand.Mass, 0},
			limb{s.Hip, s.Knee, t.Thigh.Mass, t.Thigh.Centre},
			limb{s.Knee, s.Ankle, t.Shank.Mass, t.Shank.Centre},
			limb{s.Ankle, s.Ankle, t.Foot.Mass, 0},
		)
	}
	return out
}

// massCentre returns the centre of mass per frame by the segments of men of de
// Leva (1996); segments that are not seen are left out, and the centre is missing
// without a trunk.
func (b *body) massCentre() []swing.Point {
	out := make([]swing.Point, len(b.times))
	ears := mids(b.slow[swing.LeftEar], b.slow[swing.RightEar])
	ears = orElse(ears, b.slow[swing.Nose])
	table := swing.DeLevaMale()
	segs := limbs(table)
	for i := range out {
		if missing(b.hips[i]) || missing(b.shoulders[i]) {
			out[i] = swing.Point{X: math.NaN(), Y: math.NaN()}
			continue
		}
		trunk := b.shoulders[i].Add(b.hips[i].Sub(b.shoulders[i]).Scale(table.Trunk.Centre))
		sum, m := trunk.Scale(table.Trunk.Mass), table.Trunk.Mass
		if !missing(ears[i]) {
			sum, m = sum.Add(ears[i].Scale(table.Head.Mass)), m+table.Head.Mass
		}
		for _, s := range segs {
			p, q := b.slow[s.a][i], b.slow[s.b][i]
			if missing(p) || missing(q) {
				continue
			}
			c := p.Add(q.Sub(p).Scale(s.centre))
			sum, m = sum.Add(c.Scale(s.mass)), m+s.mass
		}
		out[i] = sum.Scale(1 / m)
	}
	return out
}

// span returns the frames [from, to) whose times lie in [t0, t1].
func (b *body) span(t0, t1 float64) (from, to int) {
	for from < len(b.times) && b.times[from] < t0 {
		from++
	}
	to = from
	for to < len(b.times) && b.times[to] <= t1 {
		to++
	}
	return from, to
}

// medianOf returns the median of f over the frames of [t0, t1] where f gives a
// number; NaN when there is none.
func (b *body) medianOf(t0, t1 float64, f func(i int) float64) float64 {
	from, to := b.span(t0, t1)
	var v []float64
	for i := from; i < to; i++ {
		if x := f(i); !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	return signal.Median(v)
}

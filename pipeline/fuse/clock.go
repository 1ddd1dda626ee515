package fuse

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// clock is how the clocks of two views meet: rear time = open time + offset.
type clock struct {
	offset, sigma float64 // s
	scale         float64 // of heights, rear over open
	alike         float64 // share of the motion of heights that both have in common
}

// common are the events that two views are set by. Stance and load are not among
// them: when a hitter who waits begins to move is a matter of taste.
var common = []swing.EventName{swing.Lift, swing.Touch, swing.Plant, swing.SwingStart, swing.Contact}

// leastSigma is what an event's sigma is taken for at least, s: a tenth of a frame of
// the slowest clips.
const leastSigma = 0.003

// byEvents sets the clocks by the events that both views have. distance is the
// largest difference left between two events, in their standard deviations, and
// worst that event.
func byEvents(open, rear *swing.Swing) (c clock, distance float64, worst swing.EventName, n int) {
	type pair struct {
		name     swing.EventName
		d, sigma float64
	}
	var all []pair
	sw, sd := 0.0, 0.0
	for _, name := range common {
		a, okA := open.Events[name]
		b, okB := rear.Events[name]
		if !okA || !okB {
			continue
		}
		s := math.Hypot(max(a.Sigma, leastSigma), max(b.Sigma, leastSigma))
		all = append(all, pair{name, b.Time - a.Time, s})
		sw, sd = sw+1/(s*s), sd+(b.Time-a.Time)/(s*s)
	}
	if len(all) == 0 {
		return c, 0, "", 0
	}
	c.offset, c.sigma = sd/sw, 1/math.Sqrt(sw)
	for _, p := range all {
		// The difference to the mean has the sigma of both.
		if d := math.Abs(p.d-c.offset) / math.Hypot(p.sigma, c.sigma); d > distance {
			distance, worst = d, p.name
		}
	}
	return c, distance, worst, len(all)
}

// Search for the offset.
const (
	clockStep = 1.0 / 240 // s between the instants that are compared
	tryStep   = 0.004     // s between offsets, refined after
	tryReach  = 0.12      // s, at least, to both sides of what the events say
	// Points of one network err alike for some 0.1 s: one such stretch of one
	// point counts as one measurement.
	alikeTime = 0.1
	// tiltPrior bounds what of the motion in depth a height can take over: the
	// sine of a camera's tilt and roll, one sigma.
	tiltPrior = 0.25
	// scalePrior is the relative error of the ratio of the statures in px.
	scalePrior = 0.1
	// samePrior is how much the scale of one point may differ from that of the
	// others: nearness to a camera, a third of a stature in three or more.
	samePrior = 0.05
)

// heightPoints are the points whose heights are compared.
var heightPoints = []int{head, shoulders, shoulders + 1, elbows, elbows + 1, wrists, wrists + 1, knees, knees + 1, ankles, ankles + 1, heels, heels + 1, toes, toes + 1}

// byHeights refines the offset: the heights of a point in both views between from
// and to, open time, must meet on the (affine) epipolar lines of two about level
// cameras: y' = b y + c x + d x' + e (Shapiro, Zisserman and Brady 1995, Int. J.
// Computer Vision 16:147-182). How well a point is seen is not known beforehand, so
// each has a noise of its own and the likelihood is taken at its best noise: points
// that fit at no offset count little.
func byHeights(open, rear *view, start clock, from, to float64) (clock, bool) {
	reach := max(tryReach, 4*start.sigma)
	n := int(2*reach/tryStep) + 1
	cost := make([]float64, n)
	best := -1
	var at epipolar
	for i := range cost {
		e := matchHeights(open, rear, start.offset-reach+float64(i)*tryStep, from, to)
		cost[i] = e.cost
		if e.points >= leastPoints && (best < 0 || e.cost < cost[best]) {
			best, at = i, e
		}
	}
	c := clock{offset: start.offset, sigma: start.sigma, alike: at.alike, scale: at.scale}
	if best <= 0 || best >= n-1 {
		return c, false // the best lies at the edge: there is none
	}
	// A parabola through the lowest and those a frame to both sides.
	const side = 3
	l, r := max(0, best-side), min(n-1, best+side)
	k := min(best-l, r-best)
	a, b, d := cost[best-k], cost[best], cost[best+k]
	step := float64(k) * tryStep
	curve := (a - 2*b + d) / (step * step)
	if !(curve > 0) {
		return c, false
	}
	c.offset = start.offset - reach + float64(best)*tryStep + 0.5*(a-d)/(a-2*b+d)*step
	c.sigma = 1 / math.Sqrt(curve)
	return c, true
}

// epipolar is the fit of heights at one offset.
type epipolar struct {
	cost   float64 // negative logarithm of the likelihood
	alike  float64 // share of the motion of the better half of the points in common
	scale  float64 // heights in the rear view over those in the open one, statures
	points int
}

// leastPoints are needed, that all move.
const leastPoints = 6

// matchHeights fits the heights of the rear view by those of the open one.
func matchHeights(open, rear *view, offset, from, to float64) epipolar {
	var out epipolar
	var alike, scales []float64
	for _, k := range heightPoints {
		left, all, b, ok := matchPoint(&open.curve[k], &rear.curve[k], open.size, rear.size, offset, from, to, 1, scalePrior)
		if !ok {
			continue
		}
		out.points++
		independent := max(2, (to-from)/alikeTime)
		out.cost += independent / 2 * math.Log(left+leastHeight*leastHeight)
		alike, scales = append(alike, 1-left/all), append(scales, b)
	}
	if out.points > 0 {
		out.alike, out.scale = signal.Median(alike), signal.Median(scales)
	}
	return out
}

// leastHeight is an error that every height has, statures: perspective, and that
// two networks' looks at a joint differ with its posture.
const leastHeight = 0.005

// matchPoint returns the mean square of what is left of a point's height in the rear
// view, and of its motion, statures squared, and the scale b that was found about the
// one expected.
func matchPoint(p, q *pointCurve, sizeP, sizeQ, offset, from, to, expect, sigma float64) (left, all, b float64, ok bool) {
	var rows [][4]float64
	var mean [4]float64
	for t := from; t <= to; t += clockStep {
		a, okA := p.at(t)
		b, okB := q.at(t + offset)
		if !okA || !okB {
			continue
		}
		r := [4]float64{b.Y / sizeQ, a.Y / sizeP, a.X / sizeP, b.X / sizeQ}
		rows = append(rows, r)
		for i := range r {
			mean[i] += r[i]
		}
	}
	n := float64(len(rows))
	if n*clockStep < 0.5*(to-from) {
		return 0, 0, 0, false
	}
	var ata [9]float64
	var atb [3]float64
	for i := range rows {
		for j := range mean {
			rows[i][j] -= mean[j] / n
		}
		r := &rows[i]
		r[0] -= expect * r[1]
		all += (r[0] + expect*r[1]) * (r[0] + expect*r[1]) / n
		for j := range 3 {
			for k := range 3 {
				ata[3*j+k] += r[j+1] * r[k+1] / n
			}
			atb[j] += r[j+1] * r[0] / n
		}
	}
	// What the regressors may take over, as against an error of one hundredth of
	// the stature in each independent measurement.
	for i, s := range [3]float64{sigma, tiltPrior, tiltPrior} {
		ata[4*i] += 1e-4 / (s * s) / max(2, (to-from)/alikeTime)
	}
	var x mat.VecDense
	if err := x.SolveVec(mat.NewDense(3, 3, ata[:]), mat.NewVecDense(3, atb[:])); err != nil {
		return 0, 0, 0, false
	}
	for _, r := range rows {
		d := r[0] - x.AtVec(0)*r[1] - x.AtVec(1)*r[2] - x.AtVec(2)*r[3]
		left += d * d / n
	}
	return left, all, expect + x.AtVec(0), all > 0
}

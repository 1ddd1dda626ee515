package fuse

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Angles of a course, radians.
const (
	shoulderTurn = iota
	hipTurn
	separation
	leadElbow
	rearElbow
	leadKnee
	rearKnee
	numAngles
)

// course is what one solution says over time.
type course struct {
	angles [numAngles]*signal.Curve
	// reach is the barrel's horizontal distance from the axis, statures; nil
	// where both views do not show the bat.
	reach    *signal.Curve
	bat      [][2]*vec // knob, tip, one per instant
	batTimes []float64
}

// read computes the course of a solution.
func (b *bundle) read(s *state, d *noise) course {
	n := len(b.times)
	var a [numAngles][]float64
	for k := range a {
		a[k] = make([]float64, n)
	}
	for i := range n {
		p := &s.body[i]
		sh, hip := turnOf(p[shoulders].sub(p[shoulders+1])), turnOf(p[hips].sub(p[hips+1]))
		if i > 0 { // no jump by a whole turn
			sh, hip = a[shoulderTurn][i-1]+around(sh-a[shoulderTurn][i-1]), a[hipTurn][i-1]+around(hip-a[hipTurn][i-1])
		}
		a[shoulderTurn][i], a[hipTurn][i] = sh, hip
		a[separation][i] = around(sh - hip)
		for side := range 2 {
			a[leadElbow+side][i] = bend(p[shoulders+side], p[elbows+side], p[wrists+side])
			a[leadKnee+side][i] = bend(p[hips+side], p[knees+side], p[ankles+side])
		}
	}
	var c course
	for k := range a {
		c.angles[k] = signal.NewCurve(b.times, a[k])
	}
	c.bat = b.bats(s, d)
	var at, far []float64
	for i, p := range c.bat {
		if p[0] == nil {
			continue
		}
		w := p[0].add(p[1].sub(*p[0]).mul(sweetSpot)).sub(centre(&s.body[i]))
		at, far = append(at, b.times[i]), append(far, math.Hypot(w[0], w[1]))
	}
	if len(at) > 1 {
		c.reach, c.batTimes = signal.NewCurve(at, far), at
	}
	return c
}

// sweetSpot is its place on the bat from the knob: 15 cm from the end of one of 84 cm
// (as in package measure; common practice, no source).
const sweetSpot = 1 - 0.15/0.84

// centre returns the body's centre of mass, by de Leva's segments of both sexes.
func centre(p *[numPoints]vec) vec {
	m, f := swing.DeLevaMale(), swing.DeLevaFemale()
	var sum vec
	total := 0.0
	put := func(a, b swing.Segment, from, to vec) {
		mass, at := a.Mass+b.Mass, (a.Centre+b.Centre)/2
		sum, total = sum.add(from.add(to.sub(from).mul(at)).mul(mass)), total+mass
	}
	put(m.Head, f.Head, p[head], p[head])
	put(m.Trunk, f.Trunk, p[shoulders].mid(p[shoulders+1]), p[hips].mid(p[hips+1]))
	for s := range 2 {
		put(m.UpperArm, f.UpperArm, p[shoulders+s], p[elbows+s])
		put(m.Forearm, f.Forearm, p[elbows+s], p[wrists+s])
		put(m.Hand, f.Hand, p[wrists+s], p[wrists+s])
		put(m.Thigh, f.Thigh, p[hips+s], p[knees+s])
		put(m.Shank, f.Shank, p[knees+s], p[ankles+s])
		put(m.Foot, f.Foot, p[heels+s], p[toes+s])
	}
	return sum.mul(1 / total)
}

// usualBat is a bat's length, statures (as in package measure).
var usualBat = length{0.48, 0.035}

// mostApart is how far the two lines of sight of one bat's tip may pass each other before
// plant, statures: two sights of some centimetres' error each.
const mostApart = 0.04

// batApart returns the median distance of the two lines of sight of the tip until a
// time; false when too few instants have both.
func (b *bundle) batApart(s *state, until float64) (float64, bool) {
	var eyes [2]eye
	for v, w := range b.views {
		eyes[v] = s.cameras[v].eye(w.width, w.height)
	}
	var all []float64
	for _, t := range b.times {
		var from, way [2]vec
		both := t <= until
		for v, w := range b.views {
			at := t
			if v == rearView {
				at += s.offset
			}
			p, ok := w.bat[1].at(at)
			both = both && ok
			from[v], way[v] = eyes[v].ray(p.X, p.Y)
		}
		if !both {
			continue
		}
		if _, gap := nearest(from, way); !math.IsInf(gap, 0) {
			all = append(all, gap)
		}
	}
	return signal.Median(all), len(all) >= 5
}

// bats puts the bat into space at every instant at which both views see it: where the
// lines of sight of its ends come nearest, and then as long as a bat is.
func (b *bundle) bats(s *state, d *noise) [][2]*vec {
	out := make([][2]*vec, len(b.times))
	var eyes [2]eye
	for v, w := range b.views {
		eyes[v] = s.cameras[v].eye(w.width, w.height)
	}
	for i, t := range b.times {
		var ends [2]vec
		both := true
		for k := range 2 {
			var from, way [2]vec
			for v, w := range b.views {
				at := t
				if v == rearView {
					at += s.offset
				}
				p, ok := w.bat[k].at(at)
				both = both && ok
				if d != nil {
					p.X, p.Y = p.X+d.bat[v][k], p.Y+d.bat[v][k]
				}
				from[v], way[v] = eyes[v].ray(p.X, p.Y)
			}
			if !both {
				break
			}
			p, gap := nearest(from, way)
			// Ends that are more than a hand apart were not the same thing.
			if both = gap < 0.06; !both {
				break
			}
			ends[k] = p
		}
		l := ends[1].sub(ends[0]).norm()
		if !both || math.Abs(l-usualBat.mean) > 4*usualBat.sigma {
			continue
		}
		out[i] = [2]*vec{&ends[0], &ends[1]}
	}
	return out
}

// nearest returns the middle of the shortest way between two lines, and its length.
func nearest(from, way [2]vec) (vec, float64) {
	a, b := way[0].mul(1/way[0].norm()), way[1].mul(1/way[1].norm())
	w := from[0].sub(from[1])
	k := a.dot(b)
	den := 1 - k*k
	if den < 0.05 {
		return vec{}, math.Inf(1)
	}
	s, t := (k*b.dot(w)-a.dot(w))/den, (b.dot(w)-k*a.dot(w))/den
	p, q := from[0].add(a.mul(s)), from[1].add(b.mul(t))
	return p.mid(q), p.sub(q).norm()
}

// near reports whether the bat was put into space next to a time.
func (c *course) near(t float64) bool {
	i := signal.Nearest(c.batTimes, t)
	return i >= 0 && math.Abs(c.batTimes[i]-t) <= slowStep
}

// spread is the standard deviation of draws about the value they belong to.
func spread(value float64, draws []float64) float64 {
	d := make([]float64, len(draws))
	for i, v := range draws {
		d[i] = v - value
	}
	// About their own mean: a shift of all draws is the solver's, not the data's.
	return stat.StdDev(d, nil)
}

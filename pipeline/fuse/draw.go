package fuse

import (
	"math"
	"math/rand/v2"
)

// wander is a standard normal course over time: half of its variance stays, half
// changes within slowTime (cubic through even knots, Catmull and Rom 1974).
type wander struct {
	stays float64
	knots []float64
	first float64 // s, of the first knot
}

func newWander(r *rand.Rand, from, to float64) wander {
	w := wander{stays: r.NormFloat64(), first: from - (1+r.Float64())*slowTime}
	w.knots = make([]float64, int(math.Ceil((to-from)/slowTime))+5)
	for i := range w.knots {
		w.knots[i] = r.NormFloat64()
	}
	return w
}

// at returns its value at time t, with what stays or without.
func (w *wander) at(t float64, whole bool) float64 {
	s := (t - w.first) / slowTime
	m := max(1, min(len(w.knots)-3, int(math.Floor(s))))
	u := max(0, min(1, s-float64(m)))
	a, b := -u*(1-u)*(1-u)/2, 1-u*u*(2.5-1.5*u)
	c, e := u*(0.5+u*(2-1.5*u)), -u*u*(1-u)/2
	v := (a*w.knots[m-1] + b*w.knots[m] + c*w.knots[m+1] + e*w.knots[m+2]) / math.Sqrt(a*a+b*b+c*c+e*e)
	v *= math.Sqrt(1 - habitShare)
	if whole {
		v += math.Sqrt(habitShare) * w.stays
	}
	return v
}

// together is the part of the variance that both ends of a line have in common:
// networks shift whole lines (as in package measure).
const together = 0.5

// disturb draws one disturbance of everything known.
func (b *bundle) disturb(r *rand.Rand) *noise {
	n := len(b.times)
	from, to := b.times[0], b.times[n-1]
	d := &noise{points: make([][2][numPoints][2]float64, n), lines: make([][2][2]float64, n)}
	for v := range b.views {
		for axis := range 2 {
			var own [numPoints]wander
			for k := range own {
				own[k] = newWander(r, from, to)
			}
			pair := [2]wander{newWander(r, from, to), newWander(r, from, to)}
			for i, t := range b.times {
				for k := range numPoints {
					o := &b.points[i][v][k]
					e := own[k].at(t, true)
					if l := k &^ 1; l == shoulders || l == hips {
						e = math.Sqrt(1-together)*e + math.Sqrt(together)*pair[min(1, l)].at(t, true)
					}
					d.points[i][v][k][axis] = o.sigma * o.far * e
				}
			}
		}
		for l := range 2 {
			// What stays of a lifted turn's error is drawn with the priors.
			w := newWander(r, from, to)
			for i, t := range b.times {
				o := &b.lines[i][v][l]
				d.lines[i][v][l] = o.sigma * o.far * w.at(t, false)
			}
		}
	}
	for k := range d.prior {
		d.prior[k] = b.prior[k].sigma * r.NormFloat64()
	}
	for v, w := range b.views {
		for k := range 2 {
			d.bat[v][k] = w.bat[k].sigma * r.NormFloat64()
		}
	}
	d.lag = networkLag * r.NormFloat64()
	d.feet, d.level = feetSigma*r.NormFloat64(), levelSigma*r.NormFloat64()
	return d
}

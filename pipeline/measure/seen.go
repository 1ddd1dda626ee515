package measure

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

// One segment of a limb: how likely each lean out of the picture is, given how
// the segment appears.
const (
	leanSteps = 81   // leans per segment, -1..1 = sine of the lean toward the camera
	leanFloor = 1e-6 // least chance of a lean, against the likeliest
	sharpest  = 0.01 // least noise of a segment, of its length: finer is not credible
	shortest  = 0.3  // least true length, of the estimate
	sizeSteps = 15   // lengths tried per part
)

// sizeAt returns the i-th of the lengths of equal chance that stand for l.
func sizeAt(l length, i int) float64 {
	q := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/sizeSteps-1)
	return max(shortest*l.mean, l.mean+q*l.sigma)
}

// seen is one segment as it appears.
type seen struct {
	v        swing.Point // px
	apparent float64     // px, length of v
	sigma    float64     // px, noise of v per axis
	of       [sizeSteps]leans
}

// leans is the chance of each lean for one true length.
type leans struct {
	size    float64 // px
	sum     [leanSteps]float64
	logMass float64 // logarithm of the chance to see the segment, all leans together
}

// newSeen weighs leans by the apparent length of a segment for each of the
// lengths that stand for l: lean z (sine) makes length s appear s sqrt(1-z^2)
// long. All directions in space are equally likely beforehand, which is the same
// as a uniform sine and a uniform direction in the picture.
func newSeen(v swing.Point, noise float64, l length) *seen {
	s := &seen{v: v, apparent: v.Norm(), sigma: max(noise, sharpest*l.mean)}
	for k := range s.of {
		t := &s.of[k]
		t.size = sizeAt(l, k)
		var w [leanSteps]float64
		top := math.Inf(-1)
		for i := range (leanSteps + 1) / 2 { // both signs look alike
			z := leanAt(i)
			w[i] = s.fit(t.size * math.Sqrt(1-z*z))
			w[leanSteps-1-i] = w[i]
			top = max(top, w[i])
		}
		sum := 0.0
		for i := range w {
			sum += math.Exp(w[i]-top) + leanFloor
			t.sum[i] = sum
		}
		t.logMass = top + math.Log(sum)
	}
	return s
}

func leanAt(i int) float64 { return -1 + 2*float64(i)/(leanSteps-1) }

// fit is the logarithm of the chance to see the segment as it is seen when it is
// m long in the picture and its direction is unknown: a normal error of both
// axes, averaged over the circle of directions.
func (s *seen) fit(m float64) float64 {
	d := (s.apparent - m) / s.sigma
	return -d*d/2 + logBessel(m*s.apparent/(s.sigma*s.sigma))
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

// draw draws one lean.
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

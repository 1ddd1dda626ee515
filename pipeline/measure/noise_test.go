package measure

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

// Displacements have unit variance at any time, keep half of it for good and
// change smoothly; left and right of a line share half.
func TestDraws(t *testing.T) {
	const n = 4000
	ev := map[swing.EventName]swing.Event{swing.Touch: {Time: 1, Sigma: 0.02}, swing.Plant: {Time: 1.01, Sigma: 0.02}}
	d := newDraws(n, 1, ev, 0, 2, 0.03)
	product := func(f func(i int) float64) float64 {
		s := 0.0
		for i := range n {
			s += f(i) / n
		}
		return s
	}
	x := func(i int, j swing.Joint, at float64) float64 { return d.at(i, j, at).X }
	for _, at := range []float64{0, 0.13, 1, 1.999} {
		near(t, "variance", product(func(i int) float64 { return x(i, lead.Knee, at) * x(i, lead.Knee, at) }), 1, 0.08)
	}
	with := func(j, k swing.Joint, a, b float64) float64 {
		return product(func(i int) float64 { return x(i, j, a) * x(i, k, b) })
	}
	near(t, "constant share", with(lead.Knee, lead.Knee, 0.2, 1.7), constantShare, 0.06)
	near(t, "next frame", with(lead.Knee, lead.Knee, 1, 1.017), 1, 0.07)
	near(t, "other point", with(lead.Knee, lead.Ankle, 1, 1), 0, 0.06)
	near(t, "hips together", with(lead.Hip, rear.Hip, 1, 1), pairShare, 0.06)
	near(t, "axes", product(func(i int) float64 { p := d.at(i, lead.Knee, 1); return p.X * p.Y }), 0, 0.06)
	for i := range n {
		if d.times[swing.Touch][i] > d.times[swing.Plant][i] {
			t.Fatal("a draw exchanges touch and plant")
		}
	}
	if a, b := newDraws(5, 2, ev, 0, 2, 0.03), newDraws(5, 2, ev, 0, 2, 0.03); a.at(3, lead.Hip, 1) != b.at(3, lead.Hip, 1) {
		t.Error("equal seeds differ")
	}
}

func TestNoiseOfHiddenPoints(t *testing.T) {
	f := defaultFilm(swing.OpenSide)
	f.score = func(_ float64, j swing.Joint) float64 {
		if j == rear.Knee || j == rear.Elbow {
			return 0.1
		}
		return 1
	}
	s := newHitter(nil).shoot(f)
	c := newCanon(s)
	near(t, "visible knee", c.noise(lead.Knee, 0.5), f.noise, 1e-12)
	near(t, "hidden knee", c.noise(rear.Knee, 0.5), 2*f.noise, 1e-12)
	near(t, "visible elbow", c.noise(lead.Elbow, 0.5), 0.75*f.noise, 1e-12)
	near(t, "hidden elbow", c.noise(rear.Elbow, 0.5), 1.6*f.noise, 1e-12)
	near(t, "hips facing the camera", c.noise(lead.Hip, 0.5), hipsFacing*f.noise, 1e-12)
	near(t, "hips at contact", c.noise(lead.Hip, 1.4), hipsTurned*f.noise, 1e-12)
	s.Track.Points[30][lead.Knee].State = swing.Filled
	near(t, "bridged knee", newCanon(s).noise(lead.Knee, 0.5), 2*f.noise, 1e-12)
}

func TestSummary(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	var s sampled
	for range 40000 {
		x := 6*r.Float64() - 3
		s.add(10+2*x, -x*x/2) // uniform draws weighted to a normal distribution
	}
	n := s.normalise()
	m, q := s.summary()
	near(t, "median", m, 10, 0.06)
	near(t, "sigma", q, 2, 0.06)
	if n < 15000 || n > 30000 {
		t.Errorf("effective number %.0f", n)
	}
	one := sampled{[]float64{4}, []float64{-900}}
	one.normalise()
	if m, q := one.summary(); m != 4 || q != 0 {
		t.Errorf("one sample: %g +- %g", m, q)
	}
}

// The stature and the lengths of made-up hitters come out within their sigma,
// although no segment is ever seen at its full length and the start value is
// wrong.
func TestSizes(t *testing.T) {
	var off []float64
	for i := range 12 {
		r := rand.New(rand.NewPCG(uint64(i), 5))
		h := newHitter(r)
		f := defaultFilm([]swing.View{swing.OpenSide, swing.Rear}[i%2])
		f.noise = 5
		f.add = func(float64, swing.Joint) swing.Point {
			return swing.Point{X: f.noise * r.NormFloat64(), Y: f.noise * r.NormFloat64()}
		}
		s := h.shoot(f)
		s.Track.Stature *= 1 + 0.06*r.NormFloat64()
		stature, parts := newCanon(s).sizes(0.3, 1.4, 2)
		for p, want := range map[part]float64{upperArm: h.upperArm, forearm: h.forearm, thigh: h.thigh, shank: h.shank, shoulders: 0.21} {
			z := (parts[p].mean - want*f.px) / parts[p].sigma
			off = append(off, math.Abs(z))
			if math.Abs(z) > 3.5 {
				t.Errorf("%d: part %d is %.1f +- %.1f px, truth %.1f", i, p, parts[p].mean, parts[p].sigma, want*f.px)
			}
		}
		if math.Abs(stature.mean-f.px) > 3*stature.sigma || stature.sigma > 0.06*f.px {
			t.Errorf("%d: stature %.0f +- %.0f px, truth %.0f", i, stature.mean, stature.sigma, f.px)
		}
	}
	slices.Sort(off)
	if m := off[len(off)/2]; m > 1.1 {
		t.Errorf("median deviation %.2f sigma", m)
	}
}

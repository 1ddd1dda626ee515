package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"plantframe/pipeline/swing"
)

// I0(x) exp(-x) from Abramowitz and Stegun (1964), table 9.8.
func TestLogBessel(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{
		{0, 1},
		{0.5, 0.6450352706},
		{1, 0.4657596077},
		{3, 0.2430003542},
		{5, 0.1835408126},
		{10, 0.1278333372},
		{20, 0.0897803119},
	} {
		near(t, "I0 exp(-x)", math.Exp(logBessel(c.x)), c.want, 1e-6)
	}
}

// The mean cosine of a von Mises direction is I1(k)/I0(k).
func TestDirection(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	s := &seen{v: swing.Point{X: 3, Y: 4}}
	for _, c := range []struct{ kappa, want float64 }{
		{0, 0},
		{1, 0.446390},
		{5, 0.893383},
		{50, 0.989949},
		{2e4, 0.999975},
	} {
		const n = 40000
		cosine, sine := 0.0, 0.0
		for range n {
			d := s.direction(r, c.kappa)
			near(t, "length", d.Norm(), 1, 1e-12)
			cosine += (d.X*3 + d.Y*4) / 5 / n
			sine += (d.Y*3 - d.X*4) / 5 / n
		}
		near(t, "mean cosine", cosine, c.want, 0.012)
		near(t, "mean sine", sine, 0, 0.012)
	}
}

// A segment of known length, seen sharply, leans by acos(apparent/true) to one
// side or the other; seen at its full length it does not lean.
func TestLeans(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct{ apparent, want float64 }{{100, 0}, {86.6, 0.5}, {60, 0.8}, {20, 0.98}} {
		s := newSeen(swing.Point{X: c.apparent}, 1, length{100, 1e-9})
		front, mean := 0, 0.0
		const n = 4000
		for range n {
			z := s.of[r.IntN(sizeSteps)].draw(r)
			if z > 0 {
				front++
			}
			mean += math.Abs(z) / n
		}
		near(t, "lean", mean, c.want, 0.13)
		if c.want > 0 {
			near(t, "lean", mean, c.want, 0.03)
		}
		near(t, "share toward the camera", float64(front)/n, 0.5, 0.05)
	}
}

// The random walk against plain importance sampling from the prior: directions
// anywhere in space, the full error of all three joints.
func TestWalkAgainstBruteForce(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	f.noise, f.sigma = 12, 1e-6
	s := h.shoot(f)
	w := newWork(s, DefaultOptions())
	for _, e := range []swing.EventName{swing.Stance, swing.Plant} {
		got, ok := w.sampleFrontKnee(e)
		if !ok {
			t.Fatal("no knee")
		}
		median, sigma := got.summary()

		r := rand.New(rand.NewPCG(9, 9))
		at := func(j swing.Joint) swing.Point { p, _ := w.c.at(j, s.Events[e].Time, false); return p }
		no := func(j swing.Joint) float64 { return w.c.noise(j, s.Events[e].Time) }
		seen1, seen2 := at(lead.Knee).Sub(at(lead.Hip)), at(lead.Ankle).Sub(at(lead.Knee))
		// Covariance of both segments on one axis, and its inverse.
		a, b := no(lead.Hip)*no(lead.Hip)+no(lead.Knee)*no(lead.Knee), no(lead.Ankle)*no(lead.Ankle)+no(lead.Knee)*no(lead.Knee)
		c := -no(lead.Knee) * no(lead.Knee)
		det := a*b - c*c
		anywhere := func(l length) vec {
			size := l.mean + l.sigma*r.NormFloat64()
			z, phi := 2*r.Float64()-1, 2*math.Pi*r.Float64()
			k := math.Sqrt(1 - z*z)
			return vec{k * math.Cos(phi), z, k * math.Sin(phi)}.scale(size)
		}
		var brute sampled
		for range 500000 {
			th, sh := anywhere(w.lengths[thigh]), anywhere(w.lengths[shank])
			r1, r2 := seen1.Sub(swing.Point{X: th.x, Y: -th.z}), seen2.Sub(swing.Point{X: sh.x, Y: -sh.z})
			lw := -(b*r1.Dot(r1) - 2*c*r1.Dot(r2) + a*r2.Dot(r2)) / det / 2
			if lw < -25 {
				continue
			}
			stature := w.c.stature * w.d.stature[r.IntN(w.d.n)]
			leg := th.add(sh)
			lw += bell(leg.y/stature, ankleAhead.mean, ankleAhead.sigma)
			off := th.sub(leg.scale(th.dot(leg) / leg.dot(leg)))
			lw += bell(math.Remainder(degrees(math.Atan2(off.x, off.y))-kneeHeading.mean, 360), 0, kneeHeading.sigma)
			brute.add(bend(th, sh), lw)
		}
		if n := brute.normalise(); n < 150 {
			t.Fatalf("only %.0f brute-force samples count", n)
		}
		wantMedian, wantSigma := brute.summary()
		t.Logf("%s: walk %.1f +- %.1f, brute force %.1f +- %.1f", e, median, sigma, wantMedian, wantSigma)
		// The walk also knows perspective, which shifts little.
		near(t, "median", median, wantMedian, 3)
		near(t, "sigma", sigma/wantSigma, 1, 0.2)
	}
}

package event

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestStopsFindsTheCorner: a height that comes down with a constant speed and
// stops, alone and under noise; and the same on time running backward.
func TestStopsFindsTheCorner(t *testing.T) {
	n := pointNoise(1)
	n.white = 0.0015 // of the samples below
	for _, speed := range []float64{0.2, 0.5, 1} {
		for _, corner := range []float64{0.200, 0.2037, 0.215} {
			sum, inside := 0.0, 0
			const runs = 40
			for seed := range uint64(runs) {
				r := rand.New(rand.NewPCG(seed, 1))
				var ts, ys []float64
				for i := range 24 {
					at := float64(i) / 60
					y := -speed * math.Max(0, corner-at)
					ts, ys = append(ts, at), append(ys, y+0.0015*r.NormFloat64())
				}
				got, sd := expect(stops(ts, []channel{{ys, n}}, airWander, 0.03, 0.36), instant)
				d := got - corner
				sum += d
				if math.Abs(d) < 2*math.Hypot(sd, 0.002) {
					inside++
				}
				back := make([]float64, len(ts))
				up := make([]float64, len(ts))
				for i := range ts {
					back[i], up[i] = -ts[len(ts)-1-i], ys[len(ys)-1-i]
				}
				// Backward the same data leave the ground at the corner: the
				// flight is in the past of running time only forward.
				if all := stops(back, []channel{{up, n}}, airWander, -0.36, -0.03); len(all) == 0 {
					t.Fatal("no instants backward")
				}
			}
			if mean := sum / runs; math.Abs(mean) > 0.010 {
				t.Errorf("speed %g corner %g: mean error %+.1f ms", speed, corner, 1e3*mean)
			}
			if inside < runs*85/100 {
				t.Errorf("speed %g corner %g: %d of %d within two sigma", speed, corner, inside, runs)
			}
		}
	}
}

// TestFilterAgainstBatch: the filter's probability of a short series equals
// that of the joint normal distribution worked out by hand for two samples.
func TestFilterAgainstBatch(t *testing.T) {
	n := noiseModel{white: 0.3, slow: 0.5, memory: 2}
	s := state{m: [3]float64{0.1, 0.4, 0}}
	s.p[0][0], s.p[1][1], s.p[2][2] = 0.2, 0.7, n.slow*n.slow
	const x0, x1, dt, q = 0.3, 1.1, 0.6, 0.9
	got := s.see(x0, n)
	s.move(dt, q, n)
	got += s.see(x1, n)

	// Joint: mean (0.1, 0.1+0.4 dt); covariance from place, speed, wander of
	// both and noise.
	r := math.Exp(-dt / n.memory)
	c00 := 0.2 + 0.25 + 0.09
	c01 := 0.2 + 0.25*r
	c11 := 0.2 + 0.7*dt*dt + q*dt*dt*dt/3 + 0.25 + 0.09
	a, b := x0-0.1, x1-0.1-0.4*dt
	det := c00*c11 - c01*c01
	want := -((c11*a*a-2*c01*a*b+c00*b*b)/det + math.Log(det)) / 2
	if math.Abs(got-want) > 1e-12 {
		t.Errorf("log probability %.12g, want %.12g", got, want)
	}
}

func TestFuse(t *testing.T) {
	e := fuse([]estimate{{1.00, 0.01, "a"}, {1.02, 0.02, "b"}})
	if math.Abs(e.t-1.004) > 1e-12 || e.method != "a" || math.Abs(e.sigma-0.01/math.Sqrt(1.25)) > 1e-12 {
		t.Errorf("%+v", e)
	}
	// Estimates that contradict each other make the result less sure.
	if e := fuse([]estimate{{1, 0.01, "a"}, {1.2, 0.01, "b"}}); e.sigma < 0.05 {
		t.Errorf("%+v", e)
	}
}

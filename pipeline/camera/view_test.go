package camera

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

func TestViewThereAndBack(t *testing.T) {
	v := firstView().turned(step{0.1, -0.2, 0.3, 0.1}).turned(step{-0.05, 0.02, 0.1, -0.2})
	for _, p := range []swing.Point{{}, {X: 0.4, Y: -0.3}, {X: -0.6, Y: 0.5}} {
		q, ok := v.project(v.direction(p))
		if !ok || q.Sub(p).Norm() > 1e-12 {
			t.Errorf("%v becomes %v %v", p, q, ok)
		}
	}
	if _, ok := v.project(vec{0, 0, -1}); ok {
		t.Error("a point behind the camera is seen")
	}
	for i := range 3 {
		for j := range 3 {
			want := 0.0
			if i == j {
				want = 1
			}
			if math.Abs(dot(v.turn[i], v.turn[j])-want) > 1e-12 {
				t.Error("the turn is no rotation")
			}
		}
	}
}

// The image motion used by the fit must be the derivative of project.
func TestMotionIsTheDerivative(t *testing.T) {
	v := firstView().turned(step{0.1, -0.2, 0.3, 0.2})
	b := vec{0.3, -0.2, 1}
	p, _ := v.project(b)
	rows := motion(p, v.zoom)
	const h = 1e-6
	for k := range 4 {
		var s step
		s[k] = h
		q, _ := v.turned(s).project(b)
		if math.Abs((q.X-p.X)/h-rows[0][k]) > 1e-5 || math.Abs((q.Y-p.Y)/h-rows[1][k]) > 1e-5 {
			t.Errorf("unknown %d: numeric %v, formula %g %g", k, q.Sub(p).Scale(1/h), rows[0][k], rows[1][k])
		}
	}
}

func TestBetween(t *testing.T) {
	a := firstView().turned(step{0.05, 0, 0.1, 0.1})
	s := step{0.02, -0.03, 0.05, -0.04}
	b := a.turned(s)
	half := a.turned(step{s[0] / 2, s[1] / 2, s[2] / 2, s[3] / 2})
	for _, c := range []struct {
		t    float64
		want view
	}{{0, a}, {1, b}, {0.5, half}} {
		got := between(a, b, c.t)
		for i := range 3 {
			for j := range 3 {
				if math.Abs(got.turn[i][j]-c.want.turn[i][j]) > 1e-9 {
					t.Fatalf("at %g: got %v, want %v", c.t, got, c.want)
				}
			}
		}
		if math.Abs(got.zoom-c.want.zoom) > 1e-12 {
			t.Errorf("at %g: zoom %g, want %g", c.t, got.zoom, c.want.zoom)
		}
	}
	if got := between(a, a, 0.7); got != a.turned(step{}) {
		t.Errorf("between equal views: %v", got)
	}
}

// Roll and zoom are similarities exactly; a turn is one nearly, over a small
// region.
func TestNearestSimilarity(t *testing.T) {
	l := newLens(640, 360, 0.8)
	at := []swing.Point{{X: 300, Y: 100}, {X: 360, Y: 100}, {X: 300, Y: 300}, {X: 360, Y: 300}}
	rolled := firstView().turned(step{0, 0, 0.1, 0.05})
	s := rolled.toFirst(l, at)
	for _, p := range []swing.Point{{}, {X: 640, Y: 360}, {X: 320, Y: 180}} {
		q, _ := firstView().project(rolled.direction(l.plane(p)))
		if e := s.Apply(p).Sub(l.px(q)).Norm(); e > 1e-9 {
			t.Errorf("roll: %g px off at %v", e, p)
		}
	}
	turned := firstView().turned(step{0.05, 0.08, 0, 0})
	s = turned.toFirst(l, at)
	for _, p := range at {
		q, _ := firstView().project(turned.direction(l.plane(p)))
		if e := s.Apply(p).Sub(l.px(q)).Norm(); e > 1.2 {
			t.Errorf("turn: %.2f px off at %v", e, p)
		}
	}
	if s := nearestSimilarity(at[:1], at[:1]); s != swing.IdentitySimilarity() {
		t.Errorf("one point gives %v", s)
	}
	if s := nearestSimilarity([]swing.Point{at[0], at[0]}, at[:2]); s != swing.IdentitySimilarity() {
		t.Errorf("two equal points give %v", s)
	}
}

// The stated error must be the error: corners with known noise, many times.
func TestSigmaIsHonest(t *testing.T) {
	truth := firstView().turned(step{0.02, -0.01, 0.01, 0.005})
	s := newScene(3, 400)
	const px, noise = 1.0 / 384, 0.3
	at := swing.Point{X: 0.1, Y: 0.25}
	want, _ := truth.project(vec{at.X, at.Y, 1})
	var sum, stated float64
	const times = 300
	for range times {
		var sights []sight
		for len(sights) < 60 {
			b := s.blobs[s.noise.IntN(len(s.blobs))].at
			dir := vec{b.X, b.Y, 1}
			p, ok := truth.project(dir)
			if !ok || math.Abs(p.X) > 0.6 || math.Abs(p.Y) > 0.35 {
				continue
			}
			p = p.Add(swing.Point{X: s.noise.NormFloat64(), Y: s.noise.NormFloat64()}.Scale(noise * px))
			if len(sights)%4 == 0 { // a quarter of them wander off
				p = p.Add(swing.Point{X: 30 * px * s.noise.NormFloat64(), Y: 8 * px})
			}
			sights = append(sights, sight{dir, p, 1})
		}
		f, ok := fit(sights, firstView(), px, 2, 12)
		if !ok {
			t.Fatal("no fit")
		}
		got, _ := f.view.project(vec{at.X, at.Y, 1})
		d := got.Sub(want)
		sum += d.Dot(d) / 2
		p, _ := f.view.project(vec{at.X, at.Y, 1})
		stated += f.sigma(p) * f.sigma(p)
	}
	ratio := math.Sqrt(sum / stated)
	if ratio < 0.75 || ratio > 1.33 {
		t.Errorf("the error is %.2f times the stated one", ratio)
	}
}

func TestFitRefusesTooLittle(t *testing.T) {
	var sights []sight
	for i := range 20 { // all on one spot: roll and zoom are unknown
		sights = append(sights, sight{vec{0.1, 0.1, 1}, swing.Point{X: 0.1, Y: 0.1 + float64(i)*0}, 1})
	}
	if _, ok := fit(sights, firstView(), 1.0/384, 1, 12); ok {
		t.Error("one spot fixes a view")
	}
	if _, ok := fit(sights[:5], firstView(), 1.0/384, 1, 12); ok {
		t.Error("five corners are enough")
	}
}

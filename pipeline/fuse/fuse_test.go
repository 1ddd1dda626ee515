package fuse

import (
	"math"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

// quick are options with fewer draws.
func quick() Options {
	o := DefaultOptions()
	o.Draws = 12
	return o
}

func value(t *testing.T, v *swing.TwoViews, id string, e swing.EventName) (float64, float64) {
	t.Helper()
	for _, m := range v.Measures {
		if m.ID == id && m.Event == e {
			if m.Value == nil {
				t.Fatalf("%s at %s: %s", id, e, m.Reason)
			}
			return *m.Value, *m.Sigma
		}
	}
	t.Fatalf("no %s at %s", id, e)
	return 0, 0
}

func TestTwoViewsKnowTheTurn(t *testing.T) {
	for _, c := range []struct {
		name       string
		left       bool
		open, rear phone
		lifted     bool
		tolerance  float64 // degrees
		clocks     float64 // s
	}{
		{"still", false, phone{}, phone{shift: 0.137}, false, 3, 0.003},
		{"lifted too", false, phone{}, phone{shift: 0.137}, true, 3, 0.003},
		{"mirrored hands", true, phone{}, phone{shift: -0.211}, false, 3, 0.003},
		{"other rates, noise, portrait", false, phone{fps: 120, noise: 0.002, seed: 4, portrait: true}, phone{fps: 30, noise: 0.002, shift: 0.31, seed: 5}, true, 7, 0.008},
		{"cameras off their places", false, phone{yaw: 5, high: 0.85}, phone{yaw: -5, distance: 3.8, shift: 0.05}, false, 4, 0.003},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := usual()
			m.left = c.left
			a, b := m.film(c.open, swing.OpenSide, c.lifted), m.film(c.rear, swing.Rear, c.lifted)
			match, va, vb, err := Swings(t.Context(), a, b, quick())
			if err != nil || !match.Same {
				t.Fatalf("%v, %+v", err, match)
			}
			if d := va.Offset + c.rear.shift; math.Abs(d) > c.clocks || va.Offset != -vb.Offset {
				t.Errorf("offset %.4f s and %.4f s, want %.4f", va.Offset, vb.Offset, -c.rear.shift)
			}
			for _, e := range []swing.EventName{swing.Stance, swing.Touch, swing.Plant} {
				body := m.at(m.event(e))
				sh, hip := degrees(turnOf(body[shoulders].sub(body[shoulders+1]))), degrees(turnOf(body[hips].sub(body[hips+1])))
				for id, want := range map[string]float64{
					"shoulder_turn": sh, "hip_turn": hip, "separation": sh - hip,
					"front_knee_flexion": degrees(bend(body[hips], body[knees], body[ankles])),
					"lead_elbow_flexion": degrees(bend(body[shoulders], body[elbows], body[wrists])),
				} {
					got, sigma := value(t, va, id, e)
					tolerance := c.tolerance
					if strings.HasSuffix(id, "flexion") {
						tolerance *= 2 // of short parts
					}
					if math.Abs(got-want) > tolerance || !(sigma > 0.5 && sigma < 20) {
						t.Errorf("%s at %s %.1f +/- %.1f, want %.1f", id, e, got, sigma, want)
					}
					if other, _ := value(t, vb, id, e); other != got {
						t.Errorf("%s differs between the clips: %g and %g", id, got, other)
					}
				}
			}
			if e, p := vb.Events[swing.Plant].Time, va.Events[swing.Plant].Time; math.Abs(e-p-va.Offset) > 1e-9 {
				t.Errorf("plant at %.4f and %.4f on the clocks, which are %.4f apart", p, e, va.Offset)
			}
			if !va.Body.Known() || !va.Turns.Known() {
				t.Error("no body in space")
			}
		})
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	m := usual()
	a, b := m.film(phone{}, swing.OpenSide, true), m.film(phone{shift: 0.1}, swing.Rear, true)
	_, a1, b1, err := Swings(t.Context(), a, b, quick())
	if err != nil {
		t.Fatal(err)
	}
	_, b2, a2, err := Swings(t.Context(), b, a, quick())
	if err != nil {
		t.Fatal(err)
	}
	x, _ := value(t, a1, "hip_turn", swing.Plant)
	y, _ := value(t, b2, "hip_turn", swing.Plant)
	if x != y || a1.Offset != a2.Offset || b1.Offset != b2.Offset || b1.Cameras[0] != a1.Cameras[1] {
		t.Errorf("%g and %g, offsets %g %g", x, y, a1.Offset, a2.Offset)
	}
}

func TestDifferentSwingsAreRefused(t *testing.T) {
	m := usual()
	open, rear := phone{noise: 0.001, seed: 1}, phone{noise: 0.001, seed: 2}
	a := m.film(open, swing.OpenSide, false)
	for name, change := range map[string]func(m *motion){
		"slower step":       func(m *motion) { m.fly += 0.08 },
		"higher step":       func(m *motion) { m.rise += 0.05 },
		"later arms":        func(m *motion) { m.contact += 0.09 },
		"bats on the other": func(m *motion) { m.left = true },
		"another bat":       func(m *motion) { m.lean = 25 },
	} {
		other := m
		change(&other)
		match, va, vb, err := Swings(t.Context(), a, other.film(rear, swing.Rear, false), quick())
		if err != nil || match.Same || va != nil || vb != nil || match.Reason == "" {
			t.Errorf("%s: %v, %+v", name, err, match)
		}
	}
	same, _, _, err := Swings(t.Context(), a, m.film(rear, swing.Rear, false), quick())
	if err != nil || !same.Same {
		t.Errorf("the same swing: %v, %+v", err, same)
	}
}

func TestCamerasSideBySideAreRefused(t *testing.T) {
	m := usual()
	a, b := m.film(phone{}, swing.OpenSide, false), m.film(phone{yaw: 8}, swing.OpenSide, false)
	if match, v, _, err := Swings(t.Context(), a, b, quick()); err != nil || v != nil || !strings.Contains(match.Reason, "open side") {
		t.Errorf("%v, %+v", err, match)
	}
	// The view was taken for a rear one by mistake: no body fits both pictures there.
	b.View = swing.Rear
	if match, v, _, err := Swings(t.Context(), a, b, quick()); err != nil || v != nil || match.Reason == "" {
		t.Errorf("%v, %+v", err, match)
	}
}

// A wide disagreement of the events alone is enough.
func TestEventsMustFallTogether(t *testing.T) {
	m := usual()
	a, b := m.film(phone{}, swing.OpenSide, false), m.film(phone{}, swing.Rear, false)
	e := b.Events[swing.Contact]
	e.Time += 0.2
	b.Events[swing.Contact] = e
	if match, _, _, err := Swings(t.Context(), a, b, quick()); err != nil || match.Same {
		t.Errorf("%v, %+v", err, match)
	}
}

func TestBarrelDistanceNeedsTheBatInBoth(t *testing.T) {
	m := usual()
	a, b := m.film(phone{}, swing.OpenSide, false), m.film(phone{}, swing.Rear, false)
	_, v, _, err := Swings(t.Context(), a, b, quick())
	if err != nil {
		t.Fatal(err)
	}
	body := m.at(m.event(swing.Plant))
	knob, tip := m.bat(&body, m.event(swing.Plant))
	w := knob.add(tip.sub(knob).mul(sweetSpot)).sub(centre(&body))
	if got, sigma := value(t, v, "barrel_distance", swing.Plant); math.Abs(got-math.Hypot(w[0], w[1])) > 0.02 || sigma > 0.05 {
		t.Errorf("the barrel is %.3f +/- %.3f statures away, want %.3f", got, sigma, math.Hypot(w[0], w[1]))
	}
	b.Bat = swing.BatPath{}
	_, v, _, err = Swings(t.Context(), a, b, quick())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range v.Measures {
		if m.ID == "barrel_distance" {
			t.Errorf("a bat that one view does not show: %+v", m)
		}
	}
}

func TestOptions(t *testing.T) {
	for _, o := range []Options{{}, {Draws: 5, Alike: 0.8, MaxDistance: 5}, {Draws: 40, Alike: 1.2, MaxDistance: 5}, {Draws: 40, Alike: 0.8, MaxDistance: math.NaN()}} {
		if err := o.Validate(); err == nil {
			t.Errorf("%+v passes", o)
		}
	}
	if err := DefaultOptions().Validate(); err != nil {
		t.Error(err)
	}
}

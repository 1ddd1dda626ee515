package main

import (
	"math"
	"testing"
)

// clubbed adds a bat to the made-up motion: knob at hand, .8 m long, d its direction
// in the hitter's axes (to the pitcher, to the plate, up), seen from very far away at
// 200 px/m.
func clubbed(w world, t *truth, knob, d vec) {
	for i := range t.Frames {
		f := &t.Frames[i]
		put := func(p vec) (world, pixel [3]float64) {
			across := p[0]
			if w.view == "rear" {
				across = p[1]
			}
			if w.bats == "L" {
				across = -across
			}
			pixel = [3]float64{400 + 200*across, 500 - 200*p[2], 2}
			if w.bats == "R" {
				p[1] = -p[1]
			}
			return p, pixel
		}
		f.Bat3, f.BatPx = &batEnds{}, &batEnds{}
		f.Bat3.Knob, f.BatPx.Knob = put(knob)
		f.Bat3.Tip, f.BatPx.Tip = put(knob.add(d.scale(0.8)))
	}
}

func seen(t *truth) *seenBat {
	b := &seenBat{}
	for _, f := range t.Frames {
		sigma := 1.0
		b.Times = append(b.Times, f.T)
		b.Knob = append(b.Knob, []float64{f.BatPx.Knob[0], f.BatPx.Knob[1]})
		b.Tip = append(b.Tip, []float64{f.BatPx.Tip[0], f.BatPx.Tip[1]})
		b.Sigma = append(b.Sigma, &sigma)
	}
	return b
}

// The bat's score counts what is found, how far off it is, and what is wrong with
// conviction.
func TestBatScore(t *testing.T) {
	for _, bats := range []string{"R", "L"} {
		w := world{bats, "open"}
		tr := w.truth(t, t.TempDir(), "clip")
		clubbed(w, tr, vec{-0.3, 0.2, 1.3}, vec{-0.36, -0.48, 0.8})
		b := seen(tr)
		events := map[string]float64{"plant": 0.905, "contact": 1.105} // frames 0..90 and 91..110
		turn := func(i int, deg float64) {
			k := b.Knob[i]
			v := vec{b.Tip[i][0] - k[0], b.Tip[i][1] - k[1], 0}
			s, c := math.Sincos(deg * math.Pi / 180)
			b.Tip[i] = []float64{k[0] + c*v[0] - s*v[1], k[1] + s*v[0] + c*v[1]}
		}
		for i := range 91 { // the first ten are not found, the rest is off by 1 or 3 deg
			switch {
			case i < 10:
				b.Knob[i], b.Tip[i], b.Sigma[i] = nil, nil, nil
			case i < 60:
				turn(i, 1)
			default:
				turn(i, -3)
			}
		}
		turn(91, 30) // wrong but sure
		turn(92, 170)
		vague := 20.0
		b.Sigma[92] = &vague // wrong, and unsure
		got := scoreBat(&analysedSwing{Bat: b}, tr, events)
		a, c := got[batPhases[0]].score(), got[batPhases[1]].score()
		near(t, bats+" found", a.Found, 81.0/91, 1e-12)
		near(t, bats+" median", a.MedianDeg, 1, 1e-6)
		near(t, bats+" 90 %", a.P90Deg, 3, 1e-6)
		near(t, bats+" in 1 sigma", a.Coverage1, 50.0/81, 1e-12)
		length := 200 * 0.8 * math.Hypot(0.36, 0.8)
		near(t, bats+" tip", a.Tip*tr.torso(), length*2*math.Sin(math.Pi/360), 1e-6)
		near(t, bats+" knob", a.Knob, 0, 1e-9)
		if c.Frames != 20 || c.Found != 1 || c.Sure != 1 || a.Sure != 0 {
			t.Errorf("%s: %+v, %+v", bats, a, c)
		}
		b.Times = b.Times[:50]
		b.Knob, b.Tip, b.Sigma = b.Knob[:50], b.Tip[:50], b.Sigma[:50]
		if got := scoreBat(&analysedSwing{Bat: b}, tr, events)[batPhases[1]].score(); got.Found != 0 {
			t.Errorf("%s: frames that are not covered count as found: %v", bats, got.Found)
		}
		if scoreBat(&analysedSwing{}, tr, events) != nil {
			t.Errorf("%s: a bat that was not looked for is scored", bats)
		}
	}
}

// True values of the bat's measures against numbers worked out by hand.
func TestBatTruth(t *testing.T) {
	for _, c := range []struct {
		w    world
		lean float64
	}{
		{world{"R", "open"}, degrees(math.Atan2(0.36, 0.8))},
		{world{"L", "open"}, degrees(math.Atan2(0.36, 0.8))},
		{world{"R", "rear"}, degrees(math.Atan2(0.48, 0.8))},
		{world{"L", "rear"}, degrees(math.Atan2(0.48, 0.8))},
	} {
		tr := c.w.truth(t, t.TempDir(), "clip")
		knob, d := vec{-0.3, 0.2, 1.3}, vec{-0.36, -0.48, 0.8}
		clubbed(c.w, tr, knob, d)
		b := body{tr, map[string]float64{"plant": 1}}
		axis := tr.centre(1)
		sweet := knob.add(d.scale(0.8 * (1 - 0.15/0.84)))
		far := math.Hypot(sweet[0]-axis[0], sweet[1]-axis[1])
		for id, want := range map[string]float64{
			"bat_tilt": degrees(math.Atan2(0.6, 0.8)), "bat_lean": c.lean, "knob_direction": -c.lean,
			"barrel_distance_m": far, "barrel_distance": far / tr.Stature,
		} {
			got, ok := b.value(id, "plant")
			if !ok {
				t.Fatalf("%v: no truth of %s", c.w, id)
			}
			near(t, c.w.bats+" "+c.w.view+" "+id, got, want, 1e-6)
		}
		// The outline square to the pitch line: hips (on the pitch line) to the
		// shoulders and elbows, .05 m to the plate.
		lo, hi := -0.035*tr.Stature-axis[1], 0.05+0.025*tr.Stature-axis[1]
		y := sweet[1] - axis[1]
		got, _ := b.value("barrel_inside", "plant")
		near(t, "barrel_inside", got, min(y-lo, hi-y)/0.36, 1e-6)
		if got > 0 {
			t.Error("a barrel behind the back is inside")
		}
		now, _ := b.value("swing_inertia", "plant")
		ratio, _ := b.value("swing_inertia_ratio", "plant")
		if now < 0.1 || now > 1.5 || (ratio > 1) != (far > 0.25*tr.Stature) {
			t.Errorf("inertia %.3f kg m2, ratio %.3f with the barrel %.2f m out", now, ratio, far)
		}
		if _, ok := b.value("bat_tilt", "load"); ok {
			t.Error("a truth without the event")
		}
		tr.Frames[0].BatPx = nil
		if _, ok := b.value("bat_tilt", "plant"); ok {
			t.Error("a truth without a bat")
		}
	}
}

// A file whose lists do not fit together is refused.
func TestSeenBatFits(t *testing.T) {
	s := 1.0
	good := seenBat{Times: []float64{1}, Knob: [][]float64{nil}, Tip: [][]float64{{1, 2}}, Sigma: []*float64{&s}}
	if !good.fits() {
		t.Error("refused")
	}
	short, flat := good, good
	short.Knob = nil
	flat.Tip = [][]float64{{1}}
	if short.fits() || flat.fits() {
		t.Error("lists that do not fit pass")
	}
}

package event_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"strings"
	"testing"

	"plantframe/pipeline/event"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
	"plantframe/pipeline/track"
)

// film runs a motion through camera, track and events.
func film(t *testing.T, m swingtest.Motion, c swingtest.Camera, o event.Options) ([]swing.Swing, []swing.Warning) {
	t.Helper()
	poses, steady, moves := c.Film(m)
	tr, _, err := track.Build(poses, steady, moves, track.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	sw, w, err := event.Detect(tr, event.Evidence{}, o)
	if err != nil {
		t.Fatal(err)
	}
	return sw, w
}

func one(t *testing.T, m swingtest.Motion, c swingtest.Camera) swing.Swing {
	t.Helper()
	sw, w := film(t, m, c, event.DefaultOptions())
	if len(sw) != 1 {
		t.Fatalf("%d swings, warnings %v", len(sw), w)
	}
	return sw[0]
}

func timeOf(t *testing.T, s swing.Swing, n swing.EventName) float64 {
	t.Helper()
	e, ok := s.Events[n]
	if !ok {
		t.Fatalf("no %s; warnings %v", n, s.Warnings)
	}
	if !(e.Sigma > 0) || e.Method == "" {
		t.Errorf("%s without sigma or method: %+v", n, e)
	}
	return e.Time
}

func hasWarning(ws []swing.Warning, code string) bool {
	for _, w := range ws {
		if w.Code == code {
			return true
		}
	}
	return false
}

func views() []swing.View { return []swing.View{swing.OpenSide, swing.Rear} }

// TestTruth: events of known motions within what noise of 0.0015 stature
// allows, both views, all strides, early and late planters. Bounds are ms, the
// worst of all combinations; the detector expects slow wander besides this
// noise and leans on the usual tempo accordingly.
func TestTruth(t *testing.T) {
	bounds := map[swing.EventName]map[swing.View]float64{
		swing.Lift:    {swing.OpenSide: 25, swing.Rear: 25},
		swing.Touch:   {swing.OpenSide: 22, swing.Rear: 30},
		swing.Plant:   {swing.OpenSide: 11, swing.Rear: 25},
		swing.Contact: {swing.OpenSide: 20, swing.Rear: 25},
	}
	for _, v := range views() {
		for _, st := range []swingtest.Stride{swingtest.Steps, swingtest.Kicks, swingtest.TapsToe} {
			for _, tempo := range []float64{0.12, 0.18, 0.25} {
				for _, first := range []float64{0.02, 0.05} {
					name := fmt.Sprintf("%s %s tempo %.2f toe %.2f", v, st, tempo, first)
					t.Run(name, func(t *testing.T) {
						m := swingtest.Default()
						m.Stride, m.Tempo, m.ToeFirst = st, tempo, first
						m.PivotRate = 60
						s := one(t, m, swingtest.Camera{View: v, Noise: 0.0015, Seed: 3})
						want := map[swing.EventName]float64{
							swing.Lift: m.Lift(0), swing.Touch: m.Touch(0),
							swing.Plant: m.PlantByDefinition(0), swing.Contact: m.Contacts[0],
						}
						for n, w := range want {
							if d := 1e3 * (timeOf(t, s, n) - w); math.Abs(d) > bounds[n][v] {
								t.Errorf("%s off by %+.1f ms (sigma %.1f)", n, d, 1e3*s.Events[n].Sigma)
							}
						}
					})
				}
			}
		}
	}
}

// TestOrder: events come in time order with the frame nearest to their time.
func TestOrder(t *testing.T) {
	for _, v := range views() {
		for seed := range uint64(5) {
			s := one(t, swingtest.Default(), swingtest.Camera{View: v, Noise: 0.002, Seed: seed, Jitter: 0.4, Drop: 11})
			last := -1.0
			for _, n := range []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant, swing.Contact, swing.Finish} {
				at := timeOf(t, s, n)
				if at < last {
					t.Errorf("%s seed %d: %s at %.3f before %.3f", v, seed, n, at, last)
				}
				last = at
				frame := s.Events[n].Frame
				i := frame - s.Track.Frames[0]
				if i < 0 || i >= s.Track.Len() || s.Track.Frames[i] != frame {
					t.Fatalf("%s: frame %d outside the swing's track", n, frame)
				}
				for _, k := range []int{i - 1, i + 1} {
					if k >= 0 && k < s.Track.Len() && math.Abs(s.Track.Times[k]-at) < math.Abs(s.Track.Times[i]-at) {
						t.Errorf("%s: frame %d is not the nearest", n, frame)
					}
				}
			}
			if _, ok := s.Events[swing.SwingStart]; ok {
				t.Error("swing-start needs the bat")
			}
		}
	}
}

// TestRates: events are equal at all rates and at a variable one within half a
// frame.
func TestRates(t *testing.T) {
	for _, v := range views() {
		ref := one(t, swingtest.Default(), swingtest.Camera{View: v, FPS: 240})
		for _, c := range []swingtest.Camera{
			{FPS: 30},
			{FPS: 30, Shift: 0.011},
			{FPS: 60},
			{FPS: 60, Shift: 0.005},
			{FPS: 120},
			{FPS: 60, Jitter: 0.5, Drop: 9, Seed: 4},
			{FPS: 45, Jitter: 0.9, Seed: 5},
			{FPS: 100, Drop: 3},
		} {
			c.View = v
			s := one(t, swingtest.Default(), c)
			for n, frames := range map[swing.EventName]float64{
				swing.Touch: 0.5, swing.Plant: 0.5, swing.Contact: 0.5,
				swing.Lift: 1, // the foot leaves softly
			} {
				if d := timeOf(t, s, n) - timeOf(t, ref, n); math.Abs(d) > frames/c.FPS {
					t.Errorf("%s %+v: %s differs by %+.1f ms, allowed %.1f frames", v, c, n, 1e3*d, frames)
				}
			}
		}
	}
}

// TestMirrorScalePan: a mirrored clip bats from the other side at the same
// times; a larger picture and a moving camera change nothing.
func TestMirrorScalePan(t *testing.T) {
	for _, v := range views() {
		base := swingtest.Camera{View: v, Noise: 0.001, Seed: 9}
		ref := one(t, swingtest.Default(), base)
		if ref.Bats != swing.Right || ref.View != v {
			t.Fatalf("%s: bats %s view %s", v, ref.Bats, ref.View)
		}
		same := func(name string, c swingtest.Camera, bats swing.Bats) {
			t.Helper()
			s := one(t, swingtest.Default(), c)
			if s.Bats != bats || s.View != v || s.BatsConfidence < 0.9 || s.ViewConfidence < 0.9 {
				t.Errorf("%s %s: bats %s (%.2f), view %s (%.2f)", v, name, s.Bats, s.BatsConfidence, s.View, s.ViewConfidence)
			}
			for n, e := range ref.Events {
				if d := timeOf(t, s, n) - e.Time; math.Abs(d) > 1e-6 {
					t.Errorf("%s %s: %s differs by %g s", v, name, n, d)
				}
			}
		}
		c := base
		c.Mirror = true
		same("mirror", c, swing.Left)
		c = base
		c.Scale = 2.5
		same("scale", c, swing.Right)
		c = base
		c.Pan, c.Shake = 150, 0
		same("pan", c, swing.Right)

		left := swingtest.Default()
		left.Left = true
		s := one(t, left, base)
		if s.Bats != swing.Left || s.View != v {
			t.Errorf("%s left-hander: bats %s view %s", v, s.Bats, s.View)
		}
	}
}

// TestOffDirection: a camera 15 degrees off, near or far, high or low, still
// tells view and side.
func TestOffDirection(t *testing.T) {
	for _, v := range views() {
		for _, c := range []swingtest.Camera{{Yaw: 15}, {Yaw: -15}, {Distance: 4}, {Distance: 9, High: 2}, {High: 0.6}} {
			for _, left := range []bool{false, true} {
				m := swingtest.Default()
				m.Left = left
				c.View, c.Noise = v, 0.001
				s := one(t, m, c)
				want := swing.Right
				if left {
					want = swing.Left
				}
				if s.Bats != want || s.View != v {
					t.Errorf("%s %+v: bats %s view %s", v, c, s.Bats, s.View)
				}
				if d := timeOf(t, s, swing.Plant) - m.PlantByDefinition(0); math.Abs(d) > 0.020 {
					t.Errorf("%s %+v: plant off by %+.1f ms", v, c, 1e3*d)
				}
			}
		}
	}
}

func TestTwoSwings(t *testing.T) {
	for _, v := range views() {
		m := swingtest.Default()
		m.Contacts = []float64{1.8, 4.6}
		sw, _ := film(t, m, swingtest.Camera{View: v, Length: 6, Noise: 0.001}, event.DefaultOptions())
		if len(sw) != 2 {
			t.Fatalf("%s: %d swings", v, len(sw))
		}
		for k, s := range sw {
			if s.Index != k {
				t.Errorf("swing %d has index %d", k, s.Index)
			}
			if d := timeOf(t, s, swing.Plant) - m.PlantByDefinition(k); math.Abs(d) > 0.017 {
				t.Errorf("%s swing %d: plant off by %+.1f ms", v, k, 1e3*d)
			}
			if s.Track.Times[0] != s.Window[0] || s.Track.Times[s.Track.Len()-1] != s.Window[1] {
				t.Errorf("window %v does not match the track", s.Window)
			}
			if id := s.Track.Steady[0]; math.Abs(id.A-1) > 1e-9 || math.Abs(id.TX) > 1e-6 {
				t.Errorf("steady maps do not start at the slice: %+v", id)
			}
		}
		if sw[0].Window[1] >= sw[1].Window[0] {
			t.Errorf("windows overlap: %v %v", sw[0].Window, sw[1].Window)
		}
	}
}

// TestNoSwing: people who do not swing give none, and a reason.
func TestNoSwing(t *testing.T) {
	reasons := map[swingtest.Act]string{
		swingtest.Walks: "hands", swingtest.Stands: "never moved fast", swingtest.Waggles: "hands", swingtest.Throws: "apart",
	}
	for _, v := range views() {
		for act, reason := range reasons {
			m := swingtest.Default()
			m.Act = act
			sw, w := film(t, m, swingtest.Camera{View: v, Noise: 0.0015}, event.DefaultOptions())
			if len(sw) != 0 {
				t.Errorf("%s %s: %d swings", v, act, len(sw))
				continue
			}
			if len(w) != 1 || w[0].Code != "no-swing" || !strings.Contains(w[0].Text, reason) {
				t.Errorf("%s %s: warnings %v", v, act, w)
			}
		}
	}
}

// TestNoStride: a foot that stays down gives plant with another method, no
// lift and no touch, and says so; a heel that rises gives a true plant.
func TestNoStride(t *testing.T) {
	for _, v := range views() {
		m := swingtest.Default()
		m.Stride = swingtest.NoStride
		s := one(t, m, swingtest.Camera{View: v, Noise: 0.001})
		if !hasWarning(s.Warnings, "no-stride") {
			t.Errorf("%s: warnings %v", v, s.Warnings)
		}
		if e := s.Events[swing.Plant]; e.Method != "foot-down-already" || e.Time >= s.Events[swing.Contact].Time || e.Sigma < 0.02 {
			t.Errorf("%s: plant %+v", v, e)
		}
		m.Stride = swingtest.HeelOnly
		h := one(t, m, swingtest.Camera{View: v, Noise: 0.001})
		if d := timeOf(t, h, swing.Plant) - m.PlantByDefinition(0); math.Abs(d) > 0.017 || h.Events[swing.Plant].Method != "foot-still" {
			t.Errorf("%s heel: plant off by %+.1f ms, %+v", v, 1e3*d, h.Events[swing.Plant])
		}
		for _, x := range []swing.Swing{s, h} {
			for _, n := range []swing.EventName{swing.Lift, swing.Touch} {
				if e, ok := x.Events[n]; ok {
					t.Errorf("%s: %s without a step: %+v", v, n, e)
				}
			}
		}
	}
}

// TestSlide: a foot that is down but slides on is planted when it stops.
func TestSlide(t *testing.T) {
	m := swingtest.Default()
	m.Tempo, m.Slide = 0.24, 0.14
	want := m.PlantByDefinition(0)
	if want < m.Contacts[0]-m.Tempo+0.09 {
		t.Fatalf("by definition at %.3f", want)
	}
	s := one(t, m, swingtest.Camera{Noise: 0.001})
	if d := timeOf(t, s, swing.Plant) - want; math.Abs(d) > 0.020 || s.Events[swing.Plant].Method != "slide-end" {
		t.Errorf("plant off by %+.1f ms: %+v", 1e3*d, s.Events[swing.Plant])
	}
}

// TestFromOutside: what the user says goes before what the motion looks like.
func TestFromOutside(t *testing.T) {
	o := event.DefaultOptions()
	o.Bats, o.View = swing.Left, swing.Rear
	sw, _ := film(t, swingtest.Default(), swingtest.Camera{}, o)
	if len(sw) != 1 || sw[0].Bats != swing.Left || sw[0].BatsSource != "user" || sw[0].View != swing.Rear || sw[0].ViewSource != "user" || sw[0].BatsConfidence != 1 {
		t.Fatalf("%+v", sw)
	}
	o.View = ""
	sw, _ = film(t, swingtest.Default(), swingtest.Camera{}, o)
	if !hasWarning(sw[0].Warnings, "bats-doubtful") || sw[0].ViewSource != "auto" {
		t.Errorf("warnings %v", sw[0].Warnings)
	}
}

// TestWithoutFeet: a network of 17 points has no heel and toe; plant is still
// found, touch is not made up.
func TestWithoutFeet(t *testing.T) {
	for _, v := range views() {
		poses, steady, _ := swingtest.Camera{View: v, Noise: 0.001}.Film(swingtest.Default())
		for i := range poses {
			for j := int(swing.LeftBigToe); j < swing.NumPoints; j++ {
				poses[i].Points[j] = swing.Keypoint{}
			}
		}
		tr, _, err := track.Build(poses, steady, false, track.DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		sw, _, err := event.Detect(tr, event.Evidence{}, event.DefaultOptions())
		if err != nil || len(sw) != 1 {
			t.Fatalf("%s: %d swings, %v", v, len(sw), err)
		}
		if d := timeOf(t, sw[0], swing.Plant) - swingtest.Default().PlantByDefinition(0); math.Abs(d) > 0.020 {
			t.Errorf("%s: plant off by %+.1f ms", v, 1e3*d)
		}
		if _, ok := sw[0].Events[swing.Touch]; ok || !hasWarning(sw[0].Warnings, "touch-missing") {
			t.Errorf("%s: touch %+v, warnings %v", v, sw[0].Events[swing.Touch], sw[0].Warnings)
		}
	}
}

// TestCutClips: a clip that begins in the middle of the stride or ends at
// contact loses those events and nothing else.
func TestCutClips(t *testing.T) {
	m := swingtest.Default()
	s := one(t, m, swingtest.Camera{Shift: m.Lift(0) + 0.08, Length: 1.5})
	if _, ok := s.Events[swing.Lift]; ok || !hasWarning(s.Warnings, "lift-missing") {
		t.Errorf("lift %+v, warnings %v", s.Events[swing.Lift], s.Warnings)
	}
	if d := timeOf(t, s, swing.Plant) - m.PlantByDefinition(0); math.Abs(d) > 0.012 {
		t.Errorf("plant off by %+.1f ms", 1e3*d)
	}
	s = one(t, m, swingtest.Camera{Length: m.Contacts[0] + 0.12})
	if _, ok := s.Events[swing.Finish]; ok || !hasWarning(s.Warnings, "finish-missing") {
		t.Errorf("finish %+v, warnings %v", s.Events[swing.Finish], s.Warnings)
	}
	if d := timeOf(t, s, swing.Plant) - m.PlantByDefinition(0); math.Abs(d) > 0.012 {
		t.Errorf("plant off by %+.1f ms", 1e3*d)
	}
}

// TestSigmaIsHonest: over many noisy clips the true plant lies within one
// stated sigma in roughly two thirds of the clips or more, and within two in
// nearly all.
func TestSigmaIsHonest(t *testing.T) {
	if testing.Short() {
		t.Skip("60 clips")
	}
	in1, in2, n := 0, 0, 0
	for seed := range uint64(30) {
		for _, v := range views() {
			m := swingtest.Default()
			m.Tempo = 0.13 + 0.004*float64(seed)
			m.ToeFirst = 0.01 + 0.002*float64(seed)
			s := one(t, m, swingtest.Camera{View: v, Noise: 0.003, Seed: seed, Shift: 0.0005 * float64(seed), FPS: []float64{30, 60, 120}[seed%3]})
			z := math.Abs(timeOf(t, s, swing.Plant)-m.PlantByDefinition(0)) / s.Events[swing.Plant].Sigma
			n++
			if z < 1 {
				in1++
			}
			if z < 2 {
				in2++
			}
		}
	}
	if float64(in1) < 0.55*float64(n) || float64(in2) < 0.9*float64(n) {
		t.Errorf("within one sigma %d, within two %d of %d", in1, in2, n)
	}
}

func TestErrors(t *testing.T) {
	poses, steady, _ := swingtest.Camera{}.Film(swingtest.Default())
	tr, _, err := track.Build(poses, steady, false, track.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	kind := func(err error) swing.Kind {
		var e *swing.Error
		if !errors.As(err, &e) || e.Msg == "" {
			t.Fatalf("not a swing.Error with a sentence: %v", err)
		}
		return e.Kind
	}
	for _, o := range []event.Options{{}, {Bats: "X"}, {View: "top"}} {
		if _, _, err := event.Detect(tr, event.Evidence{}, o); kind(err) != swing.KindUsage {
			t.Errorf("%+v: %v", o, err)
		}
	}
	broken := tr
	broken.Raw = broken.Raw[1:]
	if _, _, err := event.Detect(broken, event.Evidence{}, event.DefaultOptions()); kind(err) != swing.KindInternal {
		t.Error(err)
	}
	if _, _, err := event.Detect(swing.Track{}, event.Evidence{}, event.DefaultOptions()); kind(err) != swing.KindTooShort {
		t.Error(err)
	}
}

var update = flag.Bool("update", false, "rewrite the golden files")

// TestGolden pins all events of two films, so that a change of any constant
// is seen.
func TestGolden(t *testing.T) {
	var out bytes.Buffer
	for _, v := range views() {
		s := one(t, swingtest.Default(), swingtest.Camera{View: v, Noise: 0.001, Seed: 1})
		for _, n := range swing.EventNames() {
			if e, ok := s.Events[n]; ok {
				fmt.Fprintf(&out, "%s %s %.3f s sigma %.3f s frame %d %s\n", v, n, e.Time, e.Sigma, e.Frame, e.Method)
			}
		}
	}
	swingtest.Golden(t, "testdata/events.golden", out.Bytes(), *update)
}

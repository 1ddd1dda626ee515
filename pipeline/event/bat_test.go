package event_test

import (
	"fmt"
	"math"
	"testing"

	"plantframe/pipeline/event"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
	"plantframe/pipeline/track"
)

// filmBat runs a motion with its bat through camera, track and events.
func filmBat(t *testing.T, m swingtest.Motion, c swingtest.Camera, noise float64, seen func(t float64) bool) swing.Swing {
	t.Helper()
	poses, steady, moves := c.Film(m)
	tr, _, err := track.Build(poses, steady, moves, track.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	sw, w, err := event.Detect(tr, event.Evidence{Bat: c.Bat(m, tr.Times, noise, seen)}, event.DefaultOptions())
	if err != nil || len(sw) != 1 {
		t.Fatalf("%d swings, %v, %v", len(sw), w, err)
	}
	return sw[0]
}

// slack is how far swing-start may be off: the bat of these motions waits
// square to the line of sight seen from behind, where its turn does not show at
// first.
func slack(v swing.View) float64 {
	if v == swing.Rear {
		return 0.035
	}
	return 0.012
}

// TestBat: with the bat in sight contact is when it is square, and swing-start
// when it begins to turn, at all rates, both views and both sides.
func TestBat(t *testing.T) {
	for _, v := range views() {
		for _, fps := range []float64{30, 60, 120, 240} {
			for _, left := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s %.0f left %v", v, fps, left), func(t *testing.T) {
					m := swingtest.Default()
					m.Left = left
					s := filmBat(t, m, swingtest.Camera{View: v, FPS: fps, Noise: 0.0015, Seed: 2, Shift: 0.003}, 1, nil)
					c, st := s.Events[swing.Contact], s.Events[swing.SwingStart]
					if d := c.Time - m.Contacts[0]; math.Abs(d) > 0.010 || c.Method != "bat" || c.Sigma > 0.016 {
						t.Errorf("contact off by %+.1f ms: %+v", 1e3*d, c)
					}
					if d := st.Time - m.BatStart(0); math.Abs(d) > slack(v)+0.5/fps || math.Abs(d) > 2*st.Sigma || st.Method != "bat-turns" {
						t.Errorf("swing-start off by %+.1f ms: %+v", 1e3*d, st)
					}
				})
			}
		}
	}
}

// TestBatPartlySeen: every second frame, uneven frames, a mirrored and larger
// picture change little; what was not seen is not made up.
func TestBatPartlySeen(t *testing.T) {
	m := swingtest.Default()
	c0, b0 := m.Contacts[0], m.BatStart(0)
	odd := 0
	for _, v := range views() {
		for name, c := range map[string]swingtest.Camera{
			"uneven": {Jitter: 0.5, Drop: 9, Seed: 4}, "large": {Scale: 2.5}, "mirror": {Mirror: true},
		} {
			c.View, c.Noise = v, 0.001
			s := filmBat(t, m, c, 1, nil)
			if e := s.Events[swing.Contact]; math.Abs(e.Time-c0) > 0.010 || e.Method != "bat" {
				t.Errorf("%s %s: contact off by %+.1f ms, %+v", v, name, 1e3*(e.Time-c0), e)
			}
			if e := s.Events[swing.SwingStart]; math.Abs(e.Time-b0) > slack(v)+0.006 || math.Abs(e.Time-b0) > 2*e.Sigma {
				t.Errorf("%s %s: start off by %+.1f ms, %+v", v, name, 1e3*(e.Time-b0), e)
			}
		}
		cam := swingtest.Camera{View: v, FPS: 120, Noise: 0.001}
		s := filmBat(t, m, cam, 1, func(float64) bool { odd++; return odd%2 == 0 })
		if e := s.Events[swing.Contact]; math.Abs(e.Time-c0) > 0.010 || e.Method != "bat" {
			t.Errorf("%s: every second frame: contact off by %+.1f ms, %+v", v, 1e3*(e.Time-c0), e)
		}
		s = filmBat(t, m, cam, 1, func(t float64) bool { return t < b0-0.1 })
		if e := s.Events[swing.Contact]; e.Method != "hands" {
			t.Errorf("%s: hidden in the swing: %+v", v, e)
		}
		if e, ok := s.Events[swing.SwingStart]; ok {
			t.Errorf("%s: hidden in the swing: start %+v", v, e)
		}
		s = filmBat(t, m, cam, 1, func(t float64) bool { return t > b0+0.02 })
		if e, ok := s.Events[swing.SwingStart]; ok {
			t.Errorf("%s: hidden when it began: start %+v", v, e)
		}
	}
}

// TestBatAgainstHands: seen from the open side, hands that are timed far from where
// a fast barrel passes them are not believed.
func TestBatAgainstHands(t *testing.T) {
	for _, off := range []float64{-0.22, 0.22} {
		m, wrong := swingtest.Default(), swingtest.Default()
		wrong.Contacts = []float64{m.Contacts[0] + off}
		cam := swingtest.Camera{View: swing.OpenSide, FPS: 60, Noise: 0.001}
		poses, steady, _ := cam.Film(wrong)
		tr, _, err := track.Build(poses, steady, false, track.DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		sw, _, err := event.Detect(tr, event.Evidence{Bat: cam.Bat(m, tr.Times, 1, nil)}, event.DefaultOptions())
		if err != nil || len(sw) != 1 {
			t.Fatalf("%d swings, %v", len(sw), err)
		}
		if e := sw[0].Events[swing.Contact]; math.Abs(e.Time-m.Contacts[0]) > 0.015 || e.Method != "bat" {
			t.Errorf("hands off by %+.2f s: contact off by %+.1f ms, %+v", off, 1e3*(e.Time-m.Contacts[0]), e)
		}
	}
}

// TestBatStandsStill: sights that do not turn are no swing of a bat.
func TestBatStandsStill(t *testing.T) {
	m, cam := swingtest.Default(), swingtest.Camera{Noise: 0.001}
	poses, steady, _ := cam.Film(m)
	tr, _, err := track.Build(poses, steady, false, track.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	path := cam.Bat(m, tr.Times, 1, nil)
	for i := range path.Sights {
		path.Sights[i] = path.Sights[0]
	}
	sw, _, err := event.Detect(tr, event.Evidence{Bat: path}, event.DefaultOptions())
	if err != nil || len(sw) != 1 {
		t.Fatalf("%d swings, %v", len(sw), err)
	}
	if e, ok := sw[0].Events[swing.SwingStart]; ok {
		t.Errorf("start %+v", e)
	}
	path.Sights = path.Sights[1:]
	if _, _, err := event.Detect(tr, event.Evidence{Bat: path}, event.DefaultOptions()); err == nil {
		t.Error("a bat of another length than the track is taken")
	}
}

package pipeline

import (
	"iter"
	"math"
	"slices"
	"testing"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
)

func listed(times []float64) swing.Clip {
	return swing.Clip{List: &swing.FrameList{Times: times, Whole: true, Count: len(times)}}
}

func steadyTimes(rate float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Round(float64(i)/rate*90000) / 90000 // a container's clock
	}
	return out
}

func given(times []float64, want func(int) bool) iter.Seq2[swing.Frame, error] {
	return func(yield func(swing.Frame, error) bool) {
		for i, t := range times {
			if (want == nil || want(i)) && !yield(swing.Frame{Index: i, Time: t}, nil) {
				return
			}
		}
	}
}

func passed(frames iter.Seq2[swing.Frame, error]) (out []int) {
	for f := range frames {
		out = append(out, f.Index)
	}
	return out
}

// The first pass keeps near 60 frames a second, whatever the clip's rate, and
// both ends; ordinary clips are left alone.
func TestPace(t *testing.T) {
	for _, c := range []struct {
		rate float64
		step int // 0: every frame, no pace
	}{{24, 0}, {30, 0}, {59.94, 0}, {60, 0}, {90, 0}, {100, 2}, {119.88, 2}, {120, 2}, {240, 4}, {480, 8}} {
		times := steadyTimes(c.rate, 202)
		clip := listed(times)
		p := newPace(clip, [2]float64{}, 60)
		if c.step == 0 {
			if p != nil || p.want() != nil || len(passed(p.thin(given(times, nil)))) != 202 {
				t.Errorf("%g: frames are passed over", c.rate)
			}
			continue
		}
		var want []int
		for i := 0; i < 202; i += c.step {
			want = append(want, i)
		}
		if want[len(want)-1] != 201 {
			want = append(want, 201)
		}
		if got := passed(p.thin(given(times, p.want()))); !slices.Equal(got, want) || p.left != 202-len(want) {
			t.Errorf("%g: frames %v, %d passed over", c.rate, got, p.left)
		}
		if newPace(clip, [2]float64{}, 0) != nil {
			t.Errorf("%g: rate 0 asks for every frame", c.rate)
		}
		// Without the list the times decide alone.
		clip.List, clip.FPS = nil, c.rate
		if q := newPace(clip, [2]float64{}, 60); q.want() != nil || len(passed(q.thin(given(times, nil)))) != (201/c.step)+1 {
			t.Errorf("%g without a list: %v", c.rate, passed(q.thin(given(times, nil))))
		}
	}
	// A damaged clip sends other frames than were wanted.
	times := steadyTimes(240, 100)
	p := newPace(listed(times), [2]float64{}, 60)
	if got := passed(p.thin(given(times, func(i int) bool { return i%4 == 1 }))); len(got) != 25 {
		t.Errorf("shifted frames: %v", got)
	}
	// A window has its own first and last frame.
	p = newPace(listed(times), [2]float64{0.1, 0.2}, 60)
	if got := passed(given(times, p.want())); got[0] != 24 || got[len(got)-1] != 47 || len(got) != 7 {
		t.Errorf("window: %v", got)
	}
}

func TestInsertKeepsOrder(t *testing.T) {
	var p, more part
	for i := range 21 {
		q := swing.Pose{Frame: i, Time: float64(i) / 240, Found: true}
		b := bat.Sighting{Frame: i}
		if i%4 == 0 {
			p.Poses, p.Bat = append(p.Poses, q), append(p.Bat, b)
			p.Steady = append(p.Steady, swing.Similarity{A: 1, TX: float64(i)})
		} else if i > 5 && i < 15 {
			more.Poses, more.Bat = append(more.Poses, q), append(more.Bat, b)
		}
	}
	p.insert(more)
	want := []int{0, 4, 6, 7, 8, 9, 10, 11, 12, 13, 14, 16, 20}
	if len(p.Poses) != len(want) || len(p.Bat) != len(want) || len(p.Steady) != len(want) {
		t.Fatalf("%d poses, %d sightings, %d maps", len(p.Poses), len(p.Bat), len(p.Steady))
	}
	for k, f := range want {
		if p.Poses[k].Frame != f || p.Bat[k].Frame != f || math.Abs(p.Steady[k].TX-float64(f)) > 1e-9 {
			t.Errorf("place %d: pose %d, sighting %d, map %+v; want %d", k, p.Poses[k].Frame, p.Bat[k].Frame, p.Steady[k], f)
		}
	}
}

// The fast part of a filmed swing runs from before its landing to after its
// contact and is a small share of the clip.
func TestFastParts(t *testing.T) {
	m := swingtest.Default()
	poses, steady, _ := swingtest.Camera{View: swing.OpenSide, FPS: 60, Noise: 0.003, Seed: 4}.Film(m)
	got := fastParts(part{Poses: poses, Steady: steady}, DefaultOptions())
	if len(got) != 1 {
		t.Fatalf("parts %v", got)
	}
	w, touch, contact := got[0], m.Touch(0), m.Contacts[0]
	if w[0] > touch-0.03 || w[1] < contact+0.03 || w[1]-w[0] > contact-touch+0.35 {
		t.Errorf("part %v for a landing at %.3f and contact at %.3f", w, touch, contact)
	}
	if p := fastParts(part{Poses: poses[:4]}, DefaultOptions()); p != nil {
		t.Errorf("four frames have a fast part: %v", p)
	}
}

// Frames passed over lie on the way between those looked at; gaps of another
// kind stay.
func TestFillBetween(t *testing.T) {
	s := swing.Swing{Track: swing.Track{Frames: []int{0, 4, 5, 6, 40, 44}}}
	list := &swing.FrameList{Times: steadyTimes(240, 60), Whole: true}
	for k, f := range s.Track.Frames {
		at := swing.Point{X: float64(10 * f), Y: 5}
		var b [swing.NumPoints]swing.TrackPoint
		for j := range b {
			b[j] = swing.TrackPoint{X: at.X, Y: at.Y, Score: 0.9, State: swing.Seen}
		}
		if k == 1 {
			b[swing.Nose] = swing.TrackPoint{}
		}
		s.Track.Times = append(s.Track.Times, list.Times[f])
		s.Track.Points, s.Track.Fast, s.Track.Raw = append(s.Track.Points, b), append(s.Track.Fast, b), append(s.Track.Raw, b)
		s.Track.Steady = append(s.Track.Steady, swing.Similarity{A: 1, TX: float64(f)})
		s.Bat.Sights = append(s.Bat.Sights, swing.BatSight{Seen: f != 44, Knob: at, Tip: at.Add(swing.Point{Y: 9}), Sigma: float64(k + 1)})
		s.CentreOfMass = append(s.CentreOfMass, &at)
	}
	fillBetween(&s, list)
	want := []int{0, 1, 2, 3, 4, 5, 6, 40, 41, 42, 43, 44}
	if !slices.Equal(s.Track.Frames, want) {
		t.Fatalf("frames %v", s.Track.Frames)
	}
	for k, f := range want {
		p, b := s.Track.Points[k], s.Bat.Sights[k]
		made := f < 4 && f > 0 || f > 40 && f < 44
		if math.Abs(s.Track.Times[k]-list.Times[f]) > 1e-12 || math.Abs(p[swing.LeftHip].X-float64(10*f)) > 0.1 ||
			(p[swing.LeftHip].State == swing.Filled) != made || (p[swing.Nose].State == swing.Missing) != (f > 0 && f < 5) ||
			math.Abs(s.CentreOfMass[k].X-float64(10*f)) > 0.1 || math.Abs(s.Track.Steady[k].TX-float64(f)) > 0.01 ||
			b.Seen != (f < 41) || b.Seen && math.Abs(b.Tip.X-float64(10*f)) > 0.1 {
			t.Errorf("frame %d: %+v %+v", f, p[swing.LeftHip], b)
		}
	}
	if s.Bat.Sights[2].Sigma != 2 {
		t.Errorf("sigma between: %g, want the larger", s.Bat.Sights[2].Sigma)
	}
	before := len(s.Track.Frames)
	if fillBetween(&s, list); len(s.Track.Frames) != before {
		t.Error("a full track grew")
	}
}

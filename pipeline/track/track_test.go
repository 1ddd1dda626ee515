package track_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
	"plantframe/pipeline/track"
)

func build(t *testing.T, poses []swing.Pose, steady []swing.Similarity, moves bool) (swing.Track, []swing.Warning) {
	t.Helper()
	tr, w, err := track.Build(poses, steady, moves, track.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return tr, w
}

// clean films without noise; poses may be damaged and compared with the same
// film.
func clean(c swingtest.Camera) (poses, want []swing.Pose, steady []swing.Similarity, moves bool) {
	poses, steady, moves = c.Film(swingtest.Default())
	want, _, _ = c.Film(swingtest.Default())
	return poses, want, steady, moves
}

// worst is the largest distance in px of the repaired points from the film,
// over the frames [from, to).
func worst(tr swing.Track, want []swing.Pose, from, to int, joints ...swing.Joint) float64 {
	d := 0.0
	for i := from; i < to; i++ {
		for _, j := range joints {
			if tr.Raw[i][j].State == swing.Missing {
				return math.Inf(1)
			}
			d = math.Max(d, tr.Raw[i][j].Point().Sub(want[i].Points[j].Point()).Norm())
		}
	}
	return d
}

func all() []swing.Joint {
	var j []swing.Joint
	for k := range swing.NumPoints {
		j = append(j, swing.Joint(k))
	}
	return j
}

func with(ws []swing.Warning, code string) []swing.Warning {
	var out []swing.Warning
	for _, w := range ws {
		if w.Code == code {
			out = append(out, w)
		}
	}
	return out
}

func TestCleanFilmPassesUnchanged(t *testing.T) {
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		for _, fps := range []float64{30, 60, 240} {
			poses, want, steady, moves := clean(swingtest.Camera{View: v, FPS: fps})
			tr, w := build(t, poses, steady, moves)
			if len(w) != 0 {
				t.Errorf("%s %g: warnings %v", v, fps, w)
			}
			if d := worst(tr, want, 0, len(poses), all()...); d > 1e-9 {
				t.Errorf("%s %g: raw points moved by %g px", v, fps, d)
			}
			for i := range tr.Times {
				if tr.Times[i] != poses[i].Time || tr.Frames[i] != poses[i].Frame || tr.Steady[i] != swing.IdentitySimilarity() {
					t.Fatalf("frame %d: time, number or map changed", i)
				}
			}
		}
	}
}

// TestSwapsAreUndone exchanges sides of groups of points for some frames.
func TestSwapsAreUndone(t *testing.T) {
	arms := []swing.Joint{swing.LeftElbow, swing.LeftWrist, swing.LeftHand}
	legs := []swing.Joint{swing.LeftHip, swing.LeftKnee, swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe}
	body := append(append([]swing.Joint{swing.LeftShoulder, swing.LeftEye, swing.LeftEar}, arms...), legs...)
	for _, c := range []struct {
		name     string
		joints   []swing.Joint
		from, to int
		text     string
	}{
		{"legs, one frame", legs, 70, 71, "feet"},
		{"legs, a stretch", legs, 60, 75, "feet"},
		{"feet alone", legs[2:], 90, 96, "feet"},
		{"shoulders", []swing.Joint{swing.LeftShoulder}, 80, 84, "shoulders"},
		{"elbows", arms[:1], 40, 46, "elbows"},
		{"whole body", body, 50, 62, "the body"},
		{"feet to the end", legs[2:], 170, 180, "feet"},
		{"legs from the start", legs, 0, 8, "feet"},
	} {
		poses, want, steady, _ := clean(swingtest.Camera{})
		for i := c.from; i < c.to; i++ {
			for _, j := range c.joints {
				p := &poses[i].Points
				p[j], p[j.Partner()] = p[j.Partner()], p[j]
			}
		}
		tr, w := build(t, poses, steady, false)
		// Points that lie closer together than noise may stay exchanged.
		for _, j := range all() {
			if d := worst(tr, want, 0, len(poses), j); d > 0.12*tr.Torso {
				t.Errorf("%s: %s is off by %.1f px (torso %.0f)", c.name, j, d, tr.Torso)
			}
		}
		found := false
		for _, x := range with(w, "sides-swapped") {
			found = found || strings.Contains(x.Text, c.text) && x.Frames[0] == c.from && x.Frames[1] == c.to-1
		}
		if !found {
			t.Errorf("%s: warnings %v", c.name, w)
		}
		o := track.DefaultOptions()
		o.Swaps = false
		if _, w, _ := track.Build(poses, steady, false, o); len(with(w, "sides-swapped")) != 0 {
			t.Errorf("%s: repaired although switched off", c.name)
		}
	}
}

// TestTrueCrossingsAreNotSwaps: seen from behind, shoulders and hands of a
// turning hitter truly change sides in the picture, under noise too.
func TestTrueCrossingsAreNotSwaps(t *testing.T) {
	for seed := range uint64(6) {
		for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
			c := swingtest.Camera{View: v, Noise: 0.003, Seed: seed, FPS: []float64{30, 60, 120}[seed%3]}
			poses, steady, _ := c.Film(swingtest.Default())
			_, w := build(t, poses, steady, false)
			if s := with(w, "sides-swapped"); len(s) != 0 {
				t.Errorf("%s seed %d: %v", v, seed, s)
			}
		}
	}
}

// TestWildPointsAreLeftOut: single spikes and short stays elsewhere are
// dropped, bridged and told.
func TestWildPointsAreLeftOut(t *testing.T) {
	for _, n := range []int{1, 2, 5} {
		poses, want, steady, _ := clean(swingtest.Camera{})
		for i := 80; i < 80+n; i++ {
			poses[i].Points[swing.LeftAnkle].X += 90
			poses[i].Points[swing.RightKnee].Y -= 120
		}
		tr, w := build(t, poses, steady, false)
		if d := worst(tr, want, 0, len(poses), swing.LeftAnkle, swing.RightKnee); d > 0.05*tr.Torso {
			t.Errorf("%d frames: off by %.1f px", n, d)
		}
		if tr.Raw[80][swing.LeftAnkle].State != swing.Filled {
			t.Errorf("%d frames: state %v", n, tr.Raw[80][swing.LeftAnkle].State)
		}
		d := with(w, "point-dropped")
		if len(w) != 1 || len(d) != 1 || !slices.Equal(d[0].Frames, []int{80, 80 + n - 1}) ||
			!strings.Contains(d[0].Text, "left ankle") || !strings.Contains(d[0].Text, "right knee") {
			t.Errorf("%d frames: warnings %v", n, w)
		}
	}
}

// TestOneFootTakenForTheOther: a network that puts both ankles on one foot for
// a while.
func TestOneFootTakenForTheOther(t *testing.T) {
	poses, want, steady, _ := clean(swingtest.Camera{})
	for i := 60; i < 67; i++ {
		for _, j := range []swing.Joint{swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe} {
			poses[i].Points[j] = poses[i].Points[j.Partner()]
		}
	}
	tr, _ := build(t, poses, steady, false)
	if d := worst(tr, want, 0, len(poses), swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe); d > 0.1*tr.Torso {
		t.Errorf("off by %.1f px", d)
	}
}

func TestGaps(t *testing.T) {
	poses, want, steady, _ := clean(swingtest.Camera{})
	lose := func(j swing.Joint, from, to int) {
		for i := from; i < to; i++ {
			poses[i].Points[j].Score = 0
		}
	}
	lose(swing.LeftKnee, 60, 66)    // 0.1 s: bridged
	lose(swing.RightKnee, 60, 90)   // 0.5 s: stays missing
	lose(swing.LeftAnkle, 170, 180) // open end
	for i := 100; i < 104; i++ {
		poses[i] = swing.Pose{Frame: poses[i].Frame, Time: poses[i].Time}
	}
	tr, w := build(t, poses, steady, false)
	if d := worst(tr, want, 55, 70, swing.LeftKnee); d > 1.5 {
		t.Errorf("short gap off by %.2f px", d)
	}
	if d := worst(tr, want, 98, 106, swing.LeftHip, swing.Nose); d > 1.5 {
		t.Errorf("lost person off by %.2f px", d)
	}
	p := tr.Points[62][swing.LeftKnee]
	if p.State != swing.Filled || !(p.Score < 0.95) || !(p.Score > 0) {
		t.Errorf("bridged point %+v", p)
	}
	if s := tr.Points[75][swing.RightKnee].State; s != swing.Missing {
		t.Errorf("long gap has state %v", s)
	}
	if s := tr.Fast[175][swing.LeftAnkle].State; s != swing.Missing {
		t.Errorf("open end has state %v", s)
	}
	if g := with(w, "gap-filled"); len(g) < 2 || g[0].Frames[0] != 60 || g[0].Frames[1] != 65 {
		t.Errorf("filled: %v", g)
	}
	if g := with(w, "point-missing"); len(g) != 2 || !slices.Equal(g[0].Frames, []int{60, 89}) || !slices.Equal(g[1].Frames, []int{170, 179}) {
		t.Errorf("missing: %v", g)
	}
}

// TestHandLedByTheOther: a hidden hand that the network puts on the elbow goes
// back to the bat, even for longer than a curve would bridge.
func TestHandLedByTheOther(t *testing.T) {
	poses, want, steady, _ := clean(swingtest.Camera{})
	for i := 98; i < 114; i++ {
		for _, j := range []swing.Joint{swing.LeftHand, swing.LeftWrist} {
			poses[i].Points[j] = poses[i].Points[swing.RightElbow]
			poses[i].Points[j].Y += 60
			poses[i].Points[j].Score = 0.05
		}
	}
	tr, w := build(t, poses, steady, false)
	if d := worst(tr, want, 90, 120, swing.LeftHand); d > 0.25*tr.Torso {
		t.Errorf("hand off by %.1f px (torso %.0f)", d, tr.Torso)
	}
	if len(with(w, "point-dropped")) == 0 {
		t.Errorf("warnings %v", w)
	}
}

// TestMovingCamera: smoothing happens where the background stands still, so a
// planted foot stays planted and points come back in their own pictures.
func TestMovingCamera(t *testing.T) {
	poses, want, steady, moves := clean(swingtest.Camera{Pan: 300, Shake: 12, Seed: 2})
	if !moves {
		t.Fatal("the camera should move")
	}
	tr, w := build(t, poses, steady, true)
	if len(w) != 0 {
		t.Errorf("warnings %v", w)
	}
	still, _, none, _ := clean(swingtest.Camera{})
	ref, _ := build(t, still, none, false)
	shift := want[0].Points[swing.Nose].Point().Sub(still[0].Points[swing.Nose].Point())
	for i := range poses {
		for _, j := range all() {
			if d := tr.Raw[i][j].Point().Sub(want[i].Points[j].Point()).Norm(); d > 1e-6 {
				t.Fatalf("frame %d %s moved by %g px", i, j, d)
			}
			a := tr.Steady[i].Apply(tr.Points[i][j].Point()).Sub(shift)
			if d := a.Sub(ref.Points[i][j].Point()).Norm(); d > 1e-6 {
				t.Fatalf("frame %d %s: smoothed point differs by %g px from a still camera's", i, j, d)
			}
		}
	}
	if !tr.CameraMoves || math.Abs(tr.Stature-ref.Stature) > 1e-6 {
		t.Errorf("moves %v stature %g, %g", tr.CameraMoves, tr.Stature, ref.Stature)
	}
}

// TestSmoothing: noise goes down in Points, less in Fast, none in Raw; the
// peak of the hands stays in Fast; nothing lags.
func TestSmoothing(t *testing.T) {
	c := swingtest.Camera{Noise: 0.004, Seed: 8, FPS: 120}
	poses, steady, _ := c.Film(swingtest.Default())
	c.Noise = 0
	want, _, _ := c.Film(swingtest.Default())
	tr, _ := build(t, poses, steady, false)
	rms := func(pts [][swing.NumPoints]swing.TrackPoint, j swing.Joint, from, to int) float64 {
		s := 0.0
		for i := from; i < to; i++ {
			d := pts[i][j].Point().Sub(want[i].Points[j].Point()).Norm()
			s += d * d
		}
		return math.Sqrt(s / float64(to-from))
	}
	for _, j := range []swing.Joint{swing.Nose, swing.LeftKnee, swing.RightAnkle} {
		raw, fast, slow := rms(tr.Raw, j, 10, 90), rms(tr.Fast, j, 10, 90), rms(tr.Points, j, 10, 90)
		// White noise at 120 Hz: 12 Hz passes about a fifth of its power.
		if !(slow < fast && fast < 0.6*raw && slow < 0.5*raw) {
			t.Errorf("%s: raw %.2f fast %.2f slow %.2f px", j, raw, fast, slow)
		}
	}
	peak := func(pts func(i int) swing.Point) (at int, v float64) {
		for i := 150; i < 230; i++ {
			if d := pts(i + 1).Sub(pts(i - 1)).Norm(); d > v {
				at, v = i, d
			}
		}
		return at, v
	}
	i0, v0 := peak(func(i int) swing.Point { return want[i].Points[swing.LeftHand].Point() })
	i1, v1 := peak(func(i int) swing.Point { return tr.Fast[i][swing.LeftHand].Point() })
	if abs := i1 - i0; abs > 2 || abs < -2 || v1 < 0.93*v0 || v1 > 1.07*v0 {
		t.Errorf("hands: peak %.2f at frame %d, want %.2f at %d", v1, i1, v0, i0)
	}
}

// TestSizes: torso and stature in px, and the noise that is stated.
func TestSizes(t *testing.T) {
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		for _, scale := range []float64{1, 2} {
			m := swingtest.Default()
			c := swingtest.Camera{View: v, Scale: scale, Noise: 0.002, Seed: 4}
			poses, steady, _ := c.Film(m)
			tr, _ := build(t, poses, steady, false)
			want := m.Height * 1100 / 5.5 * scale
			if r := tr.Stature / want; r < 0.93 || r > 1.07 {
				t.Errorf("%s: stature %.3f of the true one", v, r)
			}
			if r := tr.Torso / want; r < 0.24 || r > 0.31 {
				t.Errorf("%s: torso is %.3f statures", v, r)
			}
			for j, s := range tr.Sigma {
				if !(s > 0.01*tr.Torso && s < 0.15*tr.Torso) {
					t.Errorf("%s: sigma of %s is %.3f torso", v, swing.Joint(j), s/tr.Torso)
				}
			}
		}
	}
	// A noisier film states more.
	quiet, _, _ := swingtest.Camera{Seed: 1, Noise: 0.001}.Film(swingtest.Default())
	loud, _, _ := swingtest.Camera{Seed: 1, Noise: 0.02}.Film(swingtest.Default())
	a, _ := build(t, quiet, nil, false)
	b, _ := build(t, loud, nil, false)
	if b.Sigma[swing.Nose] < 1.3*a.Sigma[swing.Nose] {
		t.Errorf("sigma %g for much noise, %g for little", b.Sigma[swing.Nose], a.Sigma[swing.Nose])
	}
}

// TestHoleInTime: poses of two windows of a long clip are not smoothed or
// bridged into each other.
func TestHoleInTime(t *testing.T) {
	poses, want, steady, _ := clean(swingtest.Camera{Length: 4})
	poses = append(slices.Clone(poses[:100]), poses[200:]...)
	want = append(slices.Clone(want[:100]), want[200:]...)
	tr, w := build(t, poses, steady[:len(poses)], false)
	if len(w) != 0 {
		t.Errorf("warnings %v", w)
	}
	if d := worst(tr, want, 0, len(poses), all()...); d > 1e-9 {
		t.Errorf("off by %g px", d)
	}
	for _, j := range []swing.Joint{swing.LeftHand, swing.LeftAnkle} {
		for _, i := range []int{99, 100} {
			if d := tr.Points[i][j].Point().Sub(want[i].Points[j].Point()).Norm(); d > 0.05*tr.Torso {
				t.Errorf("%s at the hole is off by %.1f px", j, d)
			}
		}
	}
}

func TestErrors(t *testing.T) {
	poses, steady, _ := swingtest.Camera{Length: 0.5}.Film(swingtest.Default())
	kind := func(err error) swing.Kind {
		var e *swing.Error
		if !errors.As(err, &e) || e.Msg == "" {
			t.Fatalf("not a swing.Error with a sentence: %v", err)
		}
		return e.Kind
	}
	lost := slices.Clone(poses)
	for i := range lost {
		lost[i].Found = i < 3
	}
	back := slices.Clone(poses)
	back[7].Time = back[6].Time
	bad := track.DefaultOptions()
	bad.BodyCutoff = math.NaN()
	for name, c := range map[string]struct {
		poses  []swing.Pose
		steady []swing.Similarity
		o      track.Options
		want   swing.Kind
	}{
		"no poses":          {nil, nil, track.DefaultOptions(), swing.KindTooShort},
		"three frames":      {lost, nil, track.DefaultOptions(), swing.KindTooShort},
		"time stands still": {back, nil, track.DefaultOptions(), swing.KindInternal},
		"maps missing":      {poses, steady[1:], track.DefaultOptions(), swing.KindInternal},
		"not a number":      {poses, steady, bad, swing.KindUsage},
		"no options":        {poses, steady, track.Options{}, swing.KindUsage},
	} {
		if _, _, err := track.Build(c.poses, c.steady, false, c.o); kind(err) != c.want {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Nonsense from a network is not seen, not an error.
	poses[9].Points[swing.LeftKnee].X = math.NaN()
	poses[9].Points[swing.Nose].Y = math.Inf(1)
	tr, _ := build(t, poses, steady, false)
	if p := tr.Points[9][swing.LeftKnee]; p.State != swing.Filled || math.IsNaN(p.X) {
		t.Errorf("%+v", p)
	}
}

func ExampleBuild() {
	poses, steady, moves := swingtest.Camera{}.Film(swingtest.Default())
	t, warnings, err := track.Build(poses, steady, moves, track.DefaultOptions())
	fmt.Println(t.Len(), len(warnings), err)
	// Output: 180 0 <nil>
}

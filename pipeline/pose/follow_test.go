package pose

import (
	"context"
	"errors"
	"iter"
	"maps"
	"math"
	"strings"
	"sync"
	"testing"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

func follow(t *testing.T, e *Estimator, w *world, seed Seed) ([]swing.Pose, []swing.Warning) {
	t.Helper()
	poses, warnings, err := e.Follow(context.Background(), w.iter(), seed, Each{})
	if err != nil {
		t.Fatal(err)
	}
	if len(poses) != w.frames {
		t.Fatalf("%d poses for %d frames", len(poses), w.frames)
	}
	return poses, warnings
}

// off returns the mean distance, px, of a pose from a person's true points.
func off(p swing.Pose, h human) float64 {
	var sum float64
	want := h.points()
	for j := range want {
		sum += p.Points[j].Point().Sub(want[j]).Norm()
	}
	return sum / float64(len(want))
}

func TestFollowFindsEveryPoint(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 60, frames: 90, people: func(t float64) []human {
		return []human{hitting(120+20*t, 32, t, 0.8)}
	}}
	e := w.estimator(t, DefaultOptions())
	poses, warnings := follow(t, e, w, Seed{})
	for i, p := range poses {
		if !p.Found || p.Frame != i || p.Time != float64(i)/60 {
			t.Fatalf("frame %d: %+v", i, p)
		}
		if d := off(p, w.people(p.Time)[0]); d > 0.5 {
			t.Fatalf("frame %d: mean error %.2f px", i, d)
		}
		near(t, "pose score", p.Score, 0.97, 1e-6)
		near(t, "point score", p.Points[swing.LeftElbow].Score, sigmoid(4)*sigmoid(4), 1e-6)
	}
	if len(warnings) != 0 {
		t.Errorf("warnings %v", warnings)
	}
	r := e.Runs()
	// One search at the start, others sought at 0, 0.5 and 1 s.
	if r["fine"] != 90 || r["det"] != 1 || r["obj"] != 3 || r["coarse"] != 0 {
		t.Errorf("runs %v: one large run a frame and two searches a second are needed, no more", r)
	}
	s := e.Seen()
	if s.OtherSwings() || s.Hitter != 0 || len(s.Windows) != 1 || len(s.People) != 1 {
		t.Errorf("seen %+v", s)
	}
}

// Lanes change no answer: whoever is slipped to, lost and found again, two
// frames at once give what one after another gives. The hooks see every frame
// once, InOrder in order and with its picture untouched.
func TestLanesChangeNoAnswer(t *testing.T) {
	run := func(lanes int) ([]swing.Pose, map[string]int) {
		w := &world{w: 250, h: 200, fps: 60, frames: 121, people: func(t float64) []human {
			if t > 0.7 && t < 1.1 {
				return []human{standing(190, 25)}
			}
			return []human{hitting(80+20*t, 32, t, 1.4), standing(190, 25)}
		}}
		w.slip = func(t float64) int {
			if t > 0.3 && t < 0.36 {
				return 1
			}
			return -1
		}
		for range lanes - 1 {
			w.more = append(w.more, Lane{Landmarks: w.landmarks("fine")})
		}
		e := w.estimator(t, DefaultOptions())
		var mu sync.Mutex
		beside := map[int]swing.Pose{}
		next := 0
		var before []swing.Frame
		poses, _, err := e.Follow(context.Background(), w.iter(), Seed{Path: []Place{{Hip: swing.Point{X: 80, Y: 110}, Size: 32}}}, Each{
			Beside: func(lane int, f swing.Frame, p swing.Pose) error {
				mu.Lock()
				defer mu.Unlock()
				if _, twice := beside[f.Index]; twice || lane < 0 || lane >= lanes || p.Frame != f.Index {
					t.Errorf("frame %d in lane %d of %d, pose of frame %d, before: %v", f.Index, lane, lanes, p.Frame, twice)
				}
				beside[f.Index] = p
				return nil
			},
			InOrder: func(f swing.Frame, p swing.Pose, _ []swing.Box) error {
				if f.Index != next || beside[f.Index] != p {
					t.Errorf("frame %d came in place of %d, or with another pose", f.Index, next)
				}
				next++
				before = append(before, f)
				for _, g := range before[max(0, len(before)-2*AtOnce+AtOnce-1):] {
					if g.Pix[2] != byte(255-g.Index%200) {
						t.Errorf("frame %d: its picture was overwritten before frame %d was done", g.Index, f.Index)
					}
				}
				return nil
			},
		})
		if err != nil || next != 121 {
			t.Fatal(err, next)
		}
		return poses, e.Runs()
	}
	one, runs := run(1)
	two, runs2 := run(2)
	lost := 0
	for i := range one {
		if one[i] != two[i] {
			t.Fatalf("frame %d: %+v with one lane, %+v with two", i, one[i], two[i])
		}
		if !one[i].Found {
			lost++
		}
	}
	if lost < 10 || !maps.Equal(runs, runs2) {
		t.Errorf("%d frames lost; runs %v and %v", lost, runs, runs2)
	}
}

// Every fourth frame is followed, the others are looked at between.
func TestBetweenFillsIn(t *testing.T) {
	for _, lanes := range []int{1, 2} {
		w := &world{w: 250, h: 200, fps: 240, frames: 199, people: func(t float64) []human {
			if t > 0.5 && t < 0.65 {
				return nil
			}
			return []human{hitting(120+20*t, 32, t, 0.4)}
		}}
		for range lanes - 1 {
			w.more = append(w.more, Lane{Landmarks: w.landmarks("fine")})
		}
		e := w.estimator(t, DefaultOptions())
		some := func(want func(i int) bool) iter.Seq2[swing.Frame, error] {
			return func(yield func(swing.Frame, error) bool) {
				for f, err := range w.iter() {
					if want(f.Index) && !yield(f, err) {
						return
					}
				}
			}
		}
		if _, _, err := e.Follow(context.Background(), some(func(i int) bool { return i%4 == 0 }), Seed{}, Each{}); err != nil {
			t.Fatal(err)
		}
		before := e.Runs()
		next := 21
		got, err := e.Between(context.Background(), some(func(i int) bool { return i%4 != 0 && i > 20 }), Each{
			InOrder: func(f swing.Frame, p swing.Pose, _ []swing.Box) error {
				if f.Index != next || p.Frame != next {
					t.Errorf("frame %d came in place of %d", f.Index, next)
				}
				if next++; next%4 == 0 {
					next++
				}
				return nil
			},
		})
		if err != nil || len(got) != 134 {
			t.Fatalf("%d poses, %v", len(got), err)
		}
		for _, p := range got {
			there := w.people(p.Time)
			if p.Found != (len(there) > 0) && (p.Time < 0.65 || p.Time > 0.75) {
				t.Errorf("%.3f s: found %v, %d people are there", p.Time, p.Found, len(there))
			}
			if p.Found && off(p, there[0]) > 0.6 {
				t.Errorf("%.3f s: mean error %.2f px", p.Time, off(p, there[0]))
			}
		}
		after := e.Runs()
		if n := after["fine"] - before["fine"]; n > 134 || after["det"] != before["det"] {
			t.Errorf("%d looks for 134 frames, %d searches", n, after["det"]-before["det"])
		}
		stop := errors.New("stop")
		broken := func(yield func(swing.Frame, error) bool) { yield(swing.Frame{}, stop) }
		if _, err := e.Between(context.Background(), broken, Each{}); err != stop {
			t.Errorf("frame error became %v", err)
		}
	}
}

func TestFollowTurnedBody(t *testing.T) {
	c := swing.Point{X: 50, Y: 60}
	r := aligned(c, swing.Point{X: 50, Y: 40})
	near(t, "upright", r.Rot, 0, 1e-12)
	near(t, "size", r.W, 50, 1e-12)
	near(t, "leaning right", aligned(c, swing.Point{X: 70, Y: 40}).Rot, math.Pi/4, 1e-12)
	near(t, "mirror image", aligned(c, swing.Point{X: 30, Y: 40}).Rot, -math.Pi/4, 1e-12)
	near(t, "upside down", aligned(c, swing.Point{X: 50, Y: 80}).Rot, math.Pi, 1e-12)
	near(t, "past the wrap", aligned(c, swing.Point{X: 49, Y: 80}).Rot, math.Atan2(1, 20)-math.Pi, 1e-9)
}

// A network that slips to a neighbour for a frame must not take the track.
func TestFollowIsNotTakenOver(t *testing.T) {
	for _, slipped := range []float64{0.02, 0.3} { // s
		w := &world{w: 250, h: 200, fps: 60, frames: 60, people: func(t float64) []human {
			return []human{standing(80, 26), standing(140, 32)}
		}}
		w.slip = func(t float64) int {
			if t > 0.3 && t < 0.3+slipped {
				return 1
			}
			return -1
		}
		o := DefaultOptions()
		o.OthersEvery = 0
		e := w.estimator(t, o)
		seed := Seed{Path: []Place{{Time: 0, Hip: swing.Point{X: 80, Y: 110}, Size: 26}}}
		poses, warnings := follow(t, e, w, seed)
		lost := 0
		for _, p := range poses {
			if !p.Found {
				lost++
				continue
			}
			if d := off(p, w.people(0)[0]); d > 1 {
				t.Fatalf("%.2f s: the track is %.1f px off: it went to the other person", p.Time, d)
			}
		}
		if lost == 0 || lost > int(slipped*60)+8 || len(warnings) != 1 || warnings[0].Code != "hitter-lost" {
			t.Errorf("slip of %.2f s: %d frames lost, warnings %v", slipped, lost, warnings)
		}
	}
}

func TestFollowLosesAndFindsAgain(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 60, frames: 120, people: func(t float64) []human {
		if t < 0.2 || (t > 0.8 && t < 1.3) {
			return nil
		}
		return []human{standing(110, 30)}
	}}
	e := w.estimator(t, DefaultOptions())
	poses, warnings := follow(t, e, w, Seed{})
	for _, p := range poses {
		there := len(w.people(p.Time)) > 0
		if p.Found && !there {
			t.Errorf("%.2f s: found although nobody is there", p.Time)
		}
		late := p.Time < 0.32 || (p.Time > 1.29 && p.Time < 1.42) // ten searches a second
		if !p.Found && there && !late {
			t.Errorf("%.2f s: not found", p.Time)
		}
	}
	if len(warnings) != 2 || warnings[1].Frames[0] != 49 {
		t.Errorf("warnings %v", warnings)
	}
	if r := e.Runs(); r["det"] > 30 {
		t.Errorf("%d searches: an empty picture must not cost one a frame", r["det"])
	}
}

// The follower picks a small person with a bat rather than a larger bystander,
// and hands out the bystander's box.
func TestFollowChoosesTheBat(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 30, frames: 51, people: func(t float64) []human {
		h := hitting(60, 26, t, 1)
		h.bat = true
		return []human{standing(150, 36), h}
	}}
	e := w.estimator(t, DefaultOptions())
	var boxes []swing.Box
	poses, _, err := e.Follow(context.Background(), w.iter(), Seed{}, Each{InOrder: func(f swing.Frame, p swing.Pose, others []swing.Box) error {
		boxes = append([]swing.Box(nil), others...)
		return nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	if d := off(poses[50], w.people(poses[50].Time)[1]); d > 1 {
		t.Fatalf("follows somebody %.1f px from the hitter", d)
	}
	if len(boxes) != 1 || boxes[0].X0 > 150-18 || boxes[0].X1 < 150+18 || boxes[0].Y1 < 160 {
		t.Errorf("boxes of others: %v", boxes)
	}
	if s := e.Seen(); s.OtherSwings() || len(s.People) != 2 || s.Hitter != s.Followed {
		t.Errorf("seen %+v", s)
	}
}

// When the wrong person was followed, Seen says so and its seed leads to the
// right one.
func TestFollowAgainWithSeed(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 30, frames: 60, people: func(t float64) []human {
		h := hitting(60, 26, t, 1.3)
		if t < 0.4 { // hands apart at first: nothing tells the hitter
			h.left, h.right = swing.Point{X: 0.5}, swing.Point{X: -0.5}
		}
		return []human{standing(150, 36), h}
	}}
	e := w.estimator(t, DefaultOptions())
	poses, _ := follow(t, e, w, Seed{})
	if d := off(poses[10], w.people(poses[10].Time)[0]); d > 1 {
		t.Fatalf("expected the larger person first, off by %.1f px", d)
	}
	s := e.Seen()
	if !s.OtherSwings() {
		t.Fatalf("seen %+v", s)
	}
	poses, _ = follow(t, e, w, s.Seed)
	for _, p := range poses {
		if d := off(p, w.people(p.Time)[1]); !p.Found || d > 1 {
			t.Fatalf("%.2f s: found %v, %.1f px off the hitter", p.Time, p.Found, d)
		}
	}
	if s := e.Seen(); s.OtherSwings() {
		t.Errorf("still unsure: %+v", s)
	}
}

func TestFollowNobody(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 30, frames: 40, people: func(float64) []human { return nil }}
	e := w.estimator(t, DefaultOptions())
	poses, warnings := follow(t, e, w, Seed{})
	if len(warnings) != 1 || warnings[0].Code != "no-person" || poses[20].Found {
		t.Errorf("warnings %v", warnings)
	}
	if s := e.Seen(); len(s.Warnings) != 1 || s.Warnings[0].Code != "no-person" {
		t.Errorf("seen %+v", s)
	}
}

func TestFollowBodyOutside(t *testing.T) {
	w := &world{w: 250, h: 130, fps: 30, frames: 30, people: func(float64) []human { return []human{standing(120, 36)} }}
	e := w.estimator(t, DefaultOptions())
	_, warnings := follow(t, e, w, Seed{})
	if len(warnings) != 1 || warnings[0].Code != "body-cut" {
		t.Errorf("warnings %v", warnings)
	}
}

func TestErrorsComeOut(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 30, frames: 30, people: func(t float64) []human { return []human{standing(120, 30)} }}
	e := w.estimator(t, DefaultOptions())
	w.fail = errors.New("out of memory")
	_, _, err := e.Follow(context.Background(), w.iter(), Seed{}, Each{})
	var se *swing.Error
	if !errors.As(err, &se) || se.Kind != swing.KindModel || !errors.Is(err, w.fail) || se.Hint == "" {
		t.Errorf("network error became %#v", err)
	}
	if _, err = e.Scan(context.Background(), w.iter(), swing.NoProgress{}); !errors.Is(err, w.fail) {
		t.Errorf("scan: %v", err)
	}
	w.fail = nil
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err = e.Follow(ctx, w.iter(), Seed{}, Each{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	stop := errors.New("stop")
	if _, _, err = e.Follow(context.Background(), w.iter(), Seed{}, Each{InOrder: func(swing.Frame, swing.Pose, []swing.Box) error { return stop }}); err != stop {
		t.Errorf("callback error became %v", err)
	}
	broken := func(yield func(swing.Frame, error) bool) { yield(swing.Frame{}, stop) }
	if _, _, err = e.Follow(context.Background(), iter.Seq2[swing.Frame, error](broken), Seed{}, Each{}); err != stop {
		t.Errorf("frame error became %v", err)
	}
}

func TestNewRefusesWhatDoesNotFit(t *testing.T) {
	w := &world{}
	good := func() Networks {
		return Networks{Detector: w.detector(), Landmarks: w.landmarks("fine"), Objects: w.objects()}
	}
	for name, c := range map[string]struct {
		change func(*Networks, *Options)
		want   string
	}{
		"none":           {func(n *Networks, _ *Options) { n.Landmarks = nil }, "landmark"},
		"no detector":    {func(n *Networks, _ *Options) { n.Detector = nil }, "person detector"},
		"swapped":        {func(n *Networks, _ *Options) { n.Detector, n.Landmarks = n.Landmarks, n.Detector }, "finds no people"},
		"missing output": {func(n *Networks, _ *Options) { n.Landmarks.Spec.Outputs = map[string]string{"flag": "x"} }, `output "x"`},
		"input size":     {func(n *Networks, _ *Options) { n.Landmarks.Spec.Width = 192 }, "input has"},
		"object decoder": {func(n *Networks, _ *Options) { n.Objects = w.landmarks("x") }, "finds no objects"},
		"point set":      {func(n *Networks, _ *Options) { n.Landmarks.Spec.Keypoints = "coco-17" }, "keypoint set"},
		"options":        {func(_ *Networks, o *Options) { o.ScanRate = math.NaN() }, "scan rate"},
	} {
		n, o := good(), DefaultOptions()
		c.change(&n, &o)
		_, err := New(n, o)
		var se *swing.Error
		if !errors.As(err, &se) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if _, err := New(good(), DefaultOptions()); err != nil {
		t.Error(err)
	}
	// NanoDet may serve both roles.
	n := good()
	n.Detector = n.Objects
	e, err := New(n, DefaultOptions())
	if err != nil || len(e.runners) != 2 {
		t.Errorf("%v, %d runners", err, len(e.runners))
	}
}

// With heatmap and simcc networks the crop is the box round the points.
func TestBoxRegion(t *testing.T) {
	var b body
	for j := range b.points {
		b.points[j] = swing.Keypoint{X: 100, Y: 80 + 5*float64(j), Score: 0.9}
	}
	b.points[3] = swing.Keypoint{X: 500, Y: 80, Score: 0.1}
	r := boxRegion(&b, 0.75, pixel.Region{})
	near(t, "height", r.H, 110*1.25, 1e-9)
	near(t, "width", r.W, 110*1.25*0.75, 1e-9)
	near(t, "middle", r.CY, 135, 1e-9)
	prev := pixel.Region{CX: 1, CY: 2, W: 3, H: 4}
	if got := boxRegion(&body{}, 0.75, prev); got != prev {
		t.Errorf("nobody: %v", got)
	}
}

func TestMoveNetRegion(t *testing.T) {
	f := swing.Frame{Width: 400, Height: 300}
	h := standing(200, 40)
	var b body
	for j, p := range h.points() {
		b.points[j] = swing.Keypoint{X: p.X, Y: p.Y, Score: 0.9}
	}
	b.hip = h.hip
	prev := pixel.Square(h.hip, 160, 0)
	r := moveNetRegion(f, prev, &b)
	// Shoulders 40 px up give 76; ankles 68 px down give 81.6.
	near(t, "side", r.W, 0.9*2*81.6+0.1*160, 1e-9)
	b.points[swing.LeftHip].Score, b.points[swing.RightHip].Score = 0.1, 0.1
	if r := moveNetRegion(f, prev, &b); r != pixel.Fit(400, 300, 1, 1) {
		t.Errorf("hips unseen: %v, want the whole picture", r)
	}
}

func BenchmarkFollowFrame(b *testing.B) {
	w := &world{w: 250, h: 200, fps: 60, frames: 1, people: func(float64) []human { return []human{standing(120, 30)} }}
	e := w.estimator(b, DefaultOptions())
	var f swing.Frame
	for g := range w.iter() {
		f = g
	}
	// The landmark network answers once and then stands still: the
	// benchmark is of the stage alone.
	fw := newFollower(e, Seed{})
	if err := fw.steps([]swing.Frame{f}); err != nil {
		b.Fatal(err)
	}
	e.fine.run.Session.(*fakeSession).run = nil
	fw.poses = make([]swing.Pose, 0, 1<<20)
	fw.crowd.every = 0
	fw.crowd.hitter.looks = make([]look, 0, 1<<18)
	b.ReportAllocs()
	for b.Loop() {
		f.Index++
		f.Time = float64(f.Index) / 60
		if len(fw.poses) == cap(fw.poses) {
			fw.poses, fw.crowd.hitter.looks = fw.poses[:0], fw.crowd.hitter.looks[:0]
		}
		if err := fw.steps([]swing.Frame{f}); err != nil {
			b.Fatal(err)
		}
	}
}

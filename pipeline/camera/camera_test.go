package camera

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

// film is a clip of the synthetic scene with known views.
type film struct {
	w, h  int
	views []view
	fps   float64
	// person, when not nil, says where a person stands in a frame, px; the
	// person is drawn and, unless hidden, told to the follower.
	person func(i int) swing.Box
	hidden bool
	shade  func(i, x, y int, grey float64) float64
	scene  *scene
}

// follow runs a follower over the film.
func (m *film) follow(t testing.TB, o Options) ([]swing.Similarity, bool, []swing.Warning) {
	t.Helper()
	if m.scene == nil {
		m.scene = newScene(7, 1500)
	}
	fo, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer fo.Close()
	for i, v := range m.views {
		var box []swing.Box
		if m.person != nil && !m.hidden {
			box = append(box, m.person(i))
		}
		if err := fo.Add(m.frame(i, v), box); err != nil {
			t.Fatal(err)
		}
	}
	return fo.Steady()
}

func (m *film) frame(i int, v view) swing.Frame {
	shade := m.shade
	f := m.scene.frame(m.w, m.h, i, v, func(x, y int, g float64) float64 {
		if shade != nil {
			g = shade(i, x, y, g)
		}
		return g
	})
	if m.person != nil {
		// A chequered shirt that sways: strong corners that move.
		b := m.person(i)
		for y := int(b.Y0); y < min(m.h, int(b.Y1)); y++ {
			for x := int(b.X0); x < min(m.w, int(b.X1)); x++ {
				g := byte(40 + 170*((x/7+y/7+i/2)%2))
				at := 3 * (y*m.w + x)
				f.Pix[at], f.Pix[at+1], f.Pix[at+2] = g, g, g
			}
		}
	}
	f.Time = float64(i) / m.fps
	return f
}

// worst returns the largest error of the maps, px, over points of the hitter's
// box: where a far point seen there in frame i lies in the first frame.
func (m *film) worst(maps []swing.Similarity) float64 {
	l := newLens(m.w, m.h, m.scene.focal)
	worst := 0.0
	for i, v := range m.views {
		b := swing.Box{X0: 0.4 * float64(m.w), X1: 0.6 * float64(m.w), Y0: 0.3 * float64(m.h), Y1: 0.9 * float64(m.h)}
		if m.person != nil {
			b = m.person(i)
		}
		for _, p := range []swing.Point{{X: b.X0, Y: b.Y0}, {X: b.X1, Y: b.Y1}, {X: b.X0, Y: b.Y1}, {X: (b.X0 + b.X1) / 2, Y: (b.Y0 + b.Y1) / 2}} {
			q, _ := m.views[0].project(v.direction(l.plane(p)))
			worst = max(worst, maps[i].Apply(p).Sub(l.px(q)).Norm())
		}
	}
	return worst
}

// stands is a person in the middle who shifts a little.
func stands(w, h int) func(int) swing.Box {
	return func(i int) swing.Box {
		x := 0.45*float64(w) + 0.03*float64(w)*math.Sin(float64(i)/9)
		return swing.Box{X0: x, X1: x + 0.12*float64(w), Y0: 0.3 * float64(h), Y1: 0.9 * float64(h)}
	}
}

// shaken returns views of a hand-held camera: slow sways of some degrees' and
// a tremor of a tenth of a degree's size.
func shaken(n int, fps, amount float64) []view {
	out := make([]view, n)
	for i := range out {
		s := float64(i) / fps
		out[i] = firstView().turned(step{
			amount * (0.010*math.Sin(2*math.Pi*0.9*s+1) + 0.0015*math.Sin(2*math.Pi*9*s)),
			amount * (0.012*math.Sin(2*math.Pi*0.7*s) + 0.0015*math.Sin(2*math.Pi*8*s+2)),
			amount * 0.008 * math.Sin(2*math.Pi*1.1*s+0.5),
			amount * 0.003 * math.Sin(2*math.Pi*0.5*s),
		})
	}
	return out
}

func noisy(sigma float64) func(i, x, y int, g float64) float64 {
	rng := rand.New(rand.NewPCG(3, 4))
	return func(_, _, _ int, g float64) float64 { return g + sigma*rng.NormFloat64() }
}

func warned(ws []swing.Warning, code string) bool {
	return slices.ContainsFunc(ws, func(w swing.Warning) bool { return w.Code == code })
}

// Most of the error allowed is that of any similarity: a turning camera bends
// the picture, and the corners of a tall hitter show it. The motion itself is
// some ten px.
func TestShakenCamera(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		film film
		most float64 // px
	}{
		{"clean", film{w: 480, h: 270, fps: 60, views: shaken(45, 60, 1), person: stands(480, 270)}, 0.3},
		{"noisy", film{w: 480, h: 270, fps: 60, views: shaken(40, 60, 1), person: stands(480, 270), shade: noisy(4)}, 0.4},
		{"halved twice, odd size", film{w: 1283, h: 721, fps: 30, views: shaken(12, 30, 1), person: stands(1283, 721)}, 0.8},
		{"portrait", film{w: 270, h: 480, fps: 60, views: shaken(60, 60, 1), person: stands(270, 480)}, 0.9},
		{"person not told", film{w: 480, h: 270, fps: 60, views: shaken(60, 60, 1), person: stands(480, 270), hidden: true}, 0.6},
		{"every third frame looked at", film{w: 480, h: 270, fps: 240, views: shaken(80, 240, 1), person: stands(480, 270)}, 0.7},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			maps, moves, warnings := c.film.follow(t, Options{})
			if !moves || !warned(warnings, "camera-moves") || len(warnings) != 1 {
				t.Errorf("moves %v, warnings %v", moves, warnings)
			}
			if len(maps) != len(c.film.views) {
				t.Fatalf("%d maps for %d frames", len(maps), len(c.film.views))
			}
			if e := c.film.worst(maps); e > c.most {
				t.Errorf("largest error %.2f px, want at most %.2f", e, c.most)
			} else {
				t.Logf("largest error %.3f px", e)
			}
		})
	}
}

// A tripod clip must come out untouched: noise, flicker, a moving person, and
// all of them together are no motion.
func TestStandingCameraIsExactlyTheIdentity(t *testing.T) {
	t.Parallel()
	still := make([]view, 30)
	for i := range still {
		still[i] = firstView()
	}
	noise := noisy(5)
	flicker := func(i, _, _ int, g float64) float64 { return g * (0.95 + 0.02*float64(i%5)) }
	for name, shade := range map[string]func(i, x, y int, g float64) float64{
		"clean": nil, "noise": noisy(5), "flicker": flicker,
		"both": func(i, x, y int, g float64) float64 { return noise(i, x, y, flicker(i, x, y, g)) },
	} {
		for _, hidden := range []bool{false, true} {
			if hidden && name != "both" {
				continue
			}
			m := film{w: 480, h: 270, fps: 60, views: still, person: stands(480, 270), hidden: hidden, shade: shade}
			maps, moves, warnings := m.follow(t, Options{})
			if moves || len(warnings) > 0 {
				t.Errorf("%s: moves %v, warnings %v", name, moves, warnings)
			}
			for i, s := range maps {
				if s != swing.IdentitySimilarity() {
					t.Fatalf("%s: the map of frame %d is %v", name, i, s)
				}
			}
		}
	}
}

// The smallest motion that matters is found: a drift of 1.5 px at 480.
func TestSlowDriftIsSeen(t *testing.T) {
	t.Parallel()
	m := film{w: 480, h: 270, fps: 60, person: stands(480, 270)}
	for i := range 60 {
		m.views = append(m.views, firstView().turned(step{0, 1.5 / 384 * float64(i) / 59, 0, 0}))
	}
	maps, moves, _ := m.follow(t, Options{})
	if e := m.worst(maps); !moves || e > 0.2 {
		t.Errorf("moves %v, largest error %.2f px", moves, e)
	}
}

// A pan over more than half a picture changes keys on the way. With the right
// lens the error stays small; with a lens that is off by a third, it stays a
// small part of the motion.
func TestPan(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ focal, most float64 }{{0.8, 0.035}, {1.07, 0.05}, {0.62, 0.06}} {
		m := film{w: 480, h: 270, fps: 60, scene: newScene(7, 2500), person: stands(480, 270)}
		m.scene.focal = c.focal
		const turn = 0.35 // rad
		for i := range 50 {
			m.views = append(m.views, firstView().turned(step{0, turn * float64(i) / 49, 0, 0}))
		}
		maps, moves, _ := m.follow(t, Options{})
		motion := math.Tan(turn) * c.focal * 480
		e := m.worst(maps)
		if !moves || e > c.most*motion {
			t.Errorf("lens %g: moves %v, largest error %.1f px of %.0f px", c.focal, moves, e, motion)
		}
		t.Logf("lens %g: largest error %.2f px of %.0f px", c.focal, e, motion)
	}
}

// Errors must not add up: after many large sways the camera returns to where
// it began, and so must the map.
func TestNoDrift(t *testing.T) {
	t.Parallel()
	m := film{w: 320, h: 180, fps: 30, scene: newScene(7, 2500)}
	const period, sways = 30, 5
	for i := range period*sways + 1 {
		m.views = append(m.views, firstView().turned(step{0, 0.25 * math.Sin(2*math.Pi*float64(i)/period), 0, 0}))
	}
	maps, moves, _ := m.follow(t, Options{})
	if !moves {
		t.Fatal("no motion found")
	}
	for k := 1; k <= sways; k++ {
		p := swing.Point{X: 160, Y: 120}
		if e := maps[k*period].Apply(p).Sub(p).Norm(); e > 0.6 {
			t.Errorf("after %d sways the map is %.2f px off", k, e)
		}
	}
}

func TestNothingToHoldOnTo(t *testing.T) {
	t.Parallel()
	for name, shade := range map[string]func(i, x, y int, g float64) float64{
		"blank":           func(int, int, int, float64) float64 { return 90 },
		"dark and noisy":  func(i, x, y int, g float64) float64 { return darkNoise(i, x, y) },
		"changing colour": func(i, _, _ int, _ float64) float64 { return float64(40 + 3*i) },
	} {
		m := film{w: 320, h: 180, fps: 60, views: shaken(40, 60, 1), shade: shade}
		maps, moves, warnings := m.follow(t, Options{})
		if moves || !warned(warnings, "camera-unknown") {
			t.Errorf("%s: moves %v, warnings %v", name, moves, warnings)
		}
		for _, s := range maps {
			if s != swing.IdentitySimilarity() {
				t.Fatalf("%s: a map is %v", name, s)
			}
		}
	}
}

// darkNoise is 8 bit sensor noise around black, new in every frame.
func darkNoise(i, x, y int) float64 {
	return math.Abs(2 * rand.New(rand.NewPCG(uint64(i), uint64(y*10000+x))).NormFloat64())
}

// A burst of blur in a moving clip is bridged and told.
func TestBlurIsBridged(t *testing.T) {
	t.Parallel()
	blind := func(i int) bool { return i >= 20 && i < 29 }
	m := film{w: 480, h: 270, fps: 60, views: shaken(60, 60, 1), person: stands(480, 270), shade: func(i, _, _ int, g float64) float64 {
		if blind(i) {
			return 100
		}
		return g
	}}
	maps, moves, warnings := m.follow(t, Options{})
	if !moves || !warned(warnings, "camera-doubt") {
		t.Errorf("moves %v, warnings %v", moves, warnings)
	}
	for _, w := range warnings {
		if w.Code == "camera-doubt" && fmt.Sprint(w.Frames) != "[20 28]" {
			t.Errorf("frames %v", w.Frames)
		}
	}
	for i := range maps {
		one := film{w: m.w, h: m.h, scene: m.scene, views: []view{m.views[0], m.views[i]}, person: func(int) swing.Box { return m.person(i) }}
		e := one.worst([]swing.Similarity{swing.IdentitySimilarity(), maps[i]})
		if most := map[bool]float64{false: 0.25, true: 2.5}[blind(i)]; e > most {
			t.Errorf("frame %d: error %.2f px", i, e)
		}
	}
}

func TestFollowerErrors(t *testing.T) {
	t.Parallel()
	for _, o := range []Options{{MaxSide: 10}, {Focal: -1}, {Focal: 0.1}, {Corners: -1}, {MinCorners: 3}, {Still: -1}, {Interval: 1}} {
		if _, err := New(o); err == nil {
			t.Errorf("%+v is taken", o)
		}
	}
	if err := DefaultOptions().Validate(); err != nil {
		t.Error(err)
	}
	fo, err := New(Options{})
	if err != nil {
		t.Fatal(err)
	}
	if maps, moves, w := fo.Steady(); len(maps) != 0 || moves || len(w) != 0 {
		t.Error("no frames, but a result")
	}
	good := swing.Frame{Width: 64, Height: 48, Pix: make([]byte, 3*64*48)}
	if err := fo.Add(good, nil); err != nil {
		t.Fatal(err)
	}
	for name, f := range map[string]swing.Frame{
		"other size": {Width: 48, Height: 64, Time: 1, Pix: make([]byte, 3*64*48)},
		"few bytes":  {Width: 64, Height: 48, Time: 2, Pix: make([]byte, 100)},
		"tiny":       {Width: 3, Height: 3, Time: 3, Pix: make([]byte, 27)},
	} {
		if err := fo.Add(f, nil); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	if err := fo.Close(); err != nil {
		t.Error(err)
	}
	if err := fo.Close(); err != nil {
		t.Error("closing twice:", err)
	}
	if err := fo.Add(good, nil); err == nil {
		t.Error("a frame is taken after Close")
	}
}

package pose

import (
	"context"
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

func scan(t *testing.T, w *world) (Scan, *Estimator) {
	t.Helper()
	e := w.estimator(t, DefaultOptions())
	s, err := e.Scan(context.Background(), w.iter(), swing.NoProgress{})
	if err != nil {
		t.Fatal(err)
	}
	return s, e
}

func TestScanFindsTheSwinger(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 30, frames: 270, people: func(t float64) []human {
		h := hitting(60, 26, t, 5)
		h.bat = true
		return []human{standing(150, 38), h}
	}}
	s, e := scan(t, w)
	if s.Hitter < 0 || len(s.People) != 2 || math.Abs(s.People[s.Hitter].Torso-26) > 1 {
		t.Fatalf("scan %+v", s)
	}
	if len(s.Windows) != 1 || math.Abs(s.Windows[0][0]-2.8) > 0.15 || math.Abs(s.Windows[0][1]-6.2) > 0.15 {
		t.Errorf("windows %v, want 2.8..6.2 s", s.Windows)
	}
	if p, ok := s.Seed.at(5); !ok || p.hip.Sub(swing.Point{X: 60, Y: 110}).Norm() > 2 {
		t.Errorf("seed at 5 s: %+v", p)
	}
	if s.People[s.Hitter].Bat < 0.9 || s.OtherSwings() != true {
		t.Errorf("bat share %.2f", s.People[s.Hitter].Bat)
	}
	// 9 s, two people, at most 13 looks a second: no frame-by-frame work, and
	// not one run of the large network.
	r := e.Runs()
	if r["fine"] != 0 || r["coarse"] > 2*13*9+4 || r["det"] > 13 || r["obj"] > 13+8 {
		t.Errorf("runs %v", r)
	}
}

// Two people swing: the one with a bat and larger wins.
func TestScanSeveralSwingers(t *testing.T) {
	for name, c := range map[string]struct {
		torsoA, torsoB float64
		batA, batB     bool
		want           float64
	}{
		"larger":                 {36, 25, false, false, 36},
		"bat":                    {30, 28, false, true, 28},
		"larger with bat":        {25, 36, true, true, 36},
		"clearly larger, no bat": {38, 30, false, true, 30},
	} {
		w := &world{w: 256, h: 200, fps: 20, frames: 50, people: func(t float64) []human {
			a, b := hitting(60, c.torsoA, t, 1), hitting(190, c.torsoB, t, 1.6)
			a.bat, b.bat = c.batA, c.batB
			return []human{a, b}
		}}
		s, _ := scan(t, w)
		if s.Hitter < 0 || math.Abs(s.People[s.Hitter].Torso-c.want) > 1.5 {
			t.Errorf("%s: hitter %d of %+v", name, s.Hitter, s.People)
		}
	}
}

func TestScanWithoutSwing(t *testing.T) {
	for name, c := range map[string]struct {
		people func(t float64) []human
		text   string
	}{
		"walkers": {func(t float64) []human {
			return []human{walking(30, 0.9, 24, t), walking(230, -0.9, 26, t)}
		}, "no swing found: two people walking"},
		"one stands, one walks": {func(t float64) []human {
			return []human{standing(60, 30), walking(220, -0.7, 26, t)}
		}, "no swing found: one person walking and one standing"},
		"waving one hand": {func(t float64) []human {
			h := standing(120, 34)
			h.left = swing.Point{X: 0.6 + 0.5*math.Sin(9*t), Y: -1.2}
			return []human{h}
		}, "no swing found: one person moving"},
		"dribbling": {func(t float64) []human { // both hands, fast, but low and short
			h := standing(120, 34)
			y := -0.1 + 0.25*math.Sin(18*t)
			h.left, h.right = swing.Point{X: 0.4, Y: y}, swing.Point{X: 0.3, Y: y}
			return []human{h}
		}, "no swing found: one person moving"},
	} {
		w := &world{w: 256, h: 200, fps: 30, frames: 75, people: c.people}
		s, _ := scan(t, w)
		if s.Hitter != -1 || len(s.Windows) != 0 || len(s.Warnings) != 1 || s.Warnings[0].Code != "no-swing" || s.Warnings[0].Text != c.text {
			t.Errorf("%s: windows %v, warnings %v, people %+v", name, s.Windows, s.Warnings, s.People)
		}
	}
	w := &world{w: 256, h: 200, fps: 30, frames: 60, people: func(float64) []human { return nil }}
	if s, _ := scan(t, w); len(s.Warnings) != 1 || s.Warnings[0].Code != "no-person" {
		t.Errorf("nobody: %+v", s)
	}
}

// Somebody who is hidden for a second is the same person afterwards.
func TestScanKeepsIdentity(t *testing.T) {
	w := &world{w: 256, h: 200, fps: 15, frames: 90, people: func(t float64) []human {
		all := []human{standing(60, 30), standing(190, 30)}
		if t > 2 && t < 3.2 {
			return all[1:]
		}
		return all
	}}
	s, _ := scan(t, w)
	if len(s.People) != 2 {
		t.Errorf("%d people, want 2: %+v", len(s.People), s.People)
	}
}

func TestWindowsJoin(t *testing.T) {
	got := windows([]float64{1, 5, 7, 30}, 2.2, 1.2, 0, 30.5)
	want := [][2]float64{{0, 2.2}, {2.8, 8.2}, {27.8, 30.5}}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		near(t, "from", got[i][0], want[i][0], 1e-12)
		near(t, "to", got[i][1], want[i][1], 1e-12)
	}
}

func TestDescribe(t *testing.T) {
	p := func(m Motion, from, to float64) Person { return Person{Motion: m, From: from, To: to} }
	for want, people := range map[string][]Person{
		"nobody in the picture":                             nil,
		"one person standing":                               {p(Stands, 0, 9)},
		"two people walking and one moving":                 {p(Walks, 0, 9), p(Moves, 1, 9), p(Walks, 2, 9)},
		"one person walking, two moving and three standing": {p(Walks, 0, 9), p(Moves, 1, 9), p(Moves, 2, 9), p(Stands, 0, 9), p(Stands, 0, 9), p(Stands, 0, 9)},
		"one person walking":                                {p(Walks, 0, 3), p(Walks, 4, 9)}, // one after the other
	} {
		if got := (Scan{People: people}).Describe(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestSeedScaled(t *testing.T) {
	s := Seed{Path: []Place{{Time: 1, Hip: swing.Point{X: 10, Y: 20}, Size: 5}}}
	b := s.Scaled(3)
	if b.Path[0].Hip.X != 30 || b.Path[0].Size != 15 || s.Path[0].Size != 5 {
		t.Errorf("scaled %v from %v", b, s)
	}
	if _, ok := s.at(2.5); ok {
		t.Error("a path 1.5 s away was used")
	}
}

func TestContinuity(t *testing.T) {
	p := place{time: 1, hip: swing.Point{X: 100, Y: 100}, size: 50}
	at := func(dx, size, time float64) float64 { return p.distance(swing.Point{X: 100 + dx, Y: 100}, size, time) }
	if at(20, 50, 1+1.0/60) > 1 {
		t.Error("a step of 0.4 torso in a frame must be allowed")
	}
	if at(40, 50, 1+1.0/60) < 1 {
		t.Error("a jump of 0.8 torso in a frame is a neighbour")
	}
	if at(0, 90, 2) < 1 || at(0, 28, 2) < 1 {
		t.Error("another size is another person")
	}
	if at(120, 50, 1.5) < 1 || at(80, 50, 1.5) > 1 {
		t.Error("after half a second people have walked, not flown")
	}
}

// A coarse crop that slips to a neighbour ends the person's looks; two crops
// on one body leave one person.
func TestCrowdKeepsPeopleApart(t *testing.T) {
	w := &world{w: 250, h: 200, fps: 30, frames: 1, people: func(float64) []human { return []human{standing(140, 32)} }}
	e := w.estimator(t, DefaultOptions())
	var f swing.Frame
	for g := range w.iter() {
		f = g
	}
	c := newCrowd(e, 0)
	add := func(h human) *person {
		var b body
		for j, p := range h.points() {
			b.points[j] = swing.Keypoint{X: p.X, Y: p.Y, Score: 1}
		}
		b.hip, b.size = h.hip, h.torso
		b.next = aligned(h.hip, h.hip.Add(swing.Point{Y: -radiusPerSize * h.torso}))
		p := &person{asked: math.Inf(-1)}
		p.note(&b, -0.05)
		c.people = append(c.people, p)
		return p
	}
	gone := add(standing(95, 32)) // 1.4 torsos from the only body in the picture
	if err := c.step(f); err != nil {
		t.Fatal(err)
	}
	if gone.alive || len(gone.looks) != 1 {
		t.Errorf("a body 1.4 torsos away was taken for the same person: %+v", gone.looks)
	}
	c.people = nil
	p, q := add(standing(139, 32)), add(standing(170, 32))
	q.b.hip.X, q.b.next.CX = 141, 141 // q's crop now lies on p's body
	if err := c.step(f); err != nil {
		t.Fatal(err)
	}
	if p.alive == q.alive {
		t.Errorf("one body, alive: %v and %v", p.alive, q.alive)
	}
}

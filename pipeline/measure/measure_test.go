package measure

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

func compute(t *testing.T, s swing.Swing) []swing.Measure {
	t.Helper()
	m, _, err := Compute(s, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// one computes a single measure.
func one(t *testing.T, s swing.Swing, id string, e swing.EventName) swing.Measure {
	t.Helper()
	w := newWork(s, DefaultOptions())
	for _, d := range catalogue() {
		if d.ID == id && slices.Contains(d.Events, e) {
			return w.given(&d, e)
		}
	}
	t.Fatalf("no definition of %s at %q", id, e)
	return swing.Measure{}
}

func find(t *testing.T, ms []swing.Measure, id string, e swing.EventName) swing.Measure {
	t.Helper()
	for _, m := range ms {
		if m.ID == id && m.Event == e {
			return m
		}
	}
	t.Fatalf("no %s at %q", id, e)
	return swing.Measure{}
}

// Sharp key points of a known motion: every number lies within its own
// uncertainty of the truth in space, in both views.
func TestKnownMotion(t *testing.T) {
	h := newHitter(nil)
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		f := defaultFilm(v)
		f.noise = 1.5
		given, beyond := 0, 0
		for _, m := range compute(t, h.shoot(f)) {
			if m.Value == nil {
				continue
			}
			given++
			want := h.truth(m.ID, m.Event, v)
			if math.IsNaN(want) {
				t.Fatalf("no truth for %s", m.ID)
			}
			d := math.Abs(*m.Value - want)
			if d > 2**m.Sigma {
				beyond++
			}
			if d > 3.2**m.Sigma {
				t.Errorf("%s %s at %q = %.3f +- %.3f, truth %.3f", v, m.ID, m.Event, *m.Value, *m.Sigma, want)
			}
		}
		if given < 25 || beyond > 2 {
			t.Errorf("%s: %d numbers given, %d of them beyond two sigma", v, given, beyond)
		}
	}
}

// What the corrected flexions are for: the picture's own angles are far off.
func TestFlexionInSpaceBeatsThePicture(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	f.noise = 1
	s := h.shoot(f)
	ms := compute(t, s)
	i := int(hitterEvents()[swing.Plant] * f.fps)
	p := s.Track.Points[i]
	for _, c := range []struct {
		id      string
		a, b, c swing.Joint
	}{
		{"rear_elbow_flexion", rear.Shoulder, rear.Elbow, rear.Wrist},
		{"front_knee_flexion", lead.Hip, lead.Knee, lead.Ankle},
	} {
		want := h.truth(c.id, swing.Plant, swing.OpenSide)
		picture := PictureFlexion(p[c.a].Point(), p[c.b].Point(), p[c.c].Point())
		m := find(t, ms, c.id, swing.Plant)
		if m.Value == nil {
			t.Fatalf("%s not given: %s", c.id, m.Reason)
		}
		if math.Abs(picture-want) < 15 {
			t.Fatalf("%s: the picture reads %.0f for %.0f, this motion tests nothing", c.id, picture, want)
		}
		if math.Abs(*m.Value-want) > 0.6*math.Abs(picture-want) {
			t.Errorf("%s = %.1f, truth %.1f, the picture reads %.1f", c.id, *m.Value, want, picture)
		}
	}
}

// A clip and its mirror image, with the batting side exchanged, give the same
// numbers.
func TestMirrorInvariance(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	noise := map[swing.Joint]swing.Point{}
	for j := range swing.NumPoints {
		noise[swing.Joint(j)] = swing.Point{X: 5 * r.NormFloat64(), Y: 5 * r.NormFloat64()}
	}
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		f := defaultFilm(v)
		f.add = func(_ float64, j swing.Joint) swing.Point { return noise[j] }
		a := newHitter(nil).shoot(f)
		f.bats = swing.Left
		b := newHitter(nil).shoot(f)
		same(t, string(v)+" mirrored", compute(t, a), compute(t, b), 1e-6)
	}
}

// Twice the pixels, the same numbers.
func TestScaleInvariance(t *testing.T) {
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		f := defaultFilm(v)
		a := newHitter(nil).shoot(f)
		f.px, f.noise = 2*f.px, 2*f.noise
		same(t, string(v)+" doubled", compute(t, a), compute(t, newHitter(nil).shoot(f)), 1e-6)
	}
}

func TestSameInputSameOutput(t *testing.T) {
	s := newHitter(nil).shoot(defaultFilm(swing.OpenSide))
	same(t, "again", compute(t, s), compute(t, s), 0)
}

func same(t *testing.T, what string, a, b []swing.Measure, tolerance float64) {
	t.Helper()
	if len(a) != len(b) {
		t.Fatalf("%s: %d and %d measures", what, len(a), len(b))
	}
	for i := range a {
		x, y := a[i], b[i]
		if x.ID != y.ID || x.Event != y.Event || x.Status != y.Status || x.Reason != y.Reason || (x.Value == nil) != (y.Value == nil) {
			t.Errorf("%s: %+v and %+v", what, x, y)
			continue
		}
		if x.Value == nil {
			continue
		}
		near(t, what+" "+x.ID, *y.Value, *x.Value, tolerance*(1+math.Abs(*x.Value)))
		near(t, what+" sigma "+x.ID, *y.Sigma, *x.Sigma, tolerance*(1+*x.Sigma))
	}
}

// The stated sigma against a brute-force repetition of the whole measurement
// with newly drawn noise, from formulas written down here.
func TestSigmaAgainstBruteForce(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	f.noise, f.sigma = 6, 0.012
	s := h.shoot(f)
	ms := compute(t, s)
	w := newWork(s, DefaultOptions())
	r := rand.New(rand.NewPCG(11, 12))
	const n = 20000
	spread := func(draw func() float64) float64 {
		var m, q float64
		for range n {
			v := draw()
			m, q = m+v, q+v*v
		}
		return math.Sqrt(q/n - m*m/n/n)
	}
	at := func(j swing.Joint, t float64) swing.Point { p, _ := w.c.at(j, t, false); return p }
	blur := func(p swing.Point, k float64) swing.Point {
		return p.Add(swing.Point{X: k * f.noise * r.NormFloat64(), Y: k * f.noise * r.NormFloat64()})
	}
	clear := 0.75 // elbows and wrists when visible
	for _, c := range []struct {
		id   string
		e    swing.EventName
		draw func(t float64) float64
	}{
		{"stride_length", swing.Plant, func(t float64) float64 {
			d := blur(at(lead.Ankle, t), 1).X - blur(at(rear.Ankle, t), 1).X
			return d / (w.c.stature * math.Exp(statureShare(w)*r.NormFloat64())) / math.Cos(radians(7*r.NormFloat64()))
		}},
		{"rear_elbow_height", swing.Contact, func(t float64) float64 {
			l := w.lengths[upperArm]
			return (blur(at(rear.Shoulder, t), 1).Y - blur(at(rear.Elbow, t), clear).Y) / (l.mean + l.sigma*r.NormFloat64())
		}},
		{"trunk_lean", swing.Load, func(t float64) float64 {
			// Left and right share half of their variance: the middle of both
			// keeps three quarters of it.
			k := math.Sqrt(0.75)
			hip := blur(at(lead.Hip, t).Mid(at(rear.Hip, t)), k*hipsFacing)
			sh := blur(at(lead.Shoulder, t).Mid(at(rear.Shoulder, t)), k)
			return degrees(math.Atan2(sh.X-hip.X, hip.Y-sh.Y)) + 1.5*r.NormFloat64()
		}},
		{"tempo_plant_contact", "", func(float64) float64 {
			return 1000 * (0.2 + f.sigma*r.NormFloat64() - f.sigma*r.NormFloat64())
		}},
	} {
		m := find(t, ms, c.id, c.e)
		if m.Sigma == nil {
			t.Fatalf("%s not given: %s", c.id, m.Reason)
		}
		want := spread(func() float64 { return c.draw(hitterEvents()[c.e] + f.sigma*r.NormFloat64()) })
		// 400 draws know a deviation to 3.5 %; three of those.
		if math.Abs(*m.Sigma/want-1) > 0.11 {
			t.Errorf("%s: sigma %.4g, by brute force %.4g", c.id, *m.Sigma, want)
		}
	}
}

// statureShare is the relative sigma of the stature that w works with.
func statureShare(w *work) float64 {
	var q float64
	for _, k := range w.d.stature {
		q += math.Log(k) * math.Log(k)
	}
	return math.Sqrt(q / float64(w.d.n))
}

// A faster motion at the event makes the same time uncertainty cost more.
func TestEventTimeCounts(t *testing.T) {
	f := defaultFilm(swing.OpenSide)
	h := newHitter(nil)
	at := func(sigma float64) swing.Measure {
		s := h.shoot(f)
		s.Events[swing.Contact] = swing.Event{Time: 1.3, Sigma: sigma}
		return one(t, s, "rear_elbow_height", swing.Contact)
	}
	sharp, loose := at(0.002), at(0.04)
	if sharp.Sigma == nil || loose.Sigma == nil || *loose.Sigma < 1.2**sharp.Sigma {
		t.Errorf("sigma with a sharp event %v, with a loose one %v", sharp.Sigma, loose.Sigma)
	}
}

// Many different hitters, cameras and noises: the truth lies inside the stated
// uncertainty as often as it should.
func TestCoverage(t *testing.T) {
	n := 15
	if testing.Short() {
		n = 6
	}
	in1, in2, all := 0, 0, 0
	for i := range n {
		r := rand.New(rand.NewPCG(uint64(i), 77))
		h := newHitter(r)
		f := defaultFilm([]swing.View{swing.OpenSide, swing.OpenSide, swing.Rear}[i%3])
		f.bats = []swing.Bats{swing.Right, swing.Left}[i%2]
		f.fps = []float64{60, 30, 120}[i/3%3]
		f.distance, f.yaw = 2.5+2*r.Float64(), 5*r.NormFloat64()
		f.noise = 0.285 * f.px * (0.02 + 0.04*r.Float64())
		habit, drift := map[swing.Joint]swing.Point{}, map[swing.Joint]swing.Point{}
		for j := range swing.NumPoints {
			habit[swing.Joint(j)] = swing.Point{X: r.NormFloat64(), Y: r.NormFloat64()}
			drift[swing.Joint(j)] = swing.Point{X: 2 * math.Pi * r.Float64(), Y: 2 * math.Pi * r.Float64()}
		}
		f.add = func(t float64, j swing.Joint) swing.Point {
			s := drift[j]
			q := habit[j].Add(swing.Point{X: math.Sqrt2 * math.Sin(5*t+s.X), Y: math.Sqrt2 * math.Sin(5*t+s.Y)}).Scale(f.noise / math.Sqrt2)
			if strings.HasSuffix(j.String(), "elbow") || strings.HasSuffix(j.String(), "wrist") {
				q = q.Scale(0.75) // visible ones, against the track's mean
			}
			return q
		}
		s := h.shoot(f)
		s.Track.Stature *= math.Exp(0.03 * r.NormFloat64())
		f.sigma = 0.008
		for e, v := range s.Events {
			v.Sigma = f.sigma
			v.Time += f.sigma * r.NormFloat64()
			s.Events[e] = v
		}
		for _, m := range compute(t, s) {
			if m.Value == nil {
				continue
			}
			z := math.Abs(*m.Value-h.truth(m.ID, m.Event, f.view)) / *m.Sigma
			all++
			if z <= 1 {
				in1++
			}
			if z <= 2 {
				in2++
			}
		}
	}
	one, two := float64(in1)/float64(all), float64(in2)/float64(all)
	t.Logf("%d numbers: %.3f within one sigma, %.3f within two", all, one, two)
	if all < 25*n || one < 0.60 || one > 0.84 || two < 0.90 {
		t.Errorf("%d numbers: %.3f within one sigma, %.3f within two", all, one, two)
	}
}

func TestNotMeasurable(t *testing.T) {
	open, behind := defaultFilm(swing.OpenSide), defaultFilm(swing.Rear)
	hide := func(f film, score float64, joints ...swing.Joint) film {
		f.score = func(_ float64, j swing.Joint) float64 {
			if slices.Contains(joints, j) {
				return score
			}
			return 1
		}
		return f
	}
	without := func(e swing.EventName) func(*swing.Swing) {
		return func(s *swing.Swing) { delete(s.Events, e) }
	}
	slow := open
	slow.fps = 8
	smear := hide(open, 0.2, rear.Wrist)
	vague := open
	vague.noise = 60
	for _, c := range []struct {
		name   string
		film   film
		edit   func(*swing.Swing)
		id     string
		e      swing.EventName
		status swing.Status
		reason string
	}{
		{"plain", open, nil, "stride_length", swing.Plant, swing.Measured, ""},
		{"rear view has no stride length", behind, nil, "stride_length", swing.Plant, swing.NotMeasurable, "the rear view does not show it"},
		{"rear view has no weight", behind, nil, "weight_position", swing.Plant, swing.NotMeasurable, "the rear view does not show it"},
		{"open side has no gap", open, nil, "lead_arm_gap", swing.Plant, swing.NotMeasurable, "the open-side view does not show it"},
		{"open side has no step direction", open, nil, "stride_direction", swing.Plant, swing.NotMeasurable, "the open-side view does not show it"},
		{"no touch", open, without(swing.Touch), "rear_elbow_height", swing.Touch, swing.NotMeasurable, "touch was not found in this swing"},
		{"no touch, no tempo", open, without(swing.Touch), "tempo_touch_plant", "", swing.NotMeasurable, "touch was not found in this swing"},
		{"no stance, no travel", open, without(swing.Stance), "head_travel", swing.Plant, swing.NotMeasurable, "stance was not found in this swing"},
		{"no stance matters not later", open, without(swing.Stance), "head_travel", swing.Contact, swing.Measured, ""},
		{"missing", hide(open, -1, rear.Elbow), nil, "rear_elbow_height", swing.Plant, swing.NotMeasurable, "the rear elbow is not seen at plant"},
		{"given up by the network", hide(open, 0.05, rear.Elbow), nil, "rear_elbow_height", swing.Plant, swing.NotMeasurable, "the rear elbow is not seen at plant"},
		{"hidden", hide(open, 0.2, rear.Elbow), nil, "rear_elbow_height", swing.Plant, swing.Weak, "the rear elbow is hidden at plant"},
		{"hidden knee", hide(open, 0.2, lead.Knee), nil, "front_knee_flexion", swing.Plant, swing.Weak, "the lead knee is hidden at plant"},
		{"blurred", smear, func(s *swing.Swing) { s.Events[swing.Contact] = swing.Event{Time: 1.3, Sigma: 0.005} }, "rear_elbow_flexion", swing.Contact, swing.Weak, "the rear wrist is blurred at contact"},
		{"one arm is enough", hide(open, -1, lead.Elbow, lead.Wrist), nil, "rear_elbow_flexion", swing.Stance, swing.Weak, ""},
		{"few frames", slow, nil, "rear_elbow_height", swing.Plant, swing.NotMeasurable, "too few frames around plant"},
		{"few frames, tempo stays", slow, nil, "tempo_plant_contact", "", swing.Measured, ""},
		{"noise", vague, nil, "rear_elbow_height", swing.Plant, swing.NotMeasurable, "the body points are too uncertain"},
		{"noise in a limb", vague, nil, "lead_elbow_flexion", swing.Plant, swing.NotMeasurable, looseLimb},
		{"mirrored names", func() film { f := hide(open, -1, rear.Elbow); f.bats = swing.Left; return f }(), nil, "rear_elbow_height", swing.Plant, swing.NotMeasurable, "the rear elbow is not seen at plant"},
	} {
		s := newHitter(nil).shoot(c.film)
		if c.edit != nil {
			c.edit(&s)
		}
		m := one(t, s, c.id, c.e)
		if m.Status != c.status && !(c.reason == "" && m.Value != nil) {
			t.Errorf("%s: %s is %s (%s), want %s", c.name, c.id, m.Status, m.Reason, c.status)
		}
		if c.reason != "" && m.Reason != c.reason {
			t.Errorf("%s: reason %q, want %q", c.name, m.Reason, c.reason)
		}
	}
}

// Every measure obeys the contract, whatever the input is like.
func TestContract(t *testing.T) {
	full := defaultFilm(swing.OpenSide)
	nothing := full
	nothing.score = func(float64, swing.Joint) float64 { return -1 }
	perfect := full
	perfect.noise, perfect.sigma = 0, 0
	flicker := full
	flicker.score = func(t float64, j swing.Joint) float64 { return math.Mod(10*t+float64(j), 2) - 0.5 }
	heap := full
	heap.px = 1e-9
	for i, f := range []film{full, defaultFilm(swing.Rear), nothing, perfect, flicker, heap} {
		if testing.Short() && i < 2 {
			continue
		}
		s := newHitter(nil).shoot(f)
		o := DefaultOptions()
		o.HeightM = 1.8
		ms, warnings, err := Compute(s, o)
		if err != nil {
			t.Fatal(err)
		}
		if few := len(warnings) == 1 && warnings[0].Code == "few-measures"; few != (i == 2) && i < 4 {
			t.Errorf("%d: warnings %v", i, warnings)
		}
		seen := map[string]bool{}
		for _, m := range ms {
			key := m.ID + " " + string(m.Event)
			if seen[key] {
				t.Errorf("%d: %s twice", i, key)
			}
			seen[key] = true
			given := m.Value != nil
			switch {
			case given != (m.Sigma != nil), given == (m.Status == swing.NotMeasurable):
				t.Errorf("%d: %s is %s with value %v, sigma %v", i, key, m.Status, m.Value, m.Sigma)
			case (m.Reason == "") != (m.Status == swing.Measured):
				t.Errorf("%d: %s is %s with reason %q", i, key, m.Status, m.Reason)
			case given && (math.IsNaN(*m.Value) || math.IsInf(*m.Value, 0) || !(*m.Sigma >= 0)):
				t.Errorf("%d: %s = %v +- %v", i, key, *m.Value, *m.Sigma)
			case m.Frames == nil, given && len(m.Frames) == 0 && !strings.HasPrefix(m.ID, "tempo"):
				t.Errorf("%d: %s names no frames", i, key)
			}
		}
	}
	ids := map[string]bool{}
	for _, d := range Catalogue() {
		if ids[d.ID] || d.Text == "" || len(d.Events) == 0 || len(d.Views) == 0 || limits[d.Unit] == (limit{}) {
			t.Errorf("definition %+v", d)
		}
		ids[d.ID] = true
	}
}

func TestMetres(t *testing.T) {
	s := newHitter(nil).shoot(defaultFilm(swing.OpenSide))
	o := DefaultOptions()
	o.HeightM = 1.5
	ms, _, err := Compute(s, o)
	if err != nil {
		t.Fatal(err)
	}
	a, b := find(t, ms, "stride_length", swing.Plant), find(t, ms, "stride_length_m", swing.Plant)
	if b.Unit != "m" || a.Unit != "stature" {
		t.Errorf("units %q and %q", a.Unit, b.Unit)
	}
	near(t, "metres", *b.Value, 1.5**a.Value, 1e-12)
	near(t, "metres, sigma", *b.Sigma, 1.5**a.Sigma, 1e-12)
	for _, m := range compute(t, s) {
		if m.Unit == "m" {
			t.Errorf("%s in metres without a height", m.ID)
		}
	}
}

func TestBadOptionsAndSwings(t *testing.T) {
	good := newHitter(nil).shoot(defaultFilm(swing.OpenSide))
	for _, c := range []struct {
		name string
		o    func(*Options)
		s    func(*swing.Swing)
		kind swing.Kind
		say  string
	}{
		{"height in cm", func(o *Options) { o.HeightM = 178 }, nil, swing.KindUsage, "178 m"},
		{"height NaN", func(o *Options) { o.HeightM = math.NaN() }, nil, swing.KindUsage, "height"},
		{"table", func(o *Options) { o.Sex = "x" }, nil, swing.KindUsage, `"x"`},
		{"draws", func(o *Options) { o.Draws = 3 }, nil, swing.KindUsage, "3"},
		{"empty", nil, func(s *swing.Swing) { s.Track = swing.Track{} }, swing.KindInternal, "no frames"},
		{"lengths", nil, func(s *swing.Swing) { s.Track.Points = s.Track.Points[1:] }, swing.KindInternal, "point sets"},
		{"stature", nil, func(s *swing.Swing) { s.Track.Stature = 0 }, swing.KindInternal, "stature"},
		{"bats", nil, func(s *swing.Swing) { s.Bats = "" }, swing.KindInternal, "batting side"},
		{"view", nil, func(s *swing.Swing) { s.View = "top" }, swing.KindInternal, `"top"`},
	} {
		o, s := DefaultOptions(), good
		if c.o != nil {
			c.o(&o)
		}
		if c.s != nil {
			c.s(&s)
		}
		_, _, err := Compute(s, o)
		var e *swing.Error
		if !errors.As(err, &e) || e.Kind != c.kind || !strings.Contains(e.Msg, c.say) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func BenchmarkCompute(b *testing.B) {
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		s := newHitter(nil).withBat(defaultFilm(v), newHitter(nil).shoot(defaultFilm(v)))
		b.Run(fmt.Sprint(v), func(b *testing.B) {
			for range b.N {
				if _, _, err := Compute(s, DefaultOptions()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

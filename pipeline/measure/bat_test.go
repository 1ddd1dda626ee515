package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

// swung is the made-up hitter's bat: length in statures and its heading (degrees, 0
// = to the plate, -90 = to the catcher) and elevation at key times.
const batSize = 0.47

var batKeys = [][3]float64{ // t, heading, elevation
	{0.3, -150, 55}, {0.75, -150, 52}, {1.22, -150, 48}, {1.28, -120, 32}, {1.33, -70, -5}, {1.4, -2, -20}, {1.5, 90, 0}, {1.8, 190, 20},
}

// batAt returns both ends of the bat in space; turned adds to the heading while the
// bat waits.
func (h *hitter) batAt(t, turned float64) (knob, tip vec) {
	k := batKeys
	i := 1
	for i < len(k)-1 && k[i][0] < t {
		i++
	}
	u := max(0, min(1, (t-k[i-1][0])/(k[i][0]-k[i-1][0])))
	az, el := radians(k[i-1][1]+u*(k[i][1]-k[i-1][1])), radians(k[i-1][2]+u*(k[i][2]-k[i-1][2]))
	az += radians(turned) * max(0, min(1, (1.3-t)/0.1))
	d := vec{math.Cos(el) * math.Sin(az), math.Cos(el) * math.Cos(az), math.Sin(el)}
	m := h.mix(t)
	hands := m.shoulder.add(m.hands).add(vec{0, 0.02, 0.02})
	knob = hands.sub(d.scale(gripPlace))
	return knob, knob.add(d.scale(batSize))
}

// withBat adds the bat as a perfect eye would see it.
func (h *hitter) withBat(f film, s swing.Swing) swing.Swing { return h.withTurnedBat(f, s, 0, nil) }

func (h *hitter) withTurnedBat(f film, s swing.Swing, turned float64, r *rand.Rand) swing.Swing {
	s.Bat = swing.BatPath{Length: batSize * f.px, LengthSigma: 0.02 * batSize * f.px, LengthSource: "learned"}
	e := func() float64 {
		if r == nil {
			return 0
		}
		return f.px / 400 * r.NormFloat64()
	}
	if r != nil {
		s.Bat.Length += s.Bat.LengthSigma * r.NormFloat64()
	}
	k := f.px / 400
	for _, t := range s.Track.Times {
		a, b := h.batAt(t, turned)
		p, q := f.project(a), f.project(b)
		p.X, p.Y, q.X, q.Y = p.X+e(), p.Y+e(), q.X+e(), q.Y+e()
		if f.bats == swing.Left {
			p.X, q.X = -p.X, -q.X
		}
		p.X, q.X = p.X+640, q.X+640
		n := max(5, q.Sub(p).Norm())
		s.Bat.Sights = append(s.Bat.Sights, swing.BatSight{
			Seen: true, Knob: p, Tip: q, Sigma: degrees(math.Sqrt2 * k / n), KnobSigma: k, TipSigma: k,
		})
	}
	// The bat leaves its waiting plateau a little after plant.
	s.Events[swing.SwingStart] = swing.Event{Time: 1.22, Sigma: f.sigma, Frame: int(1.22 * f.fps), Method: "made"}
	return s
}

// batTruth measures the made-up bat in space.
func (h *hitter) batTruth(id string, t, turned float64, f film) float64 {
	knob, tip := h.batAt(t, turned)
	d := tip.sub(knob)
	body := h.at(t)
	var c vec
	for j, m := range MassWeights("") {
		c = c.add(body[j].scale(m))
	}
	sweet := knob.add(d.scale(1 - 0.15/0.84)).sub(c)
	p := f.project(tip).Sub(f.project(knob))
	switch id {
	case "bat_tilt":
		return degrees(math.Acos(d.z / d.norm()))
	case "bat_lean":
		return degrees(math.Atan2(-p.X, -p.Y))
	case "knob_direction":
		return degrees(math.Atan2(p.X, -p.Y))
	case "barrel_distance":
		return math.Hypot(sweet.x, sweet.y)
	case "barrel_inside":
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range []swing.Side{lead, rear} {
			for j, half := range map[swing.Joint]float64{s.Shoulder: 0.025, s.Hip: 0.035, s.Elbow: 0.025} {
				lo, hi = min(lo, body[j].y-c.y-half), max(hi, body[j].y-c.y+half)
			}
		}
		return min(sweet.y-lo, hi-sweet.y) / 0.21
	}
	return math.NaN()
}

// A bat seen perfectly: every number lies within its uncertainty of the truth in
// space; from the open side direction and distance are sharp.
func TestKnownBat(t *testing.T) {
	h := newHitter(nil)
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		f := defaultFilm(v)
		s := h.withBat(f, h.shoot(f))
		n := 0
		for _, m := range compute(t, s) {
			want := h.batTruth(m.ID, s.Events[m.Event].Time, 0, f)
			if math.IsNaN(want) || m.Reason == wrongView(v) {
				continue
			}
			if m.Value == nil {
				if m.Event != swing.Contact { // 5 ms at full speed are a wide angle
					t.Errorf("%s: %s at %s not given: %s", v, m.ID, m.Event, m.Reason)
				}
				continue
			}
			n++
			d := *m.Value - want
			if m.Unit == "deg" {
				d = math.Remainder(d, 360)
			}
			if math.Abs(d) > 2.2**m.Sigma {
				t.Errorf("%s: %s at %s = %.3f +- %.3f, truth %.3f (%s)", v, m.ID, m.Event, *m.Value, *m.Sigma, want, m.Reason)
			}
			if m.Event == swing.Contact || v == swing.Rear {
				continue
			}
			if (m.ID == "bat_tilt" && math.Abs(d) > 4) || (m.ID == "bat_lean" && math.Abs(d) > 0.6 && m.Event != swing.SwingStart) || (m.ID == "barrel_distance" && math.Abs(d) > 0.025) {
				t.Errorf("%s: %s at %s = %.3f, truth %.3f", v, m.ID, m.Event, *m.Value, want)
			}
		}
		if n < 20 {
			t.Errorf("%s: only %d numbers of the bat", v, n)
		}
	}
}

// Many hitters, cameras and bats: the truth lies inside the stated uncertainty as
// often as it should.
func TestBatCoverage(t *testing.T) {
	n := 10
	if testing.Short() {
		n = 4
	}
	in1, in2, all := 0, 0, 0
	for i := range n {
		r := rand.New(rand.NewPCG(uint64(i), 78))
		h := newHitter(r)
		f := defaultFilm([]swing.View{swing.OpenSide, swing.Rear}[i%2])
		f.bats = []swing.Bats{swing.Right, swing.Left}[i/2%2]
		f.distance, f.noise = 2.5+2*r.Float64(), 0.03*0.285*f.px
		turned := 60*r.Float64() - 45 // from wrapped round the head to away
		s := h.withTurnedBat(f, h.shoot(f), turned, r)
		for e, v := range s.Events {
			v.Time += f.sigma * r.NormFloat64()
			s.Events[e] = v
		}
		for _, m := range compute(t, s) {
			want := h.batTruth(m.ID, s.Events[m.Event].Time, turned, f)
			if e := m.Event; e != "" {
				// The truth belongs to the true instant.
				if k, ok := hitterEvents()[e]; ok {
					want = h.batTruth(m.ID, k, turned, f)
				} else {
					want = h.batTruth(m.ID, 1.22, turned, f)
				}
			}
			if m.Value == nil || math.IsNaN(want) {
				continue
			}
			d := *m.Value - want
			if m.Unit == "deg" {
				d = math.Remainder(d, 360)
			}
			z := math.Abs(d) / *m.Sigma
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
	if all < 15*n || one < 0.60 || two < 0.90 {
		t.Errorf("%d numbers: %.3f within one sigma, %.3f within two", all, one, two)
	}
}

// Mirrored and enlarged clips give the same numbers.
func TestBatInvariance(t *testing.T) {
	h := newHitter(nil)
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		f := defaultFilm(v)
		a := compute(t, h.withBat(f, h.shoot(f)))
		f.bats = swing.Left
		same(t, string(v)+" mirrored", a, compute(t, h.withBat(f, h.shoot(f))), 1e-6)
		if v == swing.OpenSide {
			continue
		}
		f = defaultFilm(v)
		f.px, f.noise = 2*f.px, 2*f.noise
		same(t, string(v)+" doubled", a, compute(t, h.withBat(f, h.shoot(f))), 1e-6)
	}
}

// The body's measures do not change when a bat is known.
func TestBatChangesNothingElse(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	plainSwing := h.shoot(f)
	with := h.withBat(f, h.shoot(f))
	plainSwing.Events[swing.SwingStart] = with.Events[swing.SwingStart]
	body := func(ms []swing.Measure) (out []swing.Measure) {
		for _, m := range ms {
			if !strings.Contains(m.ID, "bat_") && !strings.Contains(m.ID, "barrel") && !strings.Contains(m.ID, "knob") && !strings.Contains(m.ID, "inertia") {
				out = append(out, m)
			}
		}
		return out
	}
	same(t, "with a bat", body(compute(t, plainSwing)), body(compute(t, with)), 0)
}

// From the open side the barrel's side is settled: behind the head at plant, over
// the plate at contact. From behind, a barrel wrapped round the head and one that
// points to the catcher look alike; what is not settled is said.
func TestReadingsOfDepth(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	w := newWork(h.withBat(f, h.shoot(f)), DefaultOptions())
	if b := w.bat(swing.Plant); b.near || b.open > 0.1 {
		t.Errorf("open side, plant: near %v, other reading %.2f", b.near, b.open)
	}
	if b := w.bat(swing.Contact); !b.near || b.open > openChance {
		t.Errorf("open side, contact: near %v, other reading %.2f", b.near, b.open)
	}
	f = defaultFilm(swing.Rear)
	for _, turned := range []float64{-65, 45} { // wrapped, and to the catcher
		s := h.withTurnedBat(f, h.shoot(f), turned, nil)
		m := one(t, s, "barrel_distance", swing.Plant)
		want := h.batTruth("barrel_distance", 1.2, turned, f)
		if m.Value == nil {
			t.Fatalf("turned %v: not given: %s", turned, m.Reason)
		}
		if math.Abs(*m.Value-want) > 2**m.Sigma {
			t.Errorf("turned %v: %.3f +- %.3f, truth %.3f", turned, *m.Value, *m.Sigma, want)
		}
		w := newWork(s, DefaultOptions())
		b := w.bat(swing.Plant)
		right := b.near == (turned > 0)
		if !right && (b.open < openChance || m.Status != swing.Weak) {
			t.Errorf("turned %v: the wrong side is taken for certain (%.2f, %s)", turned, b.open, m.Reason)
		}
	}
}

func TestBatNotMeasurable(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	hide := func(s *swing.Swing, from, to float64) {
		for i, t := range s.Track.Times {
			if t >= from && t <= to {
				s.Bat.Sights[i] = swing.BatSight{Knob: swing.Point{X: math.NaN()}}
			}
		}
	}
	for _, c := range []struct {
		name   string
		edit   func(*swing.Swing)
		id     string
		e      swing.EventName
		status swing.Status
		reason string
	}{
		{"plain", nil, "bat_tilt", swing.Plant, swing.Measured, ""},
		{"not looked for", func(s *swing.Swing) { s.Bat = swing.BatPath{} }, "bat_tilt", swing.Plant, swing.NotMeasurable, noBatLooked},
		{"none", func(s *swing.Swing) { hide(s, 0, 9) }, "bat_lean", swing.Plant, swing.NotMeasurable, "no bat was found in this swing"},
		{"hidden at plant", func(s *swing.Swing) { hide(s, 1.15, 1.25) }, "bat_tilt", swing.Plant, swing.NotMeasurable, "the bat is not seen at plant"},
		{"hidden, but not at load", func(s *swing.Swing) { hide(s, 1.15, 1.25) }, "bat_tilt", swing.Load, swing.Measured, ""},
		{"one frame is bridged", func(s *swing.Swing) { hide(s, 1.195, 1.205) }, "bat_tilt", swing.Plant, swing.Measured, ""},
		{"no length", func(s *swing.Swing) { s.Bat.Length = 0 }, "bat_tilt", swing.Plant, swing.NotMeasurable, "the bat's length is not known"},
		{"no length, direction stays", func(s *swing.Swing) { s.Bat.Length = 0 }, "bat_lean", swing.Plant, swing.Measured, ""},
		{"no height", nil, "swing_inertia", swing.Plant, swing.NotMeasurable, "the hitter's height was not given"},
		{"no height, ratio stays", nil, "swing_inertia_ratio", swing.Plant, swing.Measured, ""},
		{"wrong view", nil, "barrel_inside", swing.Plant, swing.NotMeasurable, "the open-side view does not show it"},
		{"vague", func(s *swing.Swing) {
			for i := range s.Bat.Sights {
				s.Bat.Sights[i].Sigma = 40
			}
		}, "bat_lean", swing.Plant, swing.NotMeasurable, looseBat},
	} {
		s := h.withBat(f, h.shoot(f))
		if c.edit != nil {
			c.edit(&s)
		}
		m := one(t, s, c.id, c.e)
		if m.Status != c.status && !(c.status == swing.Measured && m.Value != nil) {
			t.Errorf("%s: %s is %s (%s), want %s", c.name, c.id, m.Status, m.Reason, c.status)
		}
		if c.reason != "" && m.Reason != c.reason {
			t.Errorf("%s: reason %q, want %q", c.name, m.Reason, c.reason)
		}
	}
	// Without a bat each measure of it is listed once, and nobody is warned of it.
	s := h.shoot(f)
	n := 0
	ms, warnings, err := Compute(s, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range ms {
		if m.Reason == noBatLooked {
			n++
		}
	}
	if n != len(batMeasures())-1 || len(warnings) != 0 {
		t.Errorf("%d measures say that no bat was looked for, warnings %v", n, warnings)
	}
}

// The bat between two frames turns evenly.
func TestBatBetweenFrames(t *testing.T) {
	a := swing.BatSight{Seen: true, Knob: swing.Point{X: 100, Y: 100}, Tip: swing.Point{X: 100, Y: 0}, Sigma: 1}
	b := swing.BatSight{Seen: true, Knob: swing.Point{X: 104, Y: 100}, Tip: swing.Point{X: 204, Y: 100}, Sigma: 1}
	s := swing.Swing{Bats: swing.Right, Bat: swing.BatPath{Sights: []swing.BatSight{a, {}, b}}, Track: swing.Track{Times: []float64{1, 1.02, 1.04}}}
	c := newClub(&s)
	got, ok := c.at(1.02)
	if !ok {
		t.Fatal("one missing frame hides the bat")
	}
	want := swing.Point{X: 102 + 100*math.Sqrt(0.5), Y: 100 - 100*math.Sqrt(0.5)}
	if got.tip().Sub(want).Norm() > 1e-9 || got.knob.Sub(swing.Point{X: 102, Y: 100}).Norm() > 1e-9 {
		t.Errorf("knob %v, tip %v, want %v", got.knob, got.tip(), want)
	}
	if got.turn < 3 {
		t.Errorf("half a quarter turn from both frames is %.1f deg sure", got.turn)
	}
	if _, ok := c.at(0.97); ok {
		t.Error("seen long before the first sight")
	}
}

// The depth solves the perspective equation: a bat put into the picture from space
// comes back.
func TestDepths(t *testing.T) {
	l := lens{middle: 30, horizon: 100, distance: 1200}
	const grip, size, hands = 0.15, 190.0, 60.0
	for _, depth := range []float64{-150, -60, 5, 90, 160} {
		// Ends in space, then in the picture.
		flat := math.Sqrt(size*size - depth*depth)
		k3 := swing.Point{X: 20, Y: 40}
		t3 := k3.Add(swing.Point{X: -0.6, Y: -0.8}.Scale(flat))
		kd, td := hands-grip*depth, hands+(1-grip)*depth
		o := swing.Point{X: l.middle, Y: l.horizon}
		knob := o.Add(k3.Sub(o).Scale(1 / (1 - kd/l.distance)))
		tip := o.Add(t3.Sub(o).Scale(1 / (1 - td/l.distance)))
		far, nearer, _ := l.depths(knob, tip, hands, grip, length{size, 0.05}, 0.5, 0)
		got := nearer
		if math.Abs(far-depth) < math.Abs(nearer-depth) {
			got = far
		}
		// The quantile's grid is fine where the bat leans out of the picture.
		if math.Abs(got-depth) > 4 {
			t.Errorf("depth %v: readings %.1f and %.1f", depth, far, nearer)
		}
		r := l.rod(knob, tip, hands, grip, depth)
		if r.knob.Sub(k3).Norm() > 1e-9 || r.tip.Sub(t3).Norm() > 1e-9 || math.Abs(r.tipDepth-td) > 1e-9 {
			t.Errorf("depth %v: back in space at %v, %v, want %v, %v", depth, r.knob, r.tip, k3, t3)
		}
	}
}

// A learned length is the longest sight, stretched by perspective; the one that is
// worked with comes from all sights and the hands' depth. A given one is kept.
func TestBatSize(t *testing.T) {
	h := newHitter(nil)
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		f := defaultFilm(v)
		for _, wrong := range []float64{0.85, 1.15} {
			s := h.withBat(f, h.shoot(f))
			s.Bat.Length *= wrong
			got := newWork(s, DefaultOptions()).batSize()
			if d := math.Abs(got.mean - batSize*f.px); d > 2.2*got.sigma || d > 0.09*batSize*f.px || got.sigma > 0.09*batSize*f.px {
				t.Errorf("%s: length %.0f +- %.0f px, truth %.0f", v, got.mean, got.sigma, batSize*f.px)
			}
			s.Bat.LengthSource = "given"
			if got := newWork(s, DefaultOptions()).batSize(); got.mean != s.Bat.Length {
				t.Errorf("%s: a given length of %.0f px became %.0f", v, s.Bat.Length, got.mean)
			}
		}
	}
	// A bat that is never seen leaves what is usual.
	f := defaultFilm(swing.OpenSide)
	s := h.withBat(f, h.shoot(f))
	for i := range s.Bat.Sights {
		s.Bat.Sights[i].Seen = false
	}
	w := newWork(s, DefaultOptions())
	near(t, "usual length", w.batSize().mean/w.c.stature, usualLength, 0.01)
}

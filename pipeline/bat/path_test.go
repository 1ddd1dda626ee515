package bat

import (
	"math"
	"math/rand"
	"testing"

	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

const (
	testTorso   = 100.0 // px
	testStature = 330.0 // px
	testLength  = 150.0 // px, the bat
)

// bearing is the known motion: still, then a turn that gets faster, degrees
// clockwise from right at time t.
func bearing(t float64) float64 {
	if t < 1 {
		return -70 + 3*math.Sin(4*t)
	}
	u := t - 1
	return -70 + 3*math.Sin(4) + 2500*u*u
}

// world is a track of hands that rush at 1.2 s with the sightings of a bat.
func world(fps float64, noise float64, seed int64) (swing.Track, []Sighting) {
	r := rand.New(rand.NewSource(seed))
	t := swing.Track{Torso: testTorso, Stature: testStature}
	var s []Sighting
	for i := 0; float64(i)/fps < 1.35; i++ {
		now := float64(i) / fps
		hands := swing.Point{X: 300, Y: 250}
		if now > 1 {
			hands.X += 900 * (now - 1) * (now - 1) * math.Min(1, math.Max(0, 1.25-now)*10)
		}
		sin, cos := math.Sincos(bearing(now) * math.Pi / 180)
		u := swing.Point{X: cos, Y: sin}
		jitter := func(p swing.Point) swing.Point {
			return swing.Point{X: p.X + noise*r.NormFloat64(), Y: p.Y + noise*r.NormFloat64()}
		}
		knob, tip := hands.Sub(u.Scale(0.1*testLength)), hands.Add(u.Scale(0.9*testLength))
		var pts [swing.NumPoints]swing.TrackPoint
		for j := range pts {
			pts[j] = swing.TrackPoint{X: hands.X, Y: hands.Y, Score: 1, State: swing.Seen}
		}
		t.Frames, t.Times, t.Points = append(t.Frames, i), append(t.Times, now), append(t.Points, pts)
		s = append(s, Sighting{
			Frame: i, Looked: true,
			Knob:  []spot.Place{{At: jitter(knob), Sigma: math.Max(noise, 0.5), Mass: 0.95}},
			Tip:   []spot.Place{{At: jitter(tip), Sigma: math.Max(noise, 0.5), Mass: 0.95}},
			Grip:  spot.Place{At: jitter(hands), Sigma: math.Max(noise, 0.5), Mass: 0.95},
			Edges: []float64{0.9}, Axis: []Axis{{}},
		})
	}
	return t, s
}

// off is the error of a sight's direction, degrees.
func off(s swing.BatSight, t float64) float64 {
	d := s.Tip.Sub(s.Knob)
	return angleBetween(math.Atan2(d.Y, d.X)*180/math.Pi, bearing(t))
}

func path(t *testing.T, tr swing.Track, s []Sighting, o Options) (swing.BatPath, []swing.Warning) {
	t.Helper()
	p, w, err := Path(&tr, s, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Sights) != tr.Len() {
		t.Fatalf("%d sights for %d frames", len(p.Sights), tr.Len())
	}
	return p, w
}

func TestPathFollowsAKnownMotion(t *testing.T) {
	for _, fps := range []float64{30, 60, 120, 240} {
		tr, s := world(fps, 1.5, 1)
		p, w := path(t, tr, s, DefaultOptions())
		if len(w) != 0 {
			t.Errorf("%g/s: warnings %v", fps, w)
		}
		in, two := 0, 0
		for i, b := range p.Sights {
			if !b.Seen {
				t.Errorf("%g/s: not seen at %.3f s", fps, tr.Times[i])
				continue
			}
			if e := off(b, tr.Times[i]); e > 5*b.Sigma+1 {
				t.Errorf("%g/s: %.1f degrees off at %.3f s, stated %.1f", fps, e, tr.Times[i], b.Sigma)
			} else {
				if e < b.Sigma {
					in++
				}
				if e < 2*b.Sigma {
					two++
				}
			}
		}
		if n := float64(len(p.Sights)); float64(in) < 0.6*n || float64(two) < 0.9*n {
			t.Errorf("%g/s: within one sigma %d, two %d of %g", fps, in, two, n)
		}
	}
}

// A frame in which another straight thing is likelier than the bat must give
// the bat or nothing, never the other thing.
func TestPathIsNotLedAstray(t *testing.T) {
	tr, s := world(60, 1, 2)
	for _, i := range []int{20, 21, 40, 63} {
		right := s[i].Tip[0]
		wrong := right
		wrong.At, wrong.Mass = s[i].Grip.At.Add(swing.Point{X: -140, Y: 60}), 0.7
		right.Mass = 0.25
		s[i].Tip, s[i].Edges, s[i].Axis = []spot.Place{wrong, right}, []float64{0.8, 0.8}, []Axis{{}, {}}
	}
	p, _ := path(t, tr, s, DefaultOptions())
	for _, i := range []int{20, 21, 40, 63} {
		if b := p.Sights[i]; b.Seen && off(b, tr.Times[i]) > 25 {
			t.Errorf("frame %d: %.0f degrees off, stated %.1f", i, off(b, tr.Times[i]), b.Sigma)
		}
	}
}

// What the network alone says, without edges and against the motion, is not
// believed.
func TestOneSignIsNotEnough(t *testing.T) {
	tr, s := world(60, 1, 3)
	s[30].Tip[0].At = s[30].Grip.At.Add(swing.Point{X: -140, Y: 60})
	s[30].Edges[0] = 0.1
	p, _ := path(t, tr, s, DefaultOptions())
	if b := p.Sights[30]; b.Seen && off(b, tr.Times[30]) > 10 {
		t.Errorf("a jump that only the network sees is told: %+v", b)
	}
}

func TestNoBat(t *testing.T) {
	tr, s := world(60, 1, 4)
	for i := range s {
		s[i].Absent, s[i].Edges[0] = 0.97, 0
		s[i].Tip[0].Mass = 0.02
	}
	// One stray sight in the hands of somebody without a bat.
	s[25].Absent, s[25].Tip[0].Mass, s[25].Edges[0] = 0.1, 0.9, 0.9
	p, w := path(t, tr, s, DefaultOptions())
	if p.Known() || len(w) != 1 || w[0].Code != "no-bat" {
		t.Errorf("a bat is reported: known %v, warnings %v", p.Known(), w)
	}
	for i := range s {
		s[i] = Sighting{Frame: i}
	}
	if p, _ := path(t, tr, s, DefaultOptions()); p.Known() {
		t.Error("a bat is reported where nobody looked")
	}
}

func TestLength(t *testing.T) {
	tr, s := world(60, 1, 5)
	p, _ := path(t, tr, s, DefaultOptions())
	if p.LengthSource != "learned" || math.Abs(p.Length-testLength) > 6 {
		t.Errorf("length %.1f (%s), want %g learned", p.Length, p.LengthSource, testLength)
	}
	o := DefaultOptions()
	o.LengthM, o.HeightM = 0.84, 1.8
	p, _ = path(t, tr, s, o)
	if want := 0.84 / 1.8 * testStature; p.LengthSource != "given" || math.Abs(p.Length-want) > 1e-9 {
		t.Errorf("length %.1f (%s), want %.1f given", p.Length, p.LengthSource, want)
	}
	tr.Stature = 900 // the sights are far too short for a bat of this hitter
	p, _ = path(t, tr, s, DefaultOptions())
	if p.LengthSource != "common" {
		t.Errorf("length %.1f is %s, want common", p.Length, p.LengthSource)
	}
}

// A wrist that is missing in the first frames is no fast hand.
func TestMissingWrists(t *testing.T) {
	tr, s := world(60, 1, 7)
	for i := range 3 {
		tr.Points[i][swing.LeftWrist] = swing.TrackPoint{}
	}
	if p, w := path(t, tr, s, DefaultOptions()); !p.Known() || len(w) != 0 {
		t.Errorf("known %v, warnings %v", p.Known(), w)
	}
}

// Frames may lack: a clip with gaps gives the same sights in the frames there
// are.
func TestGaps(t *testing.T) {
	tr, s := world(60, 1, 6)
	var kept []Sighting
	for i := range s {
		if i%7 != 3 {
			kept = append(kept, s[i])
		}
	}
	p, _ := path(t, tr, kept, DefaultOptions())
	for i, b := range p.Sights {
		if (i%7 != 3) != b.Seen {
			t.Errorf("frame %d: seen is %v", i, b.Seen)
		}
	}
}

func TestOptions(t *testing.T) {
	for _, change := range []func(*Options){
		func(o *Options) { o.Reach = 0 },
		func(o *Options) { o.MaxAbsent = 1.5 },
		func(o *Options) { o.LengthM = math.NaN() },
		func(o *Options) { o.HeightM = -1 },
	} {
		o := DefaultOptions()
		change(&o)
		if o.Validate() == nil {
			t.Errorf("%+v passes", o)
		}
	}
}

package compare

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// filmed makes the swing of a known motion as a camera sees it, with its true
// instants. The other stages have no part in it.
func filmed(m swingtest.Motion, c swingtest.Camera) *swing.Swing {
	poses, steady, moves := c.Film(m)
	s := &swing.Swing{Index: 1, Bats: swing.Right, View: swing.OpenSide, Events: map[swing.EventName]swing.Event{}}
	if m.Left {
		s.Bats = swing.Left
	}
	if c.View != "" {
		s.View = c.View
	}
	t := &s.Track
	t.Steady, t.CameraMoves = steady, moves
	for _, p := range poses {
		var row [swing.NumPoints]swing.TrackPoint
		for j, k := range p.Points {
			row[j] = swing.TrackPoint{X: k.X, Y: k.Y, Score: k.Score, State: swing.Seen}
		}
		t.Frames, t.Times, t.Points = append(t.Frames, p.Frame), append(t.Times, p.Time), append(t.Points, row)
	}
	put := func(name swing.EventName, at, sigma float64) {
		s.Events[name] = swing.Event{Time: at, Sigma: sigma, Method: "true"}
	}
	put(swing.Load, m.Lift(0)+0.1, 0.02)
	put(swing.Lift, m.Lift(0), 0.01)
	put(swing.Touch, m.Touch(0), 0.01)
	put(swing.Plant, m.PlantByDefinition(0), 0.006)
	put(swing.Contact, m.Contacts[0], 0.008)
	return s
}

func standard() *swing.Swing { return filmed(swingtest.Default(), swingtest.Camera{}) }

func compared(t *testing.T, a, b *swing.Swing, o Options) swing.Comparison {
	t.Helper()
	c, err := Swings(Subject{Swing: a}, Subject{Swing: b}, o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestBothAreBroughtToOneSize(t *testing.T) {
	// Height in the picture is focal length times height over distance.
	const focal = 1100
	for name, c := range map[string]struct {
		height, distance float64
		view             swing.View
		left             bool
	}{
		"adult":  {1.78, 5.5, swing.OpenSide, false},
		"far":    {1.78, 9, swing.OpenSide, false},
		"child":  {1.38, 5.5, swing.OpenSide, false},
		"left":   {1.62, 6, swing.OpenSide, true},
		"behind": {1.78, 5.5, swing.Rear, false},
	} {
		t.Run(name, func(t *testing.T) {
			m := swingtest.Default()
			m.Height, m.Left = c.height, c.left
			s := filmed(m, swingtest.Camera{Distance: c.distance, View: c.view, Noise: 0.004, Seed: 3})
			got := stature(&s.Track)
			if want := focal * c.height / c.distance; math.Abs(got/want-1) > 0.07 {
				t.Errorf("stature %.0f px, want about %.0f", got, want)
			}
		})
	}
	// The size of one against the other is what the pictures are scaled by.
	m := swingtest.Default()
	small := m
	small.Height = 1.4
	c := compared(t, filmed(m, swingtest.Camera{}), filmed(small, swingtest.Camera{Distance: 7.7}), DefaultOptions())
	if got, want := c.A.Stature/c.B.Stature, (1.78/5.5)/(1.4/7.7); math.Abs(got/want-1) > 0.04 {
		t.Errorf("one is %.3f times the other, want %.3f", got, want)
	}
}

func TestTooLittleBody(t *testing.T) {
	s := standard()
	for i := range s.Track.Points {
		for j := range s.Track.Points[i] {
			s.Track.Points[i][j].State = swing.Missing
		}
	}
	_, err := Swings(Subject{Clip: swing.Clip{Path: "a.mp4"}, Swing: standard()}, Subject{Clip: swing.Clip{Path: "b.mp4"}, Swing: s}, DefaultOptions())
	e, ok := swing.AsError(err)
	if !ok || e.Kind != swing.KindMissing || e.Clip != "b.mp4" || e.Hint == "" {
		t.Errorf("got %v", err)
	}
}

func TestMirror(t *testing.T) {
	left := swingtest.Default()
	left.Left = true
	for _, c := range []struct {
		a, b *swing.Swing
		want bool
	}{
		{standard(), standard(), false},
		{standard(), filmed(left, swingtest.Camera{}), true},
		{filmed(left, swingtest.Camera{}), standard(), true},
		{filmed(left, swingtest.Camera{}), filmed(left, swingtest.Camera{}), false},
	} {
		got := compared(t, c.a, c.b, DefaultOptions())
		if got.A.Mirrored || got.B.Mirrored != c.want {
			t.Errorf("%s against %s: mirrored %v, %v; want false, %v", c.a.Bats, c.b.Bats, got.A.Mirrored, got.B.Mirrored, c.want)
		}
	}
}

func TestClocksCountFromOneInstant(t *testing.T) {
	late := swingtest.Default()
	late.Contacts = []float64{2.3}
	late.Tempo = 0.22
	// Another rate, irregular, and a clip that does not begin at zero.
	a, b := standard(), filmed(late, swingtest.Camera{FPS: 120, Jitter: 0.4, Shift: 0.5, Length: 2.6})
	for _, at := range []swing.EventName{swing.Plant, swing.Touch, swing.Contact} {
		c := compared(t, a, b, Options{Align: at, Sigmas: 2})
		if c.Align != at || c.A.Zero != a.Events[at].Time || c.B.Zero != b.Events[at].Time || len(c.Warnings) != 0 {
			t.Errorf("%s: aligned at %s, %v and %v, warnings %v", at, c.Align, c.A.Zero, c.B.Zero, c.Warnings)
		}
	}
	c := compared(t, a, b, DefaultOptions())
	for _, e := range c.Events {
		if e.Event != swing.Contact {
			continue
		}
		// The tempo of b is 40 ms slower; its sigma joins four instants.
		want, sigma := -40.0, 1000*math.Sqrt(2*0.006*0.006+2*0.008*0.008)
		if math.Abs(*e.Value-want) > 1 || math.Abs(*e.Sigma-sigma) > 1e-9 || e.Verdict != swing.Differs {
			t.Errorf("contact: %.1f ± %.1f, %s; want %.0f ± %.1f", *e.Value, *e.Sigma, e.Verdict, want, sigma)
		}
	}
}

func TestMissingEvents(t *testing.T) {
	a, b := standard(), standard()
	delete(b.Events, swing.Lift)
	delete(a.Events, swing.Load)
	delete(b.Events, swing.Plant)
	c := compared(t, a, b, DefaultOptions())
	if c.Align != swing.Touch || len(c.Warnings) != 1 || c.Warnings[0].Code != "aligned-elsewhere" {
		t.Errorf("aligned at %s with %v", c.Align, c.Warnings)
	}
	seen := map[swing.EventName]swing.EventDifference{}
	for _, e := range c.Events {
		seen[e.Event] = e
	}
	if _, ok := seen[swing.Touch]; ok {
		t.Error("the aligned instant is compared with itself")
	}
	if _, ok := seen[swing.Stance]; ok {
		t.Error("an event that nobody has is listed")
	}
	for name, who := range map[swing.EventName]string{swing.Lift: "reference", swing.Load: "hitter", swing.Plant: "reference"} {
		e := seen[name]
		if e.Verdict != swing.NotComparable || e.Value != nil || e.Sigma != nil || !strings.Contains(e.Reason, who) {
			t.Errorf("%s: %+v", name, e)
		}
	}
	delete(b.Events, swing.Touch)
	delete(a.Events, swing.Contact)
	if _, err := Swings(Subject{Swing: a}, Subject{Swing: b}, DefaultOptions()); err == nil {
		t.Error("swings without a common instant are compared")
	} else if e, ok := swing.AsError(err); !ok || !strings.Contains(e.Msg, "touch and plant") || !strings.Contains(e.Msg, "contact") {
		t.Errorf("got %v", err)
	}
}

func value(id string, v, sigma float64, unit string, st swing.Status) swing.Measure {
	m := swing.Measure{ID: id, Event: swing.Plant, Unit: unit, Status: st, Reason: "because"}
	if st != swing.NotMeasurable {
		m.Value, m.Sigma = &v, &sigma
	}
	return m
}

func measuresOf() (a, b *swing.Swing) {
	a, b = standard(), standard()
	a.Measures = []swing.Measure{
		value("lead_elbow_flexion", 90, 6, "deg", swing.Measured),
		value("rear_elbow_flexion", 130, 3, "deg", swing.Measured),
		value("knob_direction", 178, 1, "deg", swing.Measured),
		value("stride_length", 0.50, 0.01, "stature", swing.Weak),
		value("rear_elbow_height", -0.4, 0.1, "upper_arm", swing.NotMeasurable),
		value("trunk_lean", -3, 3, "deg", swing.Measured),
		value("only_a", 1, 1, "deg", swing.Measured),
		value("other_unit", 1, 1, "deg", swing.Measured),
		value("tempo_plant_contact", 180, 8, "ms", swing.Measured),
	}
	b.Measures = []swing.Measure{
		value("tempo_plant_contact", 210, 6, "ms", swing.Measured),
		value("lead_elbow_flexion", 74, 6, "deg", swing.Measured),
		value("rear_elbow_flexion", 120, 4, "deg", swing.Measured), // exactly two sigmas
		value("knob_direction", -179, 1, "deg", swing.Measured),
		value("stride_length", 0.45, 0.01, "stature", swing.Measured),
		value("rear_elbow_height", -0.4, 0.1, "upper_arm", swing.Measured),
		value("trunk_lean", -3, 3, "deg", swing.NotMeasurable),
		value("other_unit", 1, 1, "m", swing.Measured),
	}
	return a, b
}

// table writes a comparison as text.
func table(c *swing.Comparison) string {
	var b strings.Builder
	text := func(v *float64) string {
		if v == nil {
			return "-"
		}
		return fmt.Sprintf("%.4g", *v)
	}
	for _, m := range c.Measures {
		fmt.Fprintf(&b, "%s %s: %s less %s = %s ± %s %s: %s weak=%v %s\n", m.ID, m.Event, text(m.A), text(m.B), text(m.Value), text(m.Sigma), m.Unit, m.Verdict, m.Weak, m.Reason)
	}
	for _, w := range c.Warnings {
		fmt.Fprintf(&b, "%s: %s\n", w.Code, w.Text)
	}
	return b.String()
}

func TestTables(t *testing.T) {
	a, b := measuresOf()
	c := compared(t, a, b, DefaultOptions())
	swingtest.Golden(t, filepath.Join("testdata", "same-view.txt"), []byte(table(&c)), *update)
	b.View = swing.Rear
	c = compared(t, a, b, DefaultOptions())
	swingtest.Golden(t, filepath.Join("testdata", "other-view.txt"), []byte(table(&c)), *update)
	for _, m := range c.Measures {
		if (m.Value != nil) != (m.Unit == "ms") {
			t.Errorf("%s is compared across views: %v", m.ID, m.Value)
		}
	}
}

// Measures of equal swings differ by their noise only: about one in twenty may be
// called a difference, and a true difference of four sigmas nearly always is.
func TestDifferencesAreCalledAsOftenAsTheySay(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	const n = 4000
	called := func(true_ float64) float64 {
		k := 0
		for range n {
			sa, sb := 1+3*r.Float64(), 1+3*r.Float64()
			d := true_ * math.Hypot(sa, sb)
			m := difference(
				value("x", 10+d+sa*r.NormFloat64(), sa, "deg", swing.Measured),
				value("x", 10+sb*r.NormFloat64(), sb, "deg", swing.Measured), true, 2)
			if m.Verdict == swing.Differs {
				k++
			}
		}
		return float64(k) / n
	}
	if got := called(0); got < 0.03 || got > 0.06 {
		t.Errorf("%.3f of equal pairs are called different, want 0.046", got)
	}
	if got := called(4); got < 0.96 {
		t.Errorf("%.3f of pairs four sigmas apart are called different, want 0.977", got)
	}
}

func TestOptions(t *testing.T) {
	for _, o := range []Options{{Align: swing.Stance, Sigmas: 2}, {Align: "", Sigmas: 2}, {Align: swing.Plant}, {Align: swing.Plant, Sigmas: math.NaN()}} {
		_, err := Swings(Subject{Swing: standard()}, Subject{Swing: standard()}, o)
		if e, ok := swing.AsError(err); !ok || e.Kind != swing.KindUsage {
			t.Errorf("%+v: %v", o, err)
		}
	}
	if err := DefaultOptions().Validate(); err != nil {
		t.Error(err)
	}
}

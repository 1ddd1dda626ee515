package render

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

// withBat gives the made-up swing a bat from the hands up to the catcher's side.
func withBat(s *swing.Swing, sigma float64) {
	s.Bat = swing.BatPath{Length: 110, LengthSigma: 2, LengthSource: "learned"}
	for range s.Track.Times {
		s.Bat.Sights = append(s.Bat.Sights, swing.BatSight{
			Seen: true, Knob: swing.Point{X: 320, Y: 90}, Tip: swing.Point{X: 250, Y: 20}, Sigma: sigma, KnobSigma: 1, TipSigma: 2,
		})
	}
}

// painted counts the pixels that differ between two canvases inside r.
func painted(a, b *canvas, r rect) int {
	n := 0
	for y := int(r.y0); y < int(r.y1); y++ {
		for x := int(r.x0); x < int(r.x1); x++ {
			i := 3 * (y*a.w + x)
			if a.pix[i] != b.pix[i] || a.pix[i+1] != b.pix[i+1] || a.pix[i+2] != b.pix[i+2] {
				n++
			}
		}
	}
	return n
}

// drawFigure draws the figure of one frame alone on black.
func drawFigure(t *testing.T, s *swing.Swing, launch bool) (*canvas, map[line]bool) {
	t.Helper()
	a := swing.Analysis{Swings: []swing.Swing{*s}}
	sec := planSections(&a, quickOptions())[0]
	f, ok := figureAt(sec, 63, 1, 1)
	if !ok {
		t.Fatal("no figure")
	}
	c := newCanvas(640, 360)
	if !launch {
		f.thinBat(c, houseColours())
		return c, nil
	}
	f.hands = trail(sec, 63, 1)
	return c, f.launch(c, houseColours())
}

func oneSwing() *swing.Swing {
	m := steadyClip(640, 360, 60, 2)
	return &analysisOf(m, 1, swingEvents()).Swings[0]
}

func TestBatIsDrawnOnlyWhereItIsSeen(t *testing.T) {
	none, blank := oneSwing(), newCanvas(640, 360)
	seen, unseen, wild := oneSwing(), oneSwing(), oneSwing()
	withBat(seen, 0.5)
	withBat(unseen, 0.5)
	withBat(wild, 0.5)
	for i := range unseen.Bat.Sights {
		unseen.Bat.Sights[i].Seen = false
		wild.Bat.Sights[i].Tip.X = math.NaN()
	}
	round := rect{240, 10, 330, 60} // off the body
	for name, c := range map[string]struct {
		s    *swing.Swing
		want bool
	}{"none": {none, false}, "seen": {seen, true}, "unseen": {unseen, false}, "wild": {wild, false}} {
		for _, launch := range []bool{false, true} {
			got, drawn := drawFigure(t, c.s, launch)
			if n := painted(got, blank, round); (n > 100) != c.want {
				t.Errorf("%s, launch %v: %d pixels where the bat is", name, launch, n)
			}
			if launch && drawn[batLine] != c.want {
				t.Errorf("%s: the list says bat %v", name, drawn[batLine])
			}
		}
	}
}

// A less certain direction opens the fan; a certain one is a line.
func TestFanShowsTheUncertainty(t *testing.T) {
	blank, last := newCanvas(640, 360), 0
	for _, sigma := range []float64{0, 5, 15, 400} {
		s := oneSwing()
		withBat(s, sigma)
		c, _ := drawFigure(t, s, false)
		n := painted(c, blank, rect{0, 0, 640, 360})
		if n < last+100 {
			t.Errorf("sigma %v deg paints %d pixels, less certain ones must paint more than %d", sigma, n, last)
		}
		last = n
	}
}

func TestWedge(t *testing.T) {
	c := newCanvas(200, 200)
	half := 20 * math.Pi / 180
	c.wedge(swing.Point{X: 100, Y: 100}, swing.Point{X: 1}, 80, half, 0, rgb(0xFFFFFF), 1)
	inside := func(r, deg float64) bool {
		s, k := math.Sincos(deg * math.Pi / 180)
		x, y := int(100+r*k), int(100+r*s)
		return c.pix[3*(y*200+x)] > 128
	}
	for _, p := range []struct {
		r, deg float64
		in     bool
	}{
		{40, 0, true}, {70, 17, true}, {70, -17, true}, {70, 24, false}, {70, -24, false}, {86, 0, false}, {30, 180, false}, {10, 90, false},
	} {
		if inside(p.r, p.deg) != p.in {
			t.Errorf("%v px out at %v deg: inside %v", p.r, p.deg, !p.in)
		}
	}
}

// What was drawn from one view is not drawn from the other.
func TestGuidesOfTheView(t *testing.T) {
	open, behind := oneSwing(), oneSwing()
	behind.View = swing.Rear
	withBat(open, 0.5)
	withBat(behind, 0.5)
	_, o := drawFigure(t, open, true)
	_, r := drawFigure(t, behind, true)
	if o[barrelLine] || !r[barrelLine] {
		t.Errorf("barrel's distance: open side %v, rear %v", o[barrelLine], r[barrelLine])
	}
	if !o[handsLine] || !r[handsLine] {
		t.Error("the hands' path is missing")
	}
}

// The hands' path runs from stance to plant, in the picture of the frame on show.
func TestTrail(t *testing.T) {
	s := oneSwing()
	for i := range s.Track.Times {
		for _, j := range []swing.Joint{swing.LeftWrist, swing.RightWrist} {
			s.Track.Points[i][j] = swing.TrackPoint{X: 300, Y: 100, State: swing.Seen} // still in the world ...
		}
		s.Track.Points[i][swing.LeftWrist].X += 2 * float64(i) // ... but for the camera
		s.Track.Points[i][swing.RightWrist].X += 2 * float64(i)
		m := swing.IdentitySimilarity()
		m.TX = -2 * float64(i)
		s.Track.Steady = append(s.Track.Steady, m)
	}
	a := swing.Analysis{Swings: []swing.Swing{*s}}
	sec := planSections(&a, quickOptions())[0]
	path := trail(sec, 63, 2) // plant is at 1.05 s, frame 63
	if n := len(path); n != 34 {
		t.Errorf("%d points from stance (frame 30) to plant (frame 63)", n)
	}
	for _, p := range path {
		if p.Sub(swing.Point{X: 2 * (300 + 126), Y: 200}).Norm() > 1e-9 {
			t.Fatalf("hands that stand still are drawn at %v", p)
		}
	}
	if n := len(trail(sec, 80, 1)); n != 34 {
		t.Errorf("after plant the path has %d points", n)
	}
	delete(a.Swings[0].Events, swing.Stance)
	if trail(sec, 63, 1) != nil {
		t.Error("a path without its beginning")
	}
}

// The number beside the bat is the measure's, lies in the picture and off the band.
func TestBatTag(t *testing.T) {
	st, err := newStyle(640, 360)
	if err != nil {
		t.Fatal(err)
	}
	v, sg, far, m := 41.6, 3.2, 0.25, 0.441
	for _, view := range []swing.View{swing.OpenSide, swing.Rear} {
		s := oneSwing()
		s.View = view
		withBat(s, 0.5)
		s.Measures = []swing.Measure{
			{ID: "bat_tilt", Event: swing.Plant, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.Measured},
			{ID: "bat_tilt", Event: swing.Load, Status: swing.NotMeasurable, Reason: "not seen", Value: &v, Sigma: &sg, Unit: "deg"},
			{ID: "barrel_distance", Event: swing.Plant, Value: &far, Sigma: &sg, Unit: "stature", Status: swing.Measured},
			{ID: "barrel_distance_m", Event: swing.Plant, Value: &m, Sigma: &far, Unit: "m", Status: swing.Weak, Reason: "x"},
		}
		a := swing.Analysis{Swings: []swing.Swing{*s}}
		sc := newScene(st, planSections(&a, quickOptions())[0], 1, 30, 1)
		f, _ := figureAt(sc.sec, 63, 1, 1)
		f.bat.tip = swing.Point{X: 30, Y: 3} // at the edge
		g, ok := sc.batTag(&f, swing.Plant)
		want := map[swing.View]string{swing.OpenSide: "42 ± 3°", swing.Rear: "44 ± 25 cm"}[view]
		if !ok || g.text != want {
			t.Errorf("%s: the number reads %q", view, g.text)
		}
		if g.rect.and(sc.strip.rect).area() > 0 || g.rect.x0 < 0 || g.rect.y0 < 0 || g.rect.x1 > st.w || g.rect.y1 > st.h {
			t.Errorf("%s: the number stands at %v, the band at %v", view, g.rect, sc.strip.rect)
		}
		for _, ev := range []swing.EventName{"", swing.Load, swing.Contact} {
			if _, ok := sc.batTag(&f, ev); ok {
				t.Errorf("%s: a number at %q", view, ev)
			}
		}
	}
}

// The list keeps clear of the bat as it is seen.
func TestBatReach(t *testing.T) {
	st, err := newStyle(640, 360)
	if err != nil {
		t.Fatal(err)
	}
	s := oneSwing()
	withBat(s, 0.5)
	a := swing.Analysis{Swings: []swing.Swing{*s}}
	sc := newScene(st, planSections(&a, quickOptions())[0], 1, 30, 1)
	r, ok := sc.batReach(1, 1.1)
	if !ok || r.x0 > 250 || r.x1 < 320 || r.y0 > 20 || r.y1 < 90 || r.w() > 100 {
		t.Errorf("the bat reaches over %v, %v", r, ok)
	}
	for i := range s.Bat.Sights {
		s.Bat.Sights[i].Seen = i%2 == 0
	}
	a.Swings[0].Bat = s.Bat
	if _, ok := sc.batReach(1, 1.1); ok {
		t.Error("a bat seen half of the time tells where it is")
	}
}

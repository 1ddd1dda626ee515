package render

import (
	"bytes"
	"image/png"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

func TestQuantity(t *testing.T) {
	for _, c := range []struct {
		v, sigma float64
		unit     string
		want     string
	}{
		{74.4, 5.2, "deg", "74 ± 5°"},
		{-12.3, 9.1, "deg", "−12 ± 9°"},
		{-0.2, 3, "deg", "0 ± 3°"},
		{3.26, 0.34, "deg", "3.3 ± 0.3°"},
		{3.26, 0.001, "deg", "3.3 ± 0.1°"},
		{0.4531, 0.0123, "stature", "45 ± 1 % height"},
		{0.4531, 0.0041, "stature", "45.3 ± 0.4 % height"},
		{-0.402, 0.083, "upper_arm", "−40 ± 8 % arm"},
		{0.55, 0.03, "1", "55 ± 3 %"},
		{180.4, 12, "ms", "180 ± 12 ms"},
		{1.234, 0.05, "kg_m2", "1.23 ± 0.05 kg m2"},
	} {
		if got := quantity(c.v, c.sigma, c.unit); got != c.want {
			t.Errorf("%v ± %v %s: %q, want %q", c.v, c.sigma, c.unit, got, c.want)
		}
	}
}

func TestEventTime(t *testing.T) {
	for want, e := range map[string]swing.Event{
		"1.553 s ± 4 ms":  {Time: 1.5527, Sigma: 0.0041},
		"0.500 s ± 1 ms":  {Time: 0.5, Sigma: 0.0001},
		"12.000 s ± 9 ms": {Time: 12, Sigma: 0.00949},
		"2.000 s ± 33 ms": {Time: 2, Sigma: 0.0333},
	} {
		if got := eventTime(e); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestPanelSaysWhatIsKnownAndNoMore(t *testing.T) {
	v, sg := 30.0, 4.0
	s := &swing.Swing{Measures: []swing.Measure{
		{ID: "shoulder_turn", Event: swing.Plant, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.Weak, Reason: "one view"},
		{ID: "lead_elbow_flexion", Event: swing.Plant, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.NotMeasurable, Reason: "occluded"},
		{ID: "front_knee_flexion", Event: swing.Plant, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.Measured},
		{ID: "front_knee_flexion", Event: swing.Contact, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.Measured},
		{ID: "stride_length", Event: swing.Plant, Value: &v, Unit: "stature", Status: swing.Measured}, // no uncertainty
		{ID: "made_up", Event: swing.Plant, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.Measured},
	}}
	got := panelRows(s, swing.Plant, map[line]bool{leadArm: true, strideLine: true})
	want := []row{
		{line: noLine, name: "shoulder turn", value: "30 ± 4°", weak: true}, // its line is not in the picture
		{line: leadArm, name: "lead arm"},
		{line: strideLine, name: "stride"},
		{line: noLine, name: "front knee bend", value: "30 ± 4°"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	p := panel{}
	if text := p.valueText(got[0]); text != "30 ± 4° weak" {
		t.Errorf("a weak measure reads %q", text)
	}
}

func TestFontsHaveEverySign(t *testing.T) {
	st, err := newStyle(720, 1280)
	if err != nil {
		t.Fatal(err)
	}
	text := "°±−×·…%" + caution() + slower(4) + frameTime(1, 2)
	for _, n := range swing.EventNames() {
		text += string(n)
	}
	for _, k := range keyMeasures() {
		text += k.name + lineName(k.line)
	}
	for _, r := range text {
		if r != ' ' && (!st.name.has(r) || !st.value.has(r) || !st.title.has(r)) {
			t.Errorf("%q cannot be shown", r)
		}
		if r != ' ' && len(st.value.glyph(r).mask) == 0 {
			t.Errorf("%q is empty", r)
		}
	}
}

// longest is a section with the longest words that can occur.
func longest() *section {
	s := &swing.Swing{Bats: swing.Right, View: swing.OpenSide, Events: map[swing.EventName]swing.Event{
		swing.SwingStart: {Time: 123.456, Sigma: 0.123, Frame: 29629},
	}}
	return &section{s: s, number: 10, of: 12, start: 122, end: 125}
}

// TestTextFitsEverySize draws the band on canvases with a wide margin of a
// known colour around the picture and finds nothing drawn outside.
func TestTextFitsEverySize(t *testing.T) {
	for _, size := range [][2]int{{1280, 720}, {720, 1280}, {640, 480}, {480, 640}, {480, 480}, {1080, 1920}, {1920, 1080}, {886, 480}} {
		st, err := newStyle(size[0], size[1])
		if err != nil {
			t.Fatal(err)
		}
		// 3 % of the short side, ascender to descender.
		if m := st.name.face.Metrics(); px(m.Ascent+m.Descent) < 0.03*st.side {
			t.Errorf("%v: the smallest text is %.1f px high", size, px(m.Ascent+m.Descent))
		}
		s := newStrip(st, longest(), rect{100, 100, 200, 400})
		clock := frameTime(123.456, 29629)
		right := st.w - st.margin - st.value.width(clock)
		if w := st.margin + s.bannerWidth(swing.SwingStart, s.sec.s.Events[swing.SwingStart]); w > st.w-st.margin {
			t.Errorf("%v: the banner is %.0f px wide", size, w)
		}
		if s.lines == 2 && st.margin+st.name.width(which(s.sec)) > right {
			t.Errorf("%v: swing and clock overlap", size)
		}
		for _, l := range st.value.wrap(caution(), st.w-2*st.margin) {
			if st.value.width(l) > st.w {
				t.Errorf("%v: the caution runs out of the picture: %q", size, l)
			}
		}
		c := newCanvas(size[0], size[1])
		s.draw(c, now{t: 123.456, frame: 29629, event: swing.SwingStart})
		s.closing(c)
	}
}

func TestBandStaysAwayFromTheHitter(t *testing.T) {
	st, err := newStyle(1280, 720)
	if err != nil {
		t.Fatal(err)
	}
	if s := newStrip(st, longest(), rect{500, 300, 800, 700}); !s.top {
		t.Error("feet at the lower edge and the band is there too")
	}
	if s := newStrip(st, longest(), rect{500, 60, 800, 560}); s.top {
		t.Error("head and bat at the upper edge and the band is there too")
	}
}

func TestPanelStaysAwayFromTheHitter(t *testing.T) {
	st, err := newStyle(1280, 720)
	if err != nil {
		t.Fatal(err)
	}
	rows := slices.Repeat([]row{{name: "lead elbow bend", value: "74 ± 5°"}}, 8)
	free := rect{0, 0, 1280, 660}
	for _, hitter := range []rect{{450, 100, 820, 640}, {100, 100, 500, 640}, {800, 100, 1200, 640}} {
		p, ok := newPanel(st, "at plant", rows, free, hitter)
		if !ok || len(p.rows) != 8 {
			t.Fatalf("hitter at %v: %d of 8 rows", hitter, len(p.rows))
		}
		if p.rect.and(hitter).area() > 0.01*p.rect.area() {
			t.Errorf("hitter at %v is covered by %v", hitter, p.rect)
		}
		if p.rect.and(free).area() != p.rect.area() {
			t.Errorf("%v leaves the picture", p.rect)
		}
	}
	// One who fills the picture costs rows, not the view.
	if p, ok := newPanel(st, "at plant", rows, free, rect{0, 0, 1280, 700}); !ok || len(p.rows) != 3 {
		t.Errorf("%d rows over a hitter who fills the picture", len(p.rows))
	}
	if _, ok := newPanel(st, "at plant", nil, free, rect{}); ok {
		t.Error("an empty list is shown")
	}
}

// TestWildPlaces draws far outside and on every edge: nothing panics, nothing
// takes long, and pixels outside the shape stay.
func TestWildPlaces(t *testing.T) {
	c := newCanvas(64, 48)
	far := []float64{-1e9, -70, -1, 0, 0.5, 31, 47.9, 64, 200, 1e9}
	for _, x := range far {
		for _, y := range far {
			p, q := swing.Point{X: x, Y: y}, swing.Point{X: y, Y: x}
			c.stroke(p, q, 5, colour{1, 2, 3}, 1)
			c.disc(p, 4, colour{9, 9, 9}, 0.5)
			c.box(p, 4, true, colour{9, 9, 9}, 0.5)
			c.plate(rect{x, y, x + 30, y + 20}, 5, colour{7, 7, 7}, 0.5)
			c.tint(rect{x, y, y, x}, colour{7, 7, 7}, 0.5)
		}
	}
	st, err := newStyle(64, 48)
	if err != nil {
		t.Fatal(err)
	}
	st.title.put(c, -20, 10, "clipped at the left", colour{}, 1)
	st.title.put(c, 50, 60, "and below ±", colour{}, 1)

	sec := &section{s: &swing.Swing{}, rows: map[int]int{0: 0}}
	sec.s.Track.Points = make([][swing.NumPoints]swing.TrackPoint, 1)
	for j := range sec.s.Track.Points[0] {
		v := []float64{math.NaN(), math.Inf(1), 1e300, -1e7}[j%4]
		sec.s.Track.Points[0][j] = swing.TrackPoint{X: v, Y: v, State: swing.Seen}
	}
	sec.s.CentreOfMass = []*swing.Point{{X: math.NaN(), Y: 1}}
	f, ok := figureAt(sec, 0, 1, 1)
	if !ok || slices.Contains(f.has[:], true) || f.mass != nil {
		t.Error("a point without a place counts as known")
	}
}

// TestStrokeCoverage compares the sum of what a line covers with its area.
func TestStrokeCoverage(t *testing.T) {
	for _, d := range []swing.Point{{X: 40}, {Y: 40}, {X: 40, Y: 30}, {X: 3, Y: 40}, {X: -40, Y: 17.3}, {}} {
		c := newCanvas(120, 120)
		p := swing.Point{X: 60.3, Y: 58.6}
		c.stroke(p, p.Add(d), 6, colour{255, 255, 255}, 1)
		sum := 0.0
		for i := 0; i < len(c.pix); i += 3 {
			sum += float64(c.pix[i]) / 255
		}
		want := 6*d.Norm() + math.Pi*9 // a strip and two half discs
		if math.Abs(sum-want) > 0.03*want {
			t.Errorf("a line along %v covers %.1f px², want %.1f", d, sum, want)
		}
	}
}

func TestPlateIsEven(t *testing.T) {
	c := newCanvas(60, 40)
	for i := range c.pix {
		c.pix[i] = 200
	}
	c.plate(rect{10.4, 5.2, 50.1, 34.9}, 4.3, colour{}, 0.5)
	for y := 9; y < 31; y++ {
		for x := 14; x < 46; x++ {
			if v := c.pix[3*(y*60+x)]; v != 100 {
				t.Fatalf("pixel %d,%d is %d: there is a seam", x, y, v)
			}
		}
	}
	if c.pix[3*(4*60+30)] != 200 || c.pix[3*(20*60+52)] != 200 {
		t.Error("the plate is larger than asked for")
	}
}

func TestEnlarging(t *testing.T) {
	f := swing.Frame{Width: 2, Height: 1, Pix: []byte{0, 0, 0, 200, 200, 200}}
	c := newCanvas(8, 4)
	c.load(f, 4)
	// Centres at 0.5 and 1.5 of the source; straight lines between.
	want := []byte{0, 0, 25, 75, 125, 175, 200, 200}
	for x, w := range want {
		if got := c.pix[3*x]; got != w {
			t.Errorf("column %d is %d, want %d", x, got, w)
		}
	}
	if !bytes.Equal(c.pix[:24], c.pix[72:]) {
		t.Error("rows differ")
	}
}

func TestVideoRate(t *testing.T) {
	for _, c := range []struct {
		fps      float64
		num, den int
	}{
		{29.97, 30000, 1001},
		{30, 30, 1},
		{59.94, 30000, 1001},
		{60, 30, 1},
		{23.976, 24000, 1001},
		{25, 25, 1},
		{50, 25, 1},
		{120, 30, 1},
		{240, 60, 1},
		{1000, 58824, 1000},
		{10, 20000, 1000},
		{1, 32000, 1000},
		{0, 30, 1},
		{35.3, 35300, 1000},
	} {
		num, den := videoRate(&swing.Analysis{Clip: swing.Clip{FPS: c.fps}}, DefaultOptions())
		if num != c.num || den != c.den {
			t.Errorf("%v fps gives %d/%d, want %d/%d", c.fps, num, den, c.num, c.den)
		}
	}
	smooth := DefaultOptions()
	smooth.MinFPS = 60
	if num, den := videoRate(&swing.Analysis{Clip: swing.Clip{FPS: 60}}, smooth); num != 60 || den != 1 {
		t.Errorf("60 fps asked for gives %d/%d", num, den)
	}
}

func TestPNG(t *testing.T) {
	c := newCanvas(37, 23)
	r := rand.New(rand.NewPCG(3, 4))
	for i := range c.pix {
		c.pix[i] = byte(r.IntN(256))
	}
	var b bytes.Buffer
	if err := encodePNG(&b, c); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b) // checks sums and order of chunks
	if err != nil {
		t.Fatal(err)
	}
	for y := range c.h {
		for x := range c.w {
			r, g, bl, a := img.At(x, y).RGBA()
			p := c.pix[3*(y*c.w+x):]
			if byte(r>>8) != p[2] || byte(g>>8) != p[1] || byte(bl>>8) != p[0] || a != 0xffff {
				t.Fatalf("pixel %d,%d differs", x, y)
			}
		}
	}
}

func TestSlowPart(t *testing.T) {
	ev := func(m map[swing.EventName]float64) map[swing.EventName]swing.Event {
		out := map[swing.EventName]swing.Event{}
		for n, at := range m {
			out[n] = swing.Event{Time: at, Sigma: 0.01}
		}
		return out
	}
	inf := math.Inf(1)
	for name, c := range map[string]struct {
		ev       map[swing.EventName]float64
		from, to float64
	}{
		"all":          {map[swing.EventName]float64{swing.Touch: 1, swing.Plant: 1.05, swing.Contact: 1.2}, 0.94, 1.22},
		"contact late": {map[swing.EventName]float64{swing.Touch: 1, swing.Plant: 1.05, swing.Contact: 2}, 0.94, 1.15},
		"plant alone":  {map[swing.EventName]float64{swing.Plant: 1.05}, 0.99, 1.15},
		"touch alone":  {map[swing.EventName]float64{swing.Touch: 1}, 0.94, 1.1},
		"neither":      {map[swing.EventName]float64{swing.Contact: 1}, inf, inf},
	} {
		from, to := slowPart(ev(c.ev), DefaultOptions())
		if math.Abs(from-c.from) > 1e-9 || math.Abs(to-c.to) > 1e-9 {
			if from != c.from || to != c.to {
				t.Errorf("%s: %v to %v, want %v to %v", name, from, to, c.from, c.to)
			}
		}
	}
	s := section{slow0: 1, slow1: 1.5, factor: 4}
	for at, want := range map[float64]float64{0: 0, 1: 1, 1.25: 2, 1.5: 3, 2: 3.5} {
		if got := s.clock(at); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v s is shown at %v, want %v", at, got, want)
		}
	}
}

func TestTailKeepsTheEnd(t *testing.T) {
	var b tail
	for range 3000 {
		if _, err := b.Write([]byte("0123456789\n")); err != nil {
			t.Fatal(err)
		}
	}
	_, _ = b.Write([]byte("the reason"))
	if s := b.String(); len(s) > 310 || !strings.HasSuffix(s, "the reason") {
		t.Errorf("%d bytes ending in %q", len(s), s[max(0, len(s)-20):])
	}
}

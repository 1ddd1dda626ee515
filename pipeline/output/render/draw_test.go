package render

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

func draw(t *testing.T, m *clipMaker, a swing.Analysis, o Options) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "out")
	if err := Draw(context.Background(), m.frames(), a, dir, o, nil); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestVideoPlaysAnywhere(t *testing.T) {
	// Odd sides: the last row and column are dropped.
	m := steadyClip(641, 361, 60, 2)
	dir := draw(t, m, analysisOf(m, 1, swingEvents()), quickOptions())
	path := filepath.Join(dir, "overlay.mp4")
	all := probe(t, path)
	if len(all) != 1 {
		t.Fatalf("%d streams, want the picture alone", len(all))
	}
	s := all[0]
	got := []any{s.Type, s.Codec, s.PixFmt, s.Width, s.Height, s.Rate, s.Average, s.Space, s.Range, s.Primary, s.Transfer}
	want := []any{"video", "h264", "yuv420p", 640, 360, "30/1", "30/1", "bt709", "tv", "bt709", "bt709"}
	if !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	if s.Level > 42 {
		t.Errorf("level %d: phones are sure to play 4.2", s.Level)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if i, j := bytes.Index(b, []byte("moov")), bytes.Index(b, []byte("mdat")); i < 0 || i > j {
		t.Errorf("index at %d, pictures at %d: the index must come first", i, j)
	}
	if bytes.Contains(b, []byte("moof")) {
		t.Error("the file is in fragments")
	}
}

func TestSlowMotionAndHold(t *testing.T) {
	for name, c := range map[string]struct {
		fps        float64
		rate       string
		slow, fast int // showings of a frame, in and out of the slow part
		skip       int // step between frames shown at true speed
	}{
		"30":  {30, "30/1", 4, 1, 1},
		"60":  {60, "30/1", 2, 1, 2},
		"120": {120, "30/1", 1, 1, 4},
		"240": {240, "60/1", 1, 1, 4},
	} {
		t.Run(name, func(t *testing.T) {
			m := steadyClip(320, 180, c.fps, 2.2)
			a := analysisOf(m, 0.5, swingEvents())
			plant := a.Swings[0].Events[swing.Plant].Frame
			dir := draw(t, m, a, quickOptions())
			path := filepath.Join(dir, "overlay.mp4")
			rate := probe(t, path)[0].Rate
			if rate != c.rate {
				t.Fatalf("rate %s, want %s", rate, c.rate)
			}
			out := 30
			if c.rate == "60/1" {
				out = 60
			}
			frame, times := runs(shownFrames(t, path, 320, 180))
			at := func(s float64) int { return int(s*c.fps + 0.5) }
			// The stance less the lead, to the finish and a little more.
			if first, last := frame[0], frame[len(frame)-1]; first != at(0.2) || last < at(1.9)-c.skip || last > at(1.9) {
				t.Errorf("shows frames %d to %d, want %d to %d", first, last, at(0.2), at(1.9))
			}
			if !slices.IsSorted(frame) {
				t.Error("frames go back in time")
			}
			for i, f := range frame {
				s := float64(f) / c.fps
				switch {
				case f == plant: // a second and its own time
					if n := times[i] - out; n < 1 || n > c.slow {
						t.Errorf("plant is shown %d times, want %d and 1 to %d more", times[i], out, c.slow)
					}
				case i == len(frame)-1: // the caution
					if n := times[i] - out; n < 0 || n > 2 {
						t.Errorf("the end is shown %d times, want %d", times[i], out)
					}
				// Slow from touch - 0.06 to contact + 0.02; its very ends
				// may fall either way.
				case s > 0.95 && s < 1.14:
					if times[i] != c.slow {
						t.Errorf("frame %d, in slow motion, is shown %d times, want %d", f, times[i], c.slow)
					}
					if f != frame[i-1]+1 {
						t.Errorf("slow motion goes from frame %d to %d", frame[i-1], f)
					}
				case s < 0.92 || s > 1.2:
					if times[i] != c.fast {
						t.Errorf("frame %d, at true speed, is shown %d times, want %d", f, times[i], c.fast)
					}
					if i > 0 && s > 0.25 && s < 0.92 && f != frame[i-1]+c.skip {
						t.Errorf("true speed goes from frame %d to %d", frame[i-1], f)
					}
				}
			}
		})
	}
}

// TestVariableRate: a frame stays on show until the next one's time.
func TestVariableRate(t *testing.T) {
	m := steadyClip(320, 180, 30, 2)
	// Frames 12..17 are lost: 11 lasts from 0.367 s to 0.6 s.
	m.times = slices.Delete(m.times, 12, 18)
	dir := draw(t, m, analysisOf(m, 0.5, swingEvents()), quickOptions())
	frame, times := runs(shownFrames(t, filepath.Join(dir, "overlay.mp4"), 320, 180))
	i := slices.Index(frame, 11)
	if i < 0 || times[i] != 7 || times[i-1] != 1 || times[i+1] != 1 {
		t.Fatalf("around the gap frames %v are shown %v times, want 11 seven times", frame[i-1:i+2], times[i-1:i+2])
	}
}

func readPNG(t *testing.T, path string) image.Image {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// hue names the colour at p, for the colours of the lines.
func hue(img image.Image, p swing.Point) string {
	r, g, b, _ := img.At(int(p.X), int(p.Y)).RGBA()
	c := houseColours()
	best, least := "ground", 3*60*60
	for name, want := range map[string]colour{
		"shoulders": c.shoulders, "lead": c.lead, "rear": c.rear, "trunk": c.trunk, "stride": c.stride,
	} {
		dr, dg, db := int(r>>8)-int(want[2]), int(g>>8)-int(want[1]), int(b>>8)-int(want[0])
		if d := dr*dr + dg*dg + db*db; d < least {
			best, least = name, d
		}
	}
	return best
}

func TestLinesLieWhereTheBodyIs(t *testing.T) {
	h := hitter()
	between := func(a, b swing.Joint, f float64) swing.Point {
		return h[a].Scale(1 - f).Add(h[b].Scale(f))
	}
	neck, hip := between(swing.LeftShoulder, swing.RightShoulder, 0.5), between(swing.LeftHip, swing.RightHip, 0.5)
	want := map[string]struct {
		at  swing.Point
		hue string
	}{
		"shoulder line":    {between(swing.LeftShoulder, swing.RightShoulder, 0.25), "shoulders"},
		"beyond shoulders": {between(swing.LeftShoulder, swing.RightShoulder, 1.2), "shoulders"},
		"lead upper arm":   {between(swing.LeftShoulder, swing.LeftElbow, 0.6), "lead"},
		"lead forearm":     {between(swing.LeftElbow, swing.LeftWrist, 0.5), "lead"},
		"rear elbow":       {h[swing.RightElbow], "rear"},
		"rear wrist":       {h[swing.RightWrist], "rear"},
		"trunk":            {neck.Scale(0.4).Add(hip.Scale(0.6)), "trunk"},
		"stride":           {between(swing.LeftAnkle, swing.RightAnkle, 0.25), "stride"},
		"beside the body":  {swing.Point{X: 450, Y: 130}, "ground"},
	}
	// The same body at full size and at half size, delivered smaller and
	// enlarged again: lines stay on the body.
	for name, c := range map[string]struct {
		w, h    int
		k       float64 // full-size px per px of the map above
		o       func(*Options)
		toStill float64
	}{
		"as it is":        {640, 360, 1, func(o *Options) {}, 1},
		"delivered small": {640, 360, 3, func(o *Options) { o.Scale = 3 }, 1},
		"enlarged":        {320, 180, 1, func(o *Options) { o.Scale = 2; o.MinSide = 360 }, 1},
	} {
		t.Run(name, func(t *testing.T) {
			m := steadyClip(c.w, c.h, 30, 1.6)
			a := analysisOf(m, c.k, swingEvents())
			o := quickOptions()
			c.o(&o)
			dir := draw(t, m, a, o)
			for _, ev := range stillEvents() {
				img := readPNG(t, filepath.Join(dir, "stills", "1-"+string(ev)+".png"))
				if img.Bounds().Dx() != 640 || img.Bounds().Dy() != 360 {
					t.Fatalf("still of %v", img.Bounds())
				}
				for what, w := range want {
					if got := hue(img, w.at); got != w.hue {
						t.Errorf("%s, %s: %s, want %s", ev, what, got, w.hue)
					}
				}
			}
		})
	}
}

func TestMissingPointsLeaveLinesOut(t *testing.T) {
	m := steadyClip(640, 360, 30, 1.6)
	a := analysisOf(m, 1, swingEvents())
	for i := range a.Swings[0].Track.Points {
		row := &a.Swings[0].Track.Points[i]
		row[swing.LeftElbow].State = swing.Missing
		row[swing.RightAnkle] = swing.TrackPoint{} // would draw to the corner
	}
	a.Swings[0].CentreOfMass = nil
	dir := draw(t, m, a, quickOptions())
	img := readPNG(t, filepath.Join(dir, "stills", "1-plant.png"))
	seen := map[string]int{}
	for y := 60; y < 250; y++ {
		for x := 220; x < 420; x++ {
			seen[hue(img, swing.Point{X: float64(x), Y: float64(y)})]++
		}
	}
	if seen["stride"] > 0 {
		t.Errorf("a stride line of %d pixels without an ankle", seen["stride"])
	}
	if seen["shoulders"] == 0 || seen["rear"] == 0 || seen["trunk"] == 0 {
		t.Errorf("known lines are not there: %v", seen)
	}
	// Of the lead arm the joints that are known stay as dots: no line.
	for _, p := range []swing.Point{{X: 374, Y: 104}, {X: 390, Y: 92}} {
		if got := hue(img, p); got != "ground" {
			t.Errorf("%v is %s", p, got)
		}
	}
}

func TestOnlyFoundEventsGetStills(t *testing.T) {
	m := steadyClip(320, 180, 30, 1.6)
	ev := swingEvents()
	delete(ev, swing.Load)
	delete(ev, swing.Contact)
	dir := filepath.Join(t.TempDir(), "out")
	stills := filepath.Join(dir, "stills")
	if err := os.MkdirAll(stills, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"1-load.png", "3-plant.png", "mine.png"} { // of an earlier analysis, and the user's
		if err := os.WriteFile(filepath.Join(stills, name), []byte("old"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := Draw(context.Background(), m.frames(), analysisOf(m, 0.5, ev), dir, quickOptions(), nil); err != nil {
		t.Fatal(err)
	}
	if got, want := leftovers(t, dir), "overlay.mp4 stills stills/1-plant.png stills/1-stance.png stills/1-touch.png stills/mine.png"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestSeveralSwings(t *testing.T) {
	m := steadyClip(320, 180, 60, 4)
	a := analysisOf(m, 0.5, swingEvents())
	later := map[swing.EventName]float64{}
	for n, at := range swingEvents() {
		later[n] = at + 1.5 // its lead-in overlaps the first one's end
	}
	two := analysisOf(m, 0.5, later).Swings[0]
	two.Index = 2
	a.Swings = append(a.Swings, two)
	dir := draw(t, m, a, quickOptions())
	for _, n := range []string{"1-plant.png", "2-plant.png", "2-contact.png"} {
		if _, err := os.Stat(filepath.Join(dir, "stills", n)); err != nil {
			t.Error(err)
		}
	}
	frame, times := runs(shownFrames(t, filepath.Join(dir, "overlay.mp4"), 320, 180))
	if !slices.IsSorted(frame) || len(slices.Compact(slices.Clone(frame))) != len(frame) {
		t.Error("a frame is shown in both swings")
	}
	held := 0
	for i := range times[:len(times)-1] {
		if times[i] > 25 {
			held++
		}
	}
	if held != 2 {
		t.Errorf("%d pictures are held, want both plants", held)
	}
	if m.given > 206 { // 3.4 s and one frame to see the end
		t.Errorf("%d frames were asked for, %d are needed", m.given, 205)
	}
}

func TestNoPlantNoHold(t *testing.T) {
	m := steadyClip(320, 180, 60, 2)
	ev := swingEvents()
	delete(ev, swing.Plant)
	delete(ev, swing.Touch)
	dir := draw(t, m, analysisOf(m, 0.5, ev), quickOptions())
	_, times := runs(shownFrames(t, filepath.Join(dir, "overlay.mp4"), 320, 180))
	if n := slices.Max(times[:len(times)-1]); n != 1 {
		t.Errorf("a frame is shown %d times though there is nothing to slow down for", n)
	}
}

func TestNoSwingWritesNothing(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	m := steadyClip(320, 180, 30, 1)
	if err := Draw(context.Background(), m.frames(), swing.Analysis{}, dir, quickOptions(), nil); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("the folder was made: %v", err)
	}
	if m.given != 0 {
		t.Errorf("%d frames were decoded for nothing", m.given)
	}
}

type counter struct{ total, n int }

func (c *counter) Stage(_ string, total int) { c.total = total }
func (c *counter) Add(n int)                 { c.n += n }

func TestProgressAndFlatMemory(t *testing.T) {
	spent := func(seconds float64) uint64 {
		m := steadyClip(480, 270, 60, seconds)
		ev := map[swing.EventName]float64{swing.Stance: 0.4, swing.Finish: seconds - 0.5}
		a := analysisOf(m, 0.75, ev)
		var before, after runtime.MemStats
		var c counter
		runtime.ReadMemStats(&before)
		if err := Draw(context.Background(), m.frames(), a, t.TempDir(), quickOptions(), &c); err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		if c.n < c.total-2 || c.n > c.total+2 {
			t.Errorf("%d frames done of %d foretold", c.n, c.total)
		}
		return after.TotalAlloc - before.TotalAlloc
	}
	short, long := spent(1.5), spent(6)
	// A frame is 0.4 MB; 270 more of them must not cost a canvas each.
	if grown := int64(long) - int64(short); grown > 3<<20 {
		t.Errorf("270 more frames cost %d more bytes", grown)
	}
}

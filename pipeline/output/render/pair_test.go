package render

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/png"
	"io"
	"iter"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// actor is a made-up hitter in a made-up clip: clipMaker's frame numbers as two
// columns of squares beside the body, so that every picture of the video tells
// which frame of which clip it shows.
type actor struct {
	*clipMaker
	k     float64 // size against the 640x360 of hitter()
	left  bool    // the picture and the hitter are the mirror image
	party swing.Party
	open  int            // decoders that were not closed
	asked []FrameRequest // what was asked for
	at    float64        // time of the frame given last
}

func newActor(m *clipMaker, k float64, left bool, events map[swing.EventName]float64) *actor {
	a := &actor{clipMaker: m, k: k, left: left}
	an := analysisOf(m, k, events)
	s := &an.Swings[0]
	if left {
		s.Bats = swing.Left
		for r := range s.Track.Points {
			var row [swing.NumPoints]swing.TrackPoint
			for j, p := range s.Track.Points[r] {
				p.X = 640*k - p.X
				row[swing.Joint(j).Partner()] = p
			}
			s.Track.Points[r] = row
			s.CentreOfMass[r] = &swing.Point{X: 640*k - s.CentreOfMass[r].X, Y: s.CentreOfMass[r].Y}
		}
	}
	an.Clip.Width, an.Clip.Height = int(640*k), int(360*k)
	a.party = swing.Party{Clip: an.Clip, Swing: s, Zero: s.Events[swing.Plant].Time, Stature: 250 * k, Mirrored: left}
	return a
}

// square returns the middle of the square of a bit in the full-size picture.
func (a *actor) square(bit int) swing.Point {
	p := swing.Point{X: a.k * float64(425+20*(bit%2)), Y: a.k * float64(100+20*(bit/2))}
	if a.left {
		p.X = 640*a.k - p.X
	}
	return p
}

func (a *actor) opener() OpenFrames {
	return func(_ context.Context, r FrameRequest) (Footage, error) {
		a.open++
		a.asked = append(a.asked, r)
		return Footage{Frames: a.film(r), Scale: a.k * 640 / float64(a.w), Close: func() error { a.open--; return nil }}, nil
	}
}

func (a *actor) film(r FrameRequest) iter.Seq2[swing.Frame, error] {
	return func(yield func(swing.Frame, error) bool) {
		pix := make([]byte, 3*a.w*a.h)
		scale := float64(a.w) / (640 * a.k)
		for i, t := range a.times {
			if t < r.From || t >= r.To || !r.Want(i) {
				continue
			}
			for k := range pix {
				pix[k] = 110
			}
			side := 8 * a.k * scale
			for b := range 16 {
				c := a.square(b).Scale(scale)
				for y := int(c.Y - side); y < int(c.Y+side); y++ {
					for x := int(c.X - side); x < int(c.X+side); x++ {
						v := byte(255 * (i >> b & 1))
						o := 3 * (y*a.w + x)
						pix[o], pix[o+1], pix[o+2] = v, v, v
					}
				}
			}
			a.given, a.at = a.given+1, t
			if !yield(swing.Frame{Index: i, Time: t, Width: a.w, Height: a.h, Pix: pix}, nil) {
				return
			}
		}
	}
}

func pairOf(a, b *actor) (Shown, []Reference) {
	c := swing.Comparison{A: a.party, B: b.party, Align: swing.Plant, SameView: true}
	c.B.Mirrored = a.party.Swing.Bats != b.party.Swing.Bats
	c.A.Mirrored = false
	va, vb, sa, d, ds := 80.0, 60.0, 4.0, 20.0, 6.0
	c.Measures = []swing.MeasureDifference{
		{ID: "lead_elbow_flexion", Event: swing.Plant, Unit: "deg", A: &va, B: &vb, SigmaA: &sa, SigmaB: &sa, Value: &d, Sigma: &ds, Verdict: swing.Differs},
	}
	return Shown{Label: "hitter", Name: "made-a", Open: a.opener()}, []Reference{{Comparison: c, Shown: Shown{Label: "reference", Name: "made-b", Open: b.opener()}}}
}

// pairOptions keeps the video short.
func pairOptions() Options {
	o := quickOptions()
	o.LeadIn, o.LeadOut, o.Hold, o.SlowFactor = 0.1, 0.1, 0.4, 2
	o.MinFPS, o.MaxFPS = 15, 15
	return o
}

func pairFilesOf() PairFiles { return PairFiles{Video: "side-by-side.mp4", Grid: "compare.png"} }

func drawPair(t *testing.T, a, b *actor, o Options) (dir string, film *pairFilm) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "out")
	hitter, refs := pairOf(a, b)
	if err := DrawPair(context.Background(), hitter, refs, dir, pairFilesOf(), o, nil); err != nil {
		t.Fatal(err)
	}
	if a.open != 0 || b.open != 0 {
		t.Errorf("%d and %d decoders are left open", a.open, b.open)
	}
	film = newPairFilm(hitter, &refs[0], o)
	if err := film.measureBands(); err != nil {
		t.Fatal(err)
	}
	return dir, film
}

// shownPairs reads back from the file which frames every picture shows.
func shownPairs(t *testing.T, path string, f *pairFilm, actors [2]*actor) (out [][2]int) {
	t.Helper()
	s := probe(t, path)[0]
	cmd := exec.Command("ffmpeg", "-v", "error", "-i", path, "-f", "rawvideo", "-pix_fmt", "gray", "-")
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	pix := make([]byte, s.Width*s.Height)
	for {
		if _, err := io.ReadFull(pipe, pix); err != nil {
			break
		}
		var n [2]int
		for i, a := range actors {
			for bit := range 16 {
				p := f.lens[i].to(0, a.square(bit))
				x, y := int(p.X)+i*(panelWidth+panelGap), int(p.Y+f.head)
				if pix[y*s.Width+x] > 110 {
					n[i] |= 1 << bit
				}
			}
		}
		out = append(out, n)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	return out
}

// other is the swing of another hitter: later in its clip, its own tempo.
func otherEvents() map[swing.EventName]float64 {
	return map[swing.EventName]float64{
		swing.Stance: 1.2, swing.Load: 1.46, swing.Lift: 1.5, swing.Touch: 1.8,
		swing.Plant: 1.853, swing.Contact: 1.99, swing.Finish: 2.3,
	}
}

// variableClip has times that no rate makes.
func variableClip(w, h int, fps, seconds float64) *clipMaker {
	m := &clipMaker{w: w, h: h}
	for i := 0; float64(i) < fps*seconds; i++ {
		m.times = append(m.times, (float64(i)+0.3*math.Sin(float64(3*i)))/fps)
	}
	return m
}

func TestPlantsStandAtTheSameFrame(t *testing.T) {
	for name, c := range map[string]struct {
		a, b *actor
	}{
		"60 and 240": {
			newActor(steadyClip(640, 360, 60, 2.2), 1, false, swingEvents()),
			newActor(steadyClip(480, 270, 240, 2.8), 2, false, otherEvents()),
		},
		"30 and variable, left-handed": {
			newActor(steadyClip(640, 360, 30, 2.2), 1.5, false, swingEvents()),
			newActor(variableClip(640, 360, 110, 2.8), 1, true, otherEvents()),
		},
		"left-handed hitter": {
			newActor(variableClip(640, 360, 59.94, 2.2), 1, true, swingEvents()),
			newActor(steadyClip(640, 360, 120, 2.8), 1, false, otherEvents()),
		},
	} {
		t.Run(name, func(t *testing.T) {
			o := pairOptions()
			dir, f := drawPair(t, c.a, c.b, o)
			actors := [2]*actor{c.a, c.b}
			path := filepath.Join(dir, "side-by-side.mp4")
			shown := shownPairs(t, path, f, actors)

			// Which pictures show the plant of each.
			var plants [2][]int
			for n, s := range shown {
				for i, a := range actors {
					if s[i] == a.party.Swing.Events[swing.Plant].Frame {
						plants[i] = append(plants[i], n)
					}
				}
			}
			both := 0
			first, slow := -1, -1
			half := len(f.acts[0]) // pictures of the pass at true speed
			for n, s := range shown {
				if s[0] == c.a.party.Swing.Events[swing.Plant].Frame && s[1] == c.b.party.Swing.Events[swing.Plant].Frame {
					both++
					if n < half && first < 0 {
						first = n
					}
					if n >= half && slow < 0 {
						slow = n
					}
				}
			}
			if first < 0 || slow < 0 {
				t.Fatalf("the plants never stand beside each other: %v and %v", plants[0], plants[1])
			}
			hold := int(o.Hold * float64(f.fps))
			if both < hold+1 {
				t.Errorf("both plants are shown in %d pictures, want the hold of %d and one at true speed", both, hold)
			}
			// The picture of clock zero is where the plan has it, in the file too.
			zero := slices.IndexFunc(f.acts[0], func(m moment) bool { return math.Abs(m.clock) < 1e-9 })
			if p := shown[zero]; p[0] != c.a.party.Swing.Events[swing.Plant].Frame || p[1] != c.b.party.Swing.Events[swing.Plant].Frame {
				t.Errorf("picture %d, at the plant, shows frames %v", zero, p)
			}
			checkClock(t, f, shown, actors)
		})
	}
}

// checkClock compares every picture of the file with the common clock: each swing
// shows the frame nearest to it, or the one of the event that is held.
func checkClock(t *testing.T, f *pairFilm, shown [][2]int, actors [2]*actor) {
	t.Helper()
	n := 0
	last := [2]int{}
	for k, act := range f.acts {
		last = [2]int{-1, -1}
		for _, m := range act {
			for range m.times {
				if n >= len(shown) {
					t.Fatalf("the file has %d pictures, the plan more", len(shown))
				}
				for i, a := range actors {
					got := a.times[shown[n][i]]
					// Half a frame, where two events share a hold half of what they
					// may be apart, too.
					tol := 0.5/30 + 0.002
					if m.event != "" {
						tol += sameHold / 2
					}
					at := a.party.Zero + m.clock
					if m.live[i] && at > a.times[0] && at < a.times[len(a.times)-1] && math.Abs(got-at) > tol {
						t.Errorf("pass %d: picture %d shows %.3f s of swing %d, want %.3f", k, n, got, i, at)
					}
					if m.at[i] && shown[n][i] != a.party.Swing.Events[m.event].Frame {
						t.Errorf("pass %d: the hold at %s shows frame %d of swing %d, want %d", k, m.event, shown[n][i], i, a.party.Swing.Events[m.event].Frame)
					}
					if shown[n][i] < last[i] {
						t.Errorf("pass %d: swing %d goes back from frame %d to %d", k, i, last[i], shown[n][i])
					}
					last[i] = shown[n][i]
				}
				n++
			}
		}
	}
	if rest := len(shown) - n; rest < f.fps-1 || rest > f.fps+1 {
		t.Errorf("%d pictures follow the plan, want a second of caution", rest)
	}
}

func TestSideBySidePlaysAnywhere(t *testing.T) {
	a := newActor(steadyClip(640, 360, 60, 2.2), 1, false, swingEvents())
	b := newActor(steadyClip(360, 640, 60, 2.8), 1, false, otherEvents()) // the same scene, another size
	b.w, b.h = 640, 360
	dir, _ := drawPair(t, a, b, pairOptions())
	all := probe(t, filepath.Join(dir, "side-by-side.mp4"))
	if len(all) != 1 {
		t.Fatalf("%d streams, want the picture alone: two clips have two sounds", len(all))
	}
	s := all[0]
	if s.Type != "video" || s.Codec != "h264" || s.PixFmt != "yuv420p" || s.Width != pairWidth || s.Height%2 != 0 || s.Rate != "15/1" || s.Space != "bt709" {
		t.Errorf("%+v", s)
	}
	if s.Level > 42 {
		t.Errorf("level %d: phones are sure to play 4.2", s.Level)
	}
	if err := checkMP4(filepath.Join(dir, "side-by-side.mp4")); err != nil {
		t.Error(err)
	}
	if got := leftovers(t, dir); got != "side-by-side.mp4 stills stills/compare.png" {
		t.Errorf("left: %s", got)
	}
}

// Body sizes, places of the feet and sides agree, whatever the clips.
func TestBodiesStandAlike(t *testing.T) {
	a := newActor(steadyClip(640, 360, 60, 2.2), 1, false, swingEvents())
	b := newActor(steadyClip(640, 360, 60, 2.8), 2.5, true, otherEvents())
	_, refs := pairOf(a, b)
	c := &refs[0].Comparison
	box := boxAround([]*swing.Party{&c.A, &c.B})
	la, lb := newLens(&c.A, box, 600, 500), newLens(&c.B, box, 600, 500)
	for j := range swing.NumPoints {
		p, q := c.A.Swing.Track.Points[0][j], c.B.Swing.Track.Points[0][swing.Joint(j).Partner()]
		if !known(p) {
			continue
		}
		if d := la.to(0, p.Point()).Sub(lb.to(0, q.Point())).Norm(); d > 0.01 {
			t.Errorf("%s lies %.2f px apart", swing.Joint(j), d)
		}
		at := la.to(0, p.Point())
		if at.X < 0 || at.Y < 0 || at.X > 600 || at.Y > 500 {
			t.Errorf("%s is outside of the panel: %v", swing.Joint(j), at)
		}
	}
	if got := la.maxSide(); got != 0 {
		t.Errorf("a small picture is asked for at %d px", got)
	}
	if got, want := lb.maxSide(), int(2.5*640*lb.k+2); got > want || got < want-4 || got >= 1600 {
		t.Errorf("a large picture is asked for at %d px, want about %d", got, want)
	}
}

// A camera that moves, with and without its own account of it.
func TestGroundStandsStill(t *testing.T) {
	m := steadyClip(640, 360, 60, 2.2)
	for _, stored := range []bool{false, true} {
		a := newActor(m, 1, false, swingEvents())
		t1 := &a.party.Swing.Track
		for r := range t1.Points {
			x := 150 * t1.Times[r] // px
			for j := range t1.Points[r] {
				t1.Points[r][j].X += x
			}
			if !stored {
				t1.Steady = append(t1.Steady, swing.Similarity{A: 1, TX: -x})
				t1.CameraMoves = true
			}
		}
		stand := stands(&a.party)
		lens := newLens(&a.party, boxAround([]*swing.Party{&a.party}), 600, 500)
		zero := nearestRow(t1, a.party.Zero)
		from, to := shownSpan(&a.party)
		for r, at := range t1.Times {
			if at < from || at > to {
				continue
			}
			tol := 0.5
			if stored {
				tol = 12 // the average over panSpan lags at its ends
			}
			want := lens.to(zero, t1.Points[zero][swing.RightAnkle].Point())
			if d := lens.to(r, t1.Points[r][swing.RightAnkle].Point()).Sub(want).Norm(); d > tol {
				t.Errorf("stored %v: the foot moves by %.1f px at %.2f s, ground %v", stored, d, at, stand[r])
			}
		}
	}
	// A hitter who steps is no moving camera.
	a := newActor(m, 1, false, swingEvents())
	for r := range a.party.Swing.Track.Points {
		if a.party.Swing.Track.Times[r] < 1 {
			a.party.Swing.Track.Points[r][swing.LeftAnkle].X -= 60
		}
	}
	s := stands(&a.party)
	for r := range s {
		if s[r] != s[0] {
			t.Fatal("the ground moves with a step")
		}
	}
}

// Both clips are read picture by picture as the video goes: nothing is collected.
func TestClipsAreReadInStep(t *testing.T) {
	a := newActor(steadyClip(320, 180, 60, 12), 1, false, swingEvents())
	b := newActor(steadyClip(320, 180, 60, 12), 1, false, otherEvents())
	hitter, refs := pairOf(a, b)
	steps := 0
	p := watch{func() {
		if a.open == 1 && b.open == 1 && a.given > 0 && b.given > 0 {
			steps++
			if ahead := (a.at - a.party.Zero) - (b.at - b.party.Zero); math.Abs(ahead) > 0.1 {
				t.Errorf("one clip is %.2f s ahead of the other", ahead)
			}
		}
	}}
	if err := DrawPair(context.Background(), hitter, refs, t.TempDir(), pairFilesOf(), pairOptions(), p); err != nil {
		t.Fatal(err)
	}
	if steps < 25 {
		t.Errorf("only %d pictures were watched", steps)
	}
	for _, r := range append(a.asked, b.asked...) {
		if r.To-r.From > mostBefore+mostAfter+0.1 {
			t.Errorf("%.2f s of the clip are asked for", r.To-r.From)
		}
	}
}

// watch calls back at every step of the progress.
type watch struct{ step func() }

func (watch) Stage(string, int) {}
func (w watch) Add(int)         { w.step() }

func TestMissingEventsAreShownAsMissing(t *testing.T) {
	ev := otherEvents()
	delete(ev, swing.Load)
	delete(ev, swing.Contact)
	delete(ev, swing.Stance)
	a := newActor(steadyClip(640, 360, 60, 2.2), 1, false, swingEvents())
	b := newActor(steadyClip(640, 360, 60, 2.8), 1, false, ev)
	dir, f := drawPair(t, a, b, pairOptions())
	for _, m := range f.acts[1] {
		if m.event == swing.Load && (!m.at[0] || m.at[1]) {
			t.Errorf("the hold at load: %v", m.at)
		}
		if m.event == swing.Load && !strings.Contains(f.said(m), "not found in reference") {
			t.Errorf("it says %q", f.said(m))
		}
	}
	file, err := os.Open(filepath.Join(dir, "stills", "compare.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	img, err := png.Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	if w := img.Bounds().Dx(); w != 5*gridCell+4*4 {
		t.Errorf("the sheet is %d px wide", w)
	}
	// Cells of missing instants are plain, the others show the clip's grey.
	_, refs := pairOf(a, b)
	g := newGrid(Shown{}, refs)
	bottom := img.Bounds().Dy() - 8 - g.tall/10
	for row := range 2 { // the place of a cell follows from the size of the sheet
		cell, err := GridCell(img.Bounds().Size(), 2, row, swing.Plant)
		if err != nil || cell.Dy() != g.tall || cell.Dx() != gridCell || cell.Min.X != 3*(gridCell+gridGap) || row == 1 && cell.Max.Y+gridGap != img.Bounds().Dy() {
			t.Errorf("row %d: the cell of plant is %v, %v", row, cell, err)
		}
	}
	for name, c := range map[string]struct {
		size      image.Point
		rows, row int
		ev        swing.EventName
	}{
		"other rows": {img.Bounds().Size(), 3, 0, swing.Plant}, "no row": {img.Bounds().Size(), 2, 2, swing.Plant}, "no rows": {img.Bounds().Size(), 0, 0, swing.Plant},
		"no still": {img.Bounds().Size(), 2, 0, swing.Finish}, "no sheet": {image.Pt(640, 480), 2, 0, swing.Plant},
	} {
		if cell, err := GridCell(c.size, c.rows, c.row, c.ev); err == nil && name != "other rows" {
			t.Errorf("%s: %v", name, cell)
		}
	}
	for k, ev := range stillEvents() {
		r, gr, bl, _ := img.At(k*(gridCell+4)+10, bottom).RGBA()
		_, has := b.party.Swing.Events[ev]
		bright := r > 0x4000 && gr > 0x4000 && bl > 0x4000
		if bright != has {
			t.Errorf("%s: has %v, but its cell is %x %x %x", ev, has, r>>8, gr>>8, bl>>8)
		}
	}
}

func TestHoldsShareAnInstant(t *testing.T) {
	near := otherEvents()
	near[swing.Load] = near[swing.Plant] - 0.36 // A: 0.35 before plant
	near[swing.Contact] = near[swing.Plant] + 0.2
	a := newActor(steadyClip(640, 360, 60, 2.2), 1, false, swingEvents())
	b := newActor(steadyClip(640, 360, 60, 2.8), 1, false, near)
	hitter, refs := pairOf(a, b)
	f := newPairFilm(hitter, &refs[0], pairOptions())
	var got []string
	for _, m := range f.acts[1] {
		if m.event != "" {
			got = append(got, string(m.event)+": "+f.said(m))
		}
	}
	want := []string{
		"load: hitter 10 ms later", "plant: both", "contact: hitter · reference 100 ms later", "contact: reference · hitter 100 ms earlier",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

func TestPairLeavesTheFolderAlone(t *testing.T) {
	a := newActor(steadyClip(320, 180, 60, 2.2), 1, false, swingEvents())
	b := newActor(steadyClip(320, 180, 60, 2.8), 1, false, otherEvents())
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "stills"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{"overlay.mp4", "side-by-side.mp4", "stills/1-plant.png", "stills/compare.png"} {
		if err := os.WriteFile(filepath.Join(dir, n), []byte("old"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	before := leftovers(t, dir)
	hitter, refs := pairOf(a, b)
	ctx, cancel := context.WithCancel(context.Background())
	n := 0
	stop := watch{func() {
		if n++; n == 20 {
			cancel()
		}
	}}
	err := DrawPair(ctx, hitter, refs, dir, pairFilesOf(), pairOptions(), stop)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	broken := refs[0]
	broken.Open = func(context.Context, FrameRequest) (Footage, error) {
		return Footage{}, &swing.Error{Op: "made", Frame: -1, Kind: swing.KindUnreadable, Msg: "gone"}
	}
	err = DrawPair(context.Background(), hitter, []Reference{broken}, dir, pairFilesOf(), pairOptions(), nil)
	if e, ok := swing.AsError(err); !ok || e.Kind != swing.KindUnreadable {
		t.Errorf("a clip that is gone: %v", err)
	}
	o := pairOptions()
	o.FFmpeg = "no-such-program"
	err = DrawPair(context.Background(), hitter, refs, dir, pairFilesOf(), o, nil)
	if e, ok := swing.AsError(err); !ok || e.Kind != swing.KindMissing {
		t.Errorf("no encoder: %v", err)
	}
	if after := leftovers(t, dir); after != before {
		t.Errorf("left: %s\nwas: %s", after, before)
	}
	for _, n := range []string{"side-by-side.mp4", "stills/compare.png"} {
		if text, err := os.ReadFile(filepath.Join(dir, n)); err != nil || string(text) != "old" {
			t.Errorf("%s was touched: %q %v", n, text, err)
		}
	}
	if a.open != 0 || b.open != 0 {
		t.Errorf("%d and %d decoders are left open", a.open, b.open)
	}
	// Done well, the stills of the overlay stay.
	if err := DrawPair(context.Background(), hitter, refs, dir, pairFilesOf(), pairOptions(), nil); err != nil {
		t.Fatal(err)
	}
	if after := leftovers(t, dir); after != before {
		t.Errorf("left: %s\nwas: %s", after, before)
	}
	if err := DrawPair(context.Background(), hitter, nil, dir, pairFilesOf(), pairOptions(), nil); err != nil {
		t.Errorf("without a reference: %v", err)
	}
}

func TestPairPlanGolden(t *testing.T) {
	a := newActor(steadyClip(640, 360, 60, 2.2), 1, false, swingEvents())
	b := newActor(variableClip(640, 360, 110, 2.8), 1, true, otherEvents())
	hitter, refs := pairOf(a, b)
	o := pairOptions()
	f := newPairFilm(hitter, &refs[0], o)
	var text strings.Builder
	for k, act := range f.acts {
		for _, m := range act {
			fmt.Fprintf(&text, "pass %d %+.4f s: frames %d %d", k+1, m.clock, m.row[0], m.row[1])
			if m.event != "" {
				fmt.Fprintf(&text, ", %d times at %s: %s", m.times, m.event, f.said(m))
			}
			text.WriteString("\n")
		}
	}
	path := filepath.Join("testdata", "pair-plan.txt")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if text.String() != string(want) {
		t.Errorf("differs from %s (run with -update if that is meant):\n%s", path, text.String())
	}
}

func TestPairWords(t *testing.T) {
	for clock, want := range map[float64]string{0: "plant", -0.41: "0.410 s before plant", 0.1234: "0.123 s after plant", -0.0001: "plant"} {
		if got := clockText(clock, swing.Plant); got != want {
			t.Errorf("%v: %q, want %q", clock, got, want)
		}
	}
	for ms, want := range map[float64]string{0: "0", -0.4: "0", 12.4: "+12", -944.2: "−944"} {
		if got := pairSigned(ms); got != want {
			t.Errorf("%v: %q, want %q", ms, got, want)
		}
	}
	st, err := newStyle(1280, 768)
	if err != nil {
		t.Fatal(err)
	}
	const name = "20260412_batting_practice_hitter_7_swing_12"
	got := shorten(st.name, name, 300)
	if st.name.width(got) > 300 || !strings.HasPrefix(got, "2026") || !strings.HasSuffix(got, "12") || !strings.Contains(got, "…") {
		t.Errorf("%q", got)
	}
	if got := shorten(st.name, "short", 300); got != "short" {
		t.Errorf("%q", got)
	}
	if got := shorten(st.name, name, 10); got != "" {
		t.Errorf("%q in 10 px", got)
	}
	// What differs comes first, whatever its place in the list of measures.
	v, s, d, far := 10.0, 2.0, 1.0, 30.0
	c := swing.Comparison{Measures: []swing.MeasureDifference{
		{ID: "bat_tilt", Event: swing.Plant, Unit: "deg", A: &v, B: &v, SigmaA: &s, SigmaB: &s, Value: &d, Sigma: &s, Verdict: swing.NoClearDifference},
		{ID: "trunk_lean", Event: swing.Plant, Unit: "deg", A: &v, B: &v, SigmaA: &s, SigmaB: &s, Value: &far, Sigma: &s, Verdict: swing.Differs},
		{ID: "separation", Event: swing.Plant, Unit: "deg", Verdict: swing.NotComparable},
		{ID: "stride_length", Event: swing.Load, Unit: "stature", A: &v, B: &v, SigmaA: &s, SigmaB: &s, Value: &far, Sigma: &s, Verdict: swing.Differs},
	}}
	rows := pairRowsAt(&c, swing.Plant)
	if len(rows) != 2 || rows[0].name != "trunk lean" || !rows[0].differs || rows[1].name != "bat tilt" || rows[1].differs {
		t.Errorf("%+v", rows)
	}
}

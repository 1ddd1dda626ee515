package render

import (
	"context"
	"fmt"
	"iter"
	"math"

	"plantframe/pipeline/swing"
)

// Sizes of the side-by-side video, px: two panels of 640 and a band over and
// under them make about a square, which is as large as can be on a phone held
// either way.
const (
	pairWidth  = 1280
	panelGap   = 4
	panelWidth = (pairWidth - panelGap) / 2
	mostTall   = 1.35 // height of a panel over its width, at most and at least
	leastTall  = 0.85
)

// pairFilm makes the side-by-side video.
type pairFilm struct {
	o     Options
	both  *swing.Comparison
	shown [2]Shown
	party [2]*swing.Party
	sec   [2]*section
	lens  [2]*lens
	fps   int
	acts  [][]moment // one pass each

	st     *style
	panels [2]*canvas
	key    [2]panelKey // what the panels show
	head   float64     // px, height of the band over the panels
	band   float64     // of the numbers under the panels
	foot   float64
	rows   []pairRow // the numbers, and of which instant
	rowsAt swing.EventName
	tall   int // px, height of a panel
	film   *film
}

// panelKey says what a panel shows, so that it is drawn once.
type panelKey struct {
	row   int
	live  bool
	event swing.EventName
	drawn bool
}

func newPairFilm(hitter Shown, ref *Reference, o Options) *pairFilm {
	c := &ref.Comparison
	f := &pairFilm{o: o, both: c, shown: [2]Shown{hitter, ref.Shown}, party: [2]*swing.Party{&c.A, &c.B}}
	f.fps = pairRate(f.party, o)
	f.acts = [][]moment{planTrue(f.party, float64(f.fps), o), planSlow(f.party, float64(f.fps), o)}
	b := boxAround(f.party[:])
	f.tall = tallness(b, panelWidth)
	for i, p := range f.party {
		f.sec[i] = sectionOf(p.Swing)
		f.lens[i] = newLens(p, b, panelWidth, f.tall)
		f.panels[i] = newCanvas(panelWidth, f.tall)
	}
	return f
}

// tallness returns the height of a panel that shows b, even.
func tallness(b frameBox, width int) int {
	shape := math.Max(leastTall, math.Min(mostTall, (b.y1-b.y0)/(b.x1-b.x0)))
	return int(float64(width)*shape/2) * 2
}

// sectionOf makes what figures are drawn from; nothing of its times is used.
func sectionOf(s *swing.Swing) *section {
	sec := &section{s: s, number: 1, of: 1, factor: 1, rows: map[int]int{}}
	for r, f := range s.Track.Frames {
		sec.rows[f] = r
	}
	return sec
}

func (f *pairFilm) pictures() int {
	n := 0
	for _, a := range f.acts {
		n += len(a)
	}
	return n
}

// run draws the whole video into the folder.
func (f *pairFilm) run(ctx context.Context, out *folder, name string, p swing.Progress) (err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if err := f.open(ctx, out, name); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			cancel()
			f.film.abort()
		}
	}()
	for _, act := range f.acts {
		if err := f.play(ctx, act, p); err != nil {
			return err
		}
	}
	if err := f.end(ctx); err != nil {
		return err
	}
	return f.film.finish(ctx)
}

// measureBands sets the style and the heights of what stands over and under the
// panels.
func (f *pairFilm) measureBands() (err error) {
	// Text is sized for the whole picture, strokes for the body.
	if f.st, err = newStyle(pairWidth, pairWidth*3/5); err != nil {
		return err
	}
	f.head = math.Round(1.7 * f.st.title.size)
	f.band = math.Round(float64(pairRows+1)*f.st.rowHeight() + 0.4*f.st.name.size)
	f.rowsAt, f.rows = f.both.Align, pairRowsAt(f.both, f.both.Align)
	f.foot = math.Round(4*f.st.rowHeight() + 0.6*f.st.title.size)
	h := (int(f.head+f.band+f.foot) + f.tall + 1) &^ 1
	f.foot = float64(h-f.tall) - f.head - f.band
	f.st.w, f.st.h = pairWidth, float64(h)
	return nil
}

func (f *pairFilm) open(ctx context.Context, out *folder, name string) error {
	if err := f.measureBands(); err != nil {
		return err
	}
	h := int(f.st.h)
	tmp, err := out.temp("", name)
	if err != nil {
		return err
	}
	enc, err := startEncoder(ctx, tmp, pairWidth, h, f.fps, 1, f.o)
	if err != nil {
		return err
	}
	f.film = newFilm(enc, pairWidth, h, tmp)
	return nil
}

// play shows one pass. Each clip is decoded as the pass goes, one picture at a
// time.
func (f *pairFilm) play(ctx context.Context, act []moment, p swing.Progress) (err error) {
	var feeds [2]*feed
	for i := range feeds {
		if feeds[i], err = f.feed(ctx, act, i); err != nil {
			break
		}
	}
	defer func() {
		for _, d := range feeds {
			if d == nil {
				continue
			}
			if cerr := d.close(); err == nil {
				err = cerr
			}
		}
	}()
	if err != nil {
		return err
	}
	f.key = [2]panelKey{}
	for _, m := range act {
		if err := ctx.Err(); err != nil {
			return err
		}
		for i, d := range feeds {
			if err := f.panel(d, i, m); err != nil {
				return err
			}
		}
		c, err := f.film.blank(ctx)
		if err != nil {
			return err
		}
		f.compose(c, m)
		if err := f.film.add(ctx, shot{canvas: c, times: m.times}); err != nil {
			return err
		}
		p.Add(1)
	}
	return nil
}

// end shows the caution for a second.
func (f *pairFilm) end(ctx context.Context) error {
	last := f.film.last
	if last == nil {
		return fmt.Errorf("no picture of the two swings could be made")
	}
	c, err := f.film.blank(ctx)
	if err != nil {
		return err
	}
	copy(c.pix, last.pix)
	f.caution(c)
	return f.film.add(ctx, shot{canvas: c, times: f.fps})
}

// feed is a clip being read for a pass.
type feed struct {
	next  func() (swing.Frame, error, bool)
	stop  func()
	end   func() error
	scale float64
	frame swing.Frame
	has   bool
}

// feed begins to read the frames of side i that a pass shows.
func (f *pairFilm) feed(ctx context.Context, act []moment, i int) (*feed, error) {
	rows := map[int]bool{}
	for _, m := range act {
		rows[m.row[i]] = true
	}
	return openFeed(ctx, f.shown[i].Open, f.lens[i], rows)
}

func openFeed(ctx context.Context, open OpenFrames, l *lens, rows map[int]bool) (*feed, error) {
	t := &l.party.Swing.Track
	want := map[int]bool{}
	from, to := math.Inf(1), math.Inf(-1)
	for r := range rows {
		want[t.Frames[r]] = true
		from, to = math.Min(from, t.Times[r]), math.Max(to, t.Times[r])
	}
	// A millisecond keeps rounded times of a stored analysis inside.
	src, err := open(ctx, FrameRequest{
		From: math.Max(0, from-0.001), To: to + 0.001, MaxSide: l.maxSide(),
		Want: func(index int) bool { return want[index] },
	})
	if err != nil {
		return nil, err
	}
	d := &feed{end: src.Close, scale: src.Scale}
	d.next, d.stop = iter.Pull2(src.Frames)
	return d, nil
}

// seek goes on to the frame with that index, or the first one after it when it is
// lost. It reports whether the frame changed; at the end of the clip it stays.
func (d *feed) seek(index int) (changed bool, err error) {
	for !d.has || d.frame.Index < index {
		fr, err, ok := d.next()
		if err != nil {
			return changed, err
		}
		if !ok {
			break
		}
		d.frame, d.has, changed = fr, true, true
	}
	if !d.has {
		return false, fmt.Errorf("no frame of the swing could be read again")
	}
	return changed, nil
}

func (d *feed) close() error {
	d.stop()
	return d.end()
}

package render

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"os"

	"plantframe/pipeline/swing"
)

// Stills are written for these events where they were found.
func stillEvents() []swing.EventName {
	return []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant, swing.Contact}
}

// Draw goes once through frames and writes dir/overlay.mp4 and
// dir/stills/<swing>-<event>.png, <swing> being Swing.Index. Frames come in
// time order with strictly increasing Index, at any one size; o.Scale says how
// many pixels of the full picture, in which the coordinates of a are given,
// one of theirs spans. Frames before the first and after the last part shown
// and those that Wanted leaves out are not needed; reading stops as soon as the
// rest is not. Pix is only read.
//
// Stills of an earlier analysis that this one does not have are removed. An
// analysis without a swing writes nothing and is no error.
//
// The error is a *swing.Error: KindOutput (the folder, the disk, or a
// cancelled ctx, which it wraps), KindMissing (no ffmpeg), KindUsage (wrong
// options), or what frames yielded. The folder is then as it was.
func Draw(ctx context.Context, frames iter.Seq2[swing.Frame, error], a swing.Analysis, dir string, o Options, p swing.Progress) error {
	const op = "render.Draw"
	if err := o.Validate(); err != nil {
		return err
	}
	sections := planSections(&a, o)
	if len(sections) == 0 {
		return nil
	}
	if p == nil {
		p = swing.NoProgress{}
	}
	files, err := openFolder(dir)
	if err != nil {
		return failure(op, a.Clip.Path, err)
	}
	d := &drawing{o: o, clip: a.Clip.Path, files: files, sections: sections, progress: p}
	d.num, d.den = videoRate(&a, o)
	p.Stage("draw", expectedFrames(&a, sections))
	err = d.run(ctx, frames)
	if err == nil {
		err = files.commit()
	}
	if err != nil {
		files.discard()
		return failure(op, a.Clip.Path, err)
	}
	return nil
}

// expectedFrames estimates how many source frames will be gone through.
func expectedFrames(a *swing.Analysis, sections []*section) int {
	rate := sourceRate(a)
	n := 0.0
	for _, s := range sections {
		end := s.end
		if a.Clip.Duration > 0 {
			end = math.Min(end, a.Clip.Duration)
		}
		n += math.Max(0, (end-math.Max(0, s.start))*rate)
	}
	return int(math.Round(n))
}

// drawing is one run of Draw.
type drawing struct {
	o        Options
	clip     string
	files    *folder
	sections []*section
	progress swing.Progress
	num, den int

	// Set up when the first frame tells the size.
	w, h  int // delivered size
	up    int // whole factor by which frames are enlarged
	style *style
	film  *film
	shelf *stillShelf

	scene *scene // of the section on show
	at    [2]int // its number from 1 and the frame gone through last
}

func (d *drawing) run(ctx context.Context, frames iter.Seq2[swing.Frame, error]) (err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer func() {
		// Whatever happened, no goroutine and no process outlives the call.
		if d.film == nil {
			return
		}
		if err != nil {
			cancel()
			d.film.abort()
		}
		d.shelf.wait()
	}()
	cur := 0
	for f, ferr := range frames {
		if ferr != nil {
			return ferr
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		for cur < len(d.sections) && f.Time > d.sections[cur].end {
			cur++
		}
		if cur == len(d.sections) {
			break
		}
		if f.Time < d.sections[cur].start {
			continue
		}
		if err := d.show(ctx, d.sections[cur], f); err != nil {
			return err
		}
		d.progress.Add(d.passed(cur, f.Index))
	}
	if d.film == nil {
		return errors.New("no frame of the swing could be read again")
	}
	if err := d.close(ctx); err != nil {
		return err
	}
	return d.shelf.wait()
}

// passed returns how many frames of the clip were gone through with this one: the
// unwanted ones before it were not delivered.
func (d *drawing) passed(section, index int) int {
	n := 1
	if d.at[0] == section+1 {
		n = index - d.at[1]
	}
	d.at = [2]int{section + 1, index}
	return n
}

// show brings one source frame of sec into the video and onto stills.
func (d *drawing) show(ctx context.Context, sec *section, f swing.Frame) error {
	if d.film == nil {
		if err := d.open(ctx, f); err != nil {
			return err
		}
	}
	if f.Width != d.w || f.Height != d.h || len(f.Pix) < 3*d.w*d.h {
		return &swing.Error{
			Op: "render.Draw", Clip: d.clip, Frame: f.Index, Kind: swing.KindUnreadable,
			Msg:  fmt.Sprintf("the picture changes its size from %dx%d to %dx%d", d.w, d.h, f.Width, f.Height),
			Hint: "cut the clip where its size changes",
		}
	}
	if d.scene == nil || d.scene.sec != sec {
		d.scene = newScene(d.style, sec, float64(d.up)/d.o.Scale, float64(d.num)/float64(d.den), d.o.Hold)
	}
	sc := d.scene
	for _, ev := range sc.dueStills(f) {
		c := newCanvas(d.w*d.up, d.h*d.up)
		c.load(f, d.up)
		sc.still(c, f, ev)
		tmp, err := d.files.temp("stills", fmt.Sprintf("%d-%s.png", sec.s.Index, ev))
		if err != nil {
			return err
		}
		d.shelf.add(c, tmp)
	}
	before, times := sc.frames(f)
	if times == 0 {
		return nil
	}
	c, err := d.film.blank(ctx)
	if err != nil {
		return err
	}
	c.load(f, d.up)
	sc.compose(c, f)
	return d.film.add(ctx, shot{before: before, canvas: c, times: times})
}

// open starts the video with the size of the first frame.
func (d *drawing) open(ctx context.Context, f swing.Frame) error {
	d.w, d.h, d.up = f.Width, f.Height, 1
	if d.w < 2 || d.h < 2 {
		return fmt.Errorf("a picture of %dx%d is too small to draw on", d.w, d.h)
	}
	if short := min(d.w, d.h); short < d.o.MinSide {
		// Eight times is enough for any picture a swing can be seen in.
		d.up = min(8, (d.o.MinSide+short-1)/short)
	}
	w, h := d.w*d.up, d.h*d.up
	var err error
	if d.style, err = newStyle(w, h); err != nil {
		return err
	}
	tmp, err := d.files.temp("", "overlay.mp4")
	if err != nil {
		return err
	}
	enc, err := startEncoder(ctx, tmp, w, h, d.num, d.den, d.o)
	if err != nil {
		return err
	}
	d.shelf = newStillShelf()
	d.film = newFilm(enc, w, h, tmp)
	return nil
}

// close shows the caution over the last picture for a second and ends the
// video.
func (d *drawing) close(ctx context.Context) error {
	if last := d.film.last; last != nil {
		c, err := d.film.blank(ctx)
		if err != nil {
			return err
		}
		copy(c.pix, last.pix)
		d.scene.strip.closing(c)
		if err := d.film.add(ctx, shot{canvas: c, times: (d.num + d.den - 1) / d.den}); err != nil {
			return err
		}
	}
	return d.film.finish(ctx)
}

// fsync brings a finished file to the disk before it gets its name.
func fsync(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = f.Sync()
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

package render

import (
	"context"
	"sync"
)

// shot is a picture and how often the one before it and itself are shown.
type shot struct {
	before int
	canvas *canvas
	times  int
}

// film feeds pictures to the encoder from its own goroutine, so that drawing
// the next picture and encoding the last one go on together. Canvases go
// round in a ring: memory does not grow with the clip.
type film struct {
	enc  *encoder
	path string
	last *canvas // the picture added last; only read until the next add

	shots  chan shot
	blanks chan *canvas
	done   chan struct{}
	once   sync.Once
	err    error // of the goroutine, valid after done
	broken chan struct{}
}

// ringSize is one canvas being drawn, one waiting and one on show.
const ringSize = 3

func newFilm(enc *encoder, w, h int, path string) *film {
	f := &film{
		enc: enc, path: path,
		shots:  make(chan shot, 1),
		blanks: make(chan *canvas, ringSize),
		done:   make(chan struct{}),
		broken: make(chan struct{}),
	}
	for range ringSize {
		f.blanks <- newCanvas(w, h)
	}
	go f.feed()
	return f
}

func (f *film) feed() {
	defer close(f.done)
	var on *canvas
	for s := range f.shots {
		for range s.before {
			if on == nil {
				break
			}
			f.write(on)
		}
		if on != nil {
			f.blanks <- on
		}
		on = s.canvas
		for range s.times {
			f.write(on)
		}
	}
}

func (f *film) write(c *canvas) {
	if f.err != nil {
		return
	}
	if f.err = f.enc.write(c.pix); f.err != nil {
		close(f.broken)
	}
}

// blank returns a canvas to draw on.
func (f *film) blank(ctx context.Context) (*canvas, error) {
	select {
	case c := <-f.blanks:
		return c, nil
	case <-f.broken:
		return nil, f.failed(ctx)
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (f *film) add(ctx context.Context, s shot) error {
	select {
	case f.shots <- s:
		f.last = s.canvas
		return nil
	case <-f.broken:
		return f.failed(ctx)
	case <-ctx.Done():
		return ctx.Err()
	}
}

// failed finds out why the encoder stopped taking pictures.
func (f *film) failed(ctx context.Context) error {
	f.stop()
	err := f.enc.finish()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err == nil {
		err = f.err
	}
	return err
}

func (f *film) stop() {
	f.once.Do(func() { close(f.shots) })
	<-f.done
}

// finish waits for the file to be complete and checks it.
func (f *film) finish(ctx context.Context) error {
	f.stop()
	err := f.enc.finish()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err == nil {
		err = f.err
	}
	if err == nil {
		err = checkMP4(f.path)
	}
	return err
}

// abort ends everything; it may follow finish or failed.
func (f *film) abort() {
	f.enc.abort()
	f.stop()
}

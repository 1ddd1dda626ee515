package render

import (
	"sync"

	"plantframe/pipeline/swing"
)

// load puts frame f on the canvas, enlarged up times with straight-line
// interpolation between pixel centres.
func (c *canvas) load(f swing.Frame, up int) {
	if up == 1 {
		copy(c.pix, f.Pix)
		return
	}
	w, h := f.Width, f.Height
	// Source place of a target pixel: (x+0.5)/up - 0.5, in 1/256 steps.
	place := func(x, n int) (lo, hi, frac int) {
		s := (2*x+1)*128/up - 128
		lo, frac = s>>8, s&255
		hi = min(lo+1, n-1)
		return max(lo, 0), max(hi, 0), frac
	}
	for y := range h * up {
		y0, y1, fy := place(y, h)
		r0, r1 := f.Pix[3*w*y0:3*w*(y0+1)], f.Pix[3*w*y1:3*w*(y1+1)]
		out := c.pix[3*c.w*y : 3*c.w*(y+1)]
		for x := range w * up {
			x0, x1, fx := place(x, w)
			for k := range 3 {
				a := int(r0[3*x0+k])*(256-fx) + int(r0[3*x1+k])*fx
				b := int(r1[3*x0+k])*(256-fx) + int(r1[3*x1+k])*fx
				out[3*x+k] = uint8((a*(256-fy) + b*fy + 1<<15) >> 16)
			}
		}
	}
}

// stillShelf writes still pictures beside the drawing of the video.
type stillShelf struct {
	wg   sync.WaitGroup
	slot chan struct{}
	mu   sync.Mutex
	err  error
}

// newStillShelf allows two pictures at a time, which bounds the memory.
func newStillShelf() *stillShelf { return &stillShelf{slot: make(chan struct{}, 2)} }

// add writes c to path; c belongs to the shelf from now on.
func (s *stillShelf) add(c *canvas, path string) {
	s.slot <- struct{}{}
	s.wg.Add(1)
	go func() {
		defer s.wg.Done()
		defer func() { <-s.slot }()
		if err := writePNG(c, path); err != nil {
			s.mu.Lock()
			defer s.mu.Unlock()
			if s.err == nil {
				s.err = err
			}
		}
	}()
}

// wait returns the first error once all pictures are written.
func (s *stillShelf) wait() error {
	s.wg.Wait()
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

package camera

import (
	"errors"
	"image"
	"runtime"

	"gocv.io/x/gocv"

	"plantframe/pipeline/swing"
)

// shrinker turns delivered pictures into the small grey ones that are
// searched. Its pictures are reused. Not safe for concurrent use.
type shrinker struct {
	w, h    int        // px of delivered pictures; 0 before the first
	halved  int        // times the picture is halved
	steps   []gocv.Mat // after each halving, still in colour
	started bool
}

// begin reserves pictures for frames of w x h.
func (s *shrinker) begin(w, h, maxSide int) {
	s.w, s.h = w, h
	for max(w, h)>>s.halved > maxSide {
		s.halved++
	}
	for range s.halved {
		s.steps = append(s.steps, gocv.NewMat())
	}
	s.started = true
}

// unit returns how many delivered px one searched px spans.
func (s *shrinker) unit() float64 { return float64(int(1) << s.halved) }

// grey writes the small grey picture of a frame to dst. Halving averages
// blocks of 2 x 2, so that nothing is lost to aliasing, which would make
// corners tremble; rows and columns that do not fill a block are left out.
func (s *shrinker) grey(f swing.Frame, dst *gocv.Mat) error {
	if f.Width != s.w || f.Height != s.h {
		return errors.New("the size of the pictures changes")
	}
	if len(f.Pix) != 3*s.w*s.h {
		return errors.New("the picture has the wrong number of bytes")
	}
	// OpenCV reads the frame where it lies; it is pinned meanwhile.
	var pin runtime.Pinner
	pin.Pin(&f.Pix[0])
	defer pin.Unpin()
	full, err := gocv.NewMatFromBytes(s.h, s.w, gocv.MatTypeCV8UC3, f.Pix)
	if err != nil {
		return err
	}
	defer full.Close()
	cur := &full
	for i := range s.steps {
		halve(*cur, &s.steps[i])
		cur = &s.steps[i]
	}
	gocv.CvtColor(*cur, dst, gocv.ColorBGRToGray)
	return nil
}

func halve(src gocv.Mat, dst *gocv.Mat) {
	w, h := src.Cols()/2, src.Rows()/2
	even := src.Region(image.Rect(0, 0, 2*w, 2*h))
	gocv.Resize(even, dst, image.Pt(w, h), 0, 0, gocv.InterpolationArea)
	_ = even.Close()
}

func (s *shrinker) close() {
	if !s.started {
		return
	}
	for i := range s.steps {
		_ = s.steps[i].Close()
	}
}

package camera

import (
	"errors"
	"image"

	"gocv.io/x/gocv"

	"plantframe/pipeline/swing"
)

// key is a picture whose corners are looked for in later pictures.
type key struct {
	view  view
	sigma float64 // of the view against the first frame's, searched px
	grey  gocv.Mat
	from  gocv.Mat // corners, n x 1 of two float32, searched px, pixel centres whole
	to    gocv.Mat // where they are expected and then found
	dirs  []vec    // their directions
	best  int      // largest number of corners that agreed so far
}

func (k *key) close() {
	_ = k.grey.Close()
	_ = k.from.Close()
	_ = k.to.Close()
}

const (
	// cornerQuality is the least strength of a corner against the strongest.
	cornerQuality = 0.01
	// cornerSpacing keeps corners apart, searched px.
	cornerSpacing = 8
	// candidates are asked for per corner kept: many lie on people.
	candidates = 6
	// cells of a side into which the picture is divided so that corners come
	// from everywhere and not from one busy tree or a chequered shirt.
	cells = 8
)

// corners finds up to most background corners in a grey picture, searched px,
// spread over it.
func corners(grey gocv.Mat, avoid []swing.Box, most int) ([]swing.Point, error) {
	found := gocv.NewMat()
	defer found.Close()
	gocv.GoodFeaturesToTrack(grey, &found, candidates*most, cornerQuality, cornerSpacing)
	if found.Empty() {
		return nil, nil
	}
	xy, err := found.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	w, h := grey.Cols(), grey.Rows()
	var cell [cells * cells][]swing.Point
	for i := 0; i+1 < len(xy); i += 2 {
		p := swing.Point{X: float64(xy[i]), Y: float64(xy[i+1])}
		if inside(p, avoid) {
			continue
		}
		c := min(cells-1, int(p.Y)*cells/h)*cells + min(cells-1, int(p.X)*cells/w)
		cell[c] = append(cell[c], p)
	}
	// The strongest of every cell, then the second of every cell, and so on.
	var kept []swing.Point
	for round, more := 0, true; more; round++ {
		more = false
		for _, c := range cell {
			if round < len(c) {
				kept, more = append(kept, c[round]), true
			}
		}
	}
	return kept[:min(most, len(kept))], nil
}

// inside tells whether p lies in one of the boxes.
func inside(p swing.Point, boxes []swing.Box) bool {
	for _, b := range boxes {
		if p.X >= b.X0 && p.X <= b.X1 && p.Y >= b.Y0 && p.Y <= b.Y1 {
			return true
		}
	}
	return false
}

// newKey makes a key of a picture seen in view v. It is nil when the picture
// has fewer than least background corners.
func newKey(grey gocv.Mat, v view, l lens, avoid []swing.Box, most, least int) (*key, error) {
	pts, err := corners(grey, avoid, most)
	if err != nil || len(pts) < least {
		return nil, err
	}
	k := &key{
		view: v, grey: grey.Clone(),
		from: gocv.NewMatWithSize(len(pts), 1, gocv.MatTypeCV32FC2),
		to:   gocv.NewMatWithSize(len(pts), 1, gocv.MatTypeCV32FC2),
	}
	xy, err := k.from.DataPtrFloat32()
	if err != nil {
		k.close()
		return nil, err
	}
	for i, p := range pts {
		xy[2*i], xy[2*i+1] = float32(p.X), float32(p.Y)
		k.dirs = append(k.dirs, v.direction(l.plane(p)))
	}
	return k, nil
}

// flow finds corners of a key in later pictures.
type flow struct {
	status, err gocv.Mat
	stop        gocv.TermCriteria
	sights      []sight
}

// Parameters of the pyramidal search. Three levels of a 15 px window reach
// 7 px * 2^2 = 28 searched px from where a corner is expected: a twelfth of the
// picture from one frame to the next, more than a swung phone turns.
const (
	flowWindow = 15 // px
	flowLevels = 2  // above the picture itself
	// flowEigen is the least strength of a corner, OpenCV's minimum
	// eigenvalue per pixel of grey levels 0..255; weaker ones drift along
	// edges and in noise.
	flowEigen = 1e-3
	// useGuess is OpenCV's OPTFLOW_USE_INITIAL_FLOW.
	useGuess = 4
)

func newFlow() *flow {
	return &flow{
		status: gocv.NewMat(), err: gocv.NewMat(),
		stop: gocv.NewTermCriteria(gocv.Count|gocv.EPS, 10, 0.01),
	}
}

func (fl *flow) close() {
	_ = fl.status.Close()
	_ = fl.err.Close()
}

// follow looks for k's corners in grey, where guess expects them, and returns
// those found outside the boxes. The result is reused by the next call.
func (fl *flow) follow(k *key, grey gocv.Mat, guess view, l lens, avoid []swing.Box) ([]sight, error) {
	to, err := k.to.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	w, h := float64(grey.Cols()), float64(grey.Rows())
	for i, d := range k.dirs {
		p, ok := guess.project(d)
		p = l.px(p)
		if !ok || p.X < -w || p.X > 2*w || p.Y < -h || p.Y > 2*h {
			p = swing.Point{X: -w, Y: -h} // out of sight: not found
		}
		to[2*i], to[2*i+1] = float32(p.X), float32(p.Y)
	}
	gocv.CalcOpticalFlowPyrLKWithParams(k.grey, grey, k.from, k.to, &fl.status, &fl.err,
		image.Pt(flowWindow, flowWindow), flowLevels, fl.stop, useGuess, flowEigen)
	to, err = k.to.DataPtrFloat32()
	if err != nil {
		return nil, err
	}
	found, err := fl.status.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	if len(found) != len(k.dirs) || len(to) != 2*len(k.dirs) {
		return nil, errors.New("the flow of corners is incomplete")
	}
	fl.sights = fl.sights[:0]
	for i, d := range k.dirs {
		p := swing.Point{X: float64(to[2*i]), Y: float64(to[2*i+1])}
		if found[i] == 0 || p.X < 0 || p.Y < 0 || p.X > w-1 || p.Y > h-1 || inside(p, avoid) {
			continue
		}
		fl.sights = append(fl.sights, sight{dir: d, at: l.plane(p), weight: weight(p, avoid, max(w, h))})
	}
	return fl.sights, nil
}

// nearShareOfSide is the distance from the hitter, in long sides of the
// picture, at which a corner counts half. Corners beside the hitter stand at
// about the hitter's depth, and what the assumed lens gets wrong is small
// there.
const nearShareOfSide = 0.1

// weight tells how much a corner at p counts. The hitter is the last box;
// without one every corner counts the same.
func weight(p swing.Point, avoid []swing.Box, long float64) float64 {
	if len(avoid) == 0 {
		return 1
	}
	b := avoid[len(avoid)-1]
	d := swing.Point{X: max(b.X0-p.X, p.X-b.X1, 0), Y: max(b.Y0-p.Y, p.Y-b.Y1, 0)}
	r := d.Norm() / (nearShareOfSide * long)
	return 1 / (1 + r*r)
}

package camera

import (
	"errors"
	"math"

	"gocv.io/x/gocv"

	"plantframe/pipeline/swing"
)

// Follower collects the camera's motion over the frames of one clip. Not safe
// for concurrent use.
type Follower struct {
	o      Options
	small  shrinker
	flow   *flow
	grey   gocv.Mat // the present picture
	before gocv.Mat // the last picture with a known view; empty before the second
	lens   lens     // in searched px, pixel centres whole
	keys   []*key
	cur    *key
	last   view
	lost   int     // frames since a view was last found
	looked float64 // time of the last frame looked at, s
	seen   []glance
	avoid  []swing.Box // reused, searched px
	// of the picture before:
	beforeAvoid []swing.Box
	beforeSigma float64 // searched px
	closed      bool
}

// glanceState says what is known of a frame's view.
type glanceState uint8

const (
	unknown glanceState = iota // looked for in vain
	skipped                    // not looked for, too soon after the frame before
	sure
)

// glance is what was found in one frame.
type glance struct {
	index int
	time  float64
	view  view
	state glanceState
	sigma float64   // px delivered, of a background point beside the hitter
	where swing.Box // the hitter, px delivered; empty when unknown
}

// New prepares to follow one clip.
//
// Errors: KindUsage (bad options).
func New(o Options) (*Follower, error) {
	if err := o.Validate(); err != nil {
		return nil, fail("camera.New", -1, swing.KindUsage, err.Error(), nil)
	}
	return &Follower{o: o.withDefaults(), flow: newFlow(), grey: gocv.NewMat(), before: gocv.NewMat(), last: firstView()}, nil
}

const (
	// gate is the largest error of a corner that still belongs to the
	// background, searched px: more than flow errs, less than people move.
	gate = 1.0
	// gateShare of the motion since the key is allowed on top: a lens that is
	// not the assumed one moves the edges otherwise than the fit expects.
	gateShare = 0.05
	// sureSigma is the largest error beside the hitter, searched px, of a
	// view that counts as found.
	sureSigma = 0.5
	// A key is replaced when fewer than freshShare of the corners that ever
	// agreed still do, or when the picture moved by more than farShare of
	// its long side: what leaves the picture is replaced by what enters.
	freshShare = 0.6
	farShare   = 0.15
	// keySigma is the largest error beside the hitter, searched px, with
	// which a frame becomes a key while the old one still serves: a key hands
	// its error down to all that follow. A picture that moved by movedShare
	// since the key is of a camera that moves, and cannot wait.
	keySigma   = 0.1
	movedShare = 0.02
	// stillPx is how far a corner may seem to move, searched px, in a camera
	// that stands: flow errs by some hundredths.
	stillPx = 0.07
	// nearShare: an earlier key closer than this to the present view is
	// used again, so that shaking to and fro does not add up errors.
	nearShare = 0.1
	// maxKeys bounds memory; the oldest key but the first is given up.
	maxKeys = 24
	// lostFrames without a view lead to a new key, as after a cut.
	lostFrames = 10
)

// Add looks at the next frame. avoid are the people in it, px of the frame,
// the hitter last; empty when nobody was found. f.Pix is not kept.
//
// Errors: KindInternal when the picture is malformed or changes its size.
func (fo *Follower) Add(f swing.Frame, avoid []swing.Box) error {
	const op = "camera.Add"
	if fo.closed {
		return fail(op, f.Index, swing.KindInternal, "the camera follower is closed", nil)
	}
	if f.Width < 16 || f.Height < 16 {
		return fail(op, f.Index, swing.KindInternal, "the picture is too small to follow", nil)
	}
	if !fo.small.started {
		fo.small.begin(f.Width, f.Height, fo.o.MaxSide)
		// The middle of the delivered picture, in searched px.
		u := fo.small.unit()
		fo.lens = newLens(f.Width, f.Height, fo.o.Focal)
		fo.lens = lens{fo.lens.cx/u - 0.5, fo.lens.cy/u - 0.5, fo.lens.f / u}
	}
	g := glance{index: f.Index, time: f.Time, view: fo.last}
	if n := len(avoid); n > 0 {
		g.where = avoid[n-1]
	}
	if fo.cur != nil && f.Time >= fo.looked && f.Time < fo.looked+fo.o.Interval {
		g.state = skipped
		fo.seen = append(fo.seen, g)
		return nil
	}
	fo.looked = f.Time
	if err := fo.small.grey(f, &fo.grey); err != nil {
		return fail(op, f.Index, swing.KindInternal, "the picture cannot be read", err)
	}
	fo.shrinkBoxes(avoid)
	err := fo.look(&g)
	fo.seen = append(fo.seen, g)
	if err != nil {
		return fail(op, f.Index, swing.KindInternal, "the background cannot be followed", err)
	}
	return nil
}

// look finds the view of the present picture and sees to the keys.
func (fo *Follower) look(g *glance) error {
	if fo.cur == nil {
		return fo.rekey(g)
	}
	f, sigma, ok, err := fo.locate(g)
	if err != nil {
		return err
	}
	if !ok && fo.lost == 0 && fo.lastKey() {
		// The key may be worn out all at once: try with the picture before.
		if f, sigma, ok, err = fo.locate(g); err != nil {
			return err
		}
	}
	if !ok {
		if fo.lost++; fo.lost >= lostFrames {
			return fo.rekey(g)
		}
		return nil
	}
	g.view, g.state = f.view, sure
	g.sigma = fo.small.unit() * math.Hypot(sigma, fo.cur.sigma)
	fo.last, fo.lost = f.view, 0
	fo.cur.best = max(fo.cur.best, f.inliers)
	moved := fo.shift(fo.cur.view, f.view)
	worn := float64(f.inliers) < freshShare*float64(fo.cur.best) || moved > farShare
	must := moved > movedShare || f.inliers < 2*fo.o.MinCorners
	if worn && (must || sigma <= keySigma) {
		err = fo.rekey(g)
	}
	// Kept for the next frame, in case the key fails there.
	fo.grey, fo.before = fo.before, fo.grey
	fo.beforeAvoid = append(fo.beforeAvoid[:0], fo.avoid...)
	fo.beforeSigma = g.sigma / fo.small.unit()
	return err
}

// locate fits the view of the present picture by the current key. sigma is its
// error beside the hitter, searched px.
func (fo *Follower) locate(g *glance) (f fitted, sigma float64, ok bool, err error) {
	sights, err := fo.flow.follow(fo.cur, fo.grey, fo.last, fo.lens, fo.avoid)
	if err != nil {
		return f, 0, false, err
	}
	px := 1 / fo.lens.f
	if f, ok = asKey(sights, fo.cur, stillPx*px, fo.o.MinCorners); ok {
		return f, stillPx, true, nil
	}
	long := fo.lens.f / fo.o.Focal // searched px
	allowed := gate + gateShare*long*fo.shift(fo.cur.view, fo.last)
	if f, ok = fit(sights, fo.last, px, allowed, fo.o.MinCorners); ok {
		sigma = fo.worstSigma(&f, g)
		ok = sigma <= sureSigma && 2*f.inliers >= len(sights)
	}
	return f, sigma, ok, nil
}

// lastKey makes the last picture with a known view the key. It tells whether
// that changed anything.
func (fo *Follower) lastKey() bool {
	if fo.before.Empty() || fo.cur.view == fo.last {
		return false
	}
	k, err := newKey(fo.before, fo.last, fo.lens, fo.beforeAvoid, fo.o.Corners, fo.o.MinCorners)
	if err != nil || k == nil {
		return false
	}
	k.sigma = fo.beforeSigma
	fo.use(k)
	return true
}

// use adds a key and makes it the current one.
func (fo *Follower) use(k *key) {
	if len(fo.keys) == maxKeys {
		fo.keys[1].close()
		fo.keys = append(fo.keys[:1], fo.keys[2:]...)
	}
	fo.keys = append(fo.keys, k)
	fo.cur = k
}

// rekey makes the present picture a key, or returns to an earlier key of
// nearly the same view. When the view is not known (at the start, after a
// cut) it is taken to be the last one known.
func (fo *Follower) rekey(g *glance) error {
	if g.state == sure {
		var nearest *key
		least := nearShare
		for _, k := range fo.keys {
			if d := fo.shift(k.view, g.view); k != fo.cur && d < least && d < fo.shift(fo.cur.view, g.view)/2 {
				nearest, least = k, d
			}
		}
		if nearest != nil {
			fo.cur = nearest
			return nil
		}
	}
	k, err := newKey(fo.grey, g.view, fo.lens, fo.avoid, fo.o.Corners, fo.o.MinCorners)
	if err != nil || k == nil {
		return err // too few corners: the old key stays
	}
	if fo.cur == nil {
		g.state = sure
	}
	k.sigma = g.sigma / fo.small.unit()
	fo.use(k)
	fo.lost = 0
	return nil
}

// shift returns how far the middle of the picture moves between two views,
// in long sides, change of zoom and roll at half a long side counted too.
func (fo *Follower) shift(a, b view) float64 {
	p, ok := b.project(a.direction(swing.Point{}))
	if !ok {
		return math.Inf(1)
	}
	q, ok := b.project(a.direction(swing.Point{X: 0.5 / fo.o.Focal}))
	if !ok {
		return math.Inf(1)
	}
	return fo.o.Focal * max(p.Norm(), q.Sub(swing.Point{X: 0.5 / fo.o.Focal}).Norm())
}

// shrinkBoxes puts the boxes, a little enlarged, into searched px.
func (fo *Follower) shrinkBoxes(boxes []swing.Box) {
	const margin = 0.05 // of the box's size, for loose cloth and the net's error
	u := fo.small.unit()
	fo.avoid = fo.avoid[:0]
	for _, b := range boxes {
		mx, my := margin*(b.X1-b.X0), margin*(b.Y1-b.Y0)
		fo.avoid = append(fo.avoid, swing.Box{
			X0: (b.X0-mx)/u - 0.5, Y0: (b.Y0-my)/u - 0.5,
			X1: (b.X1+mx)/u - 0.5, Y1: (b.Y1+my)/u - 0.5,
		})
	}
}

// worstSigma returns the largest error of the fit around the hitter, searched
// px.
func (fo *Follower) worstSigma(f *fitted, g *glance) float64 {
	worst := 0.0
	for _, p := range fo.places(g.where) {
		p = swing.Point{X: p.X/fo.small.unit() - 0.5, Y: p.Y/fo.small.unit() - 0.5}
		worst = max(worst, fo.lens.f*f.sigma(fo.lens.plane(p)))
	}
	return worst
}

// places returns the points, px delivered, over which a map has to be good: a
// grid over the hitter, or over the middle half of the picture.
func (fo *Follower) places(where swing.Box) []swing.Point {
	w, h := float64(fo.small.w), float64(fo.small.h)
	b := swing.Box{X0: w / 4, Y0: h / 4, X1: 3 * w / 4, Y1: 3 * h / 4}
	if where.X1 > where.X0 && where.Y1 > where.Y0 {
		b = where
	}
	pts := make([]swing.Point, 0, 9)
	for i := range 3 {
		for j := range 3 {
			pts = append(pts, swing.Point{
				X: b.X0 + float64(i)/2*(b.X1-b.X0),
				Y: b.Y0 + float64(j)/2*(b.Y1-b.Y0),
			})
		}
	}
	return pts
}

// Close frees the pictures. It may be called more than once; Steady still
// works afterwards.
func (fo *Follower) Close() error {
	if fo.closed {
		return nil
	}
	fo.closed = true
	for _, k := range fo.keys {
		k.close()
	}
	fo.keys, fo.cur = nil, nil
	fo.small.close()
	fo.flow.close()
	return errors.Join(fo.grey.Close(), fo.before.Close())
}

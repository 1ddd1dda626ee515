package pose

import (
	"context"
	"iter"
	"math"

	"plantframe/pipeline/swing"
)

// AtOnce is how many successive frames Follow works on at the same time. The
// crop of each comes from the newest frame before all of them, so the answers
// are the same on one core and on many. Hips move some 2 m/s at most: over one
// frame more at 30/s that is a fortieth of the crop.
const AtOnce = 2

// Each is what Follow tells of every frame. Both may be nil; an error stops
// the pass.
type Each struct {
	// Beside is called from up to AtOnce goroutines at once, lane 0 to
	// AtOnce-1, once per frame and before InOrder of the same frame.
	Beside func(lane int, f swing.Frame, p swing.Pose) error
	// InOrder is called for every frame in order with the boxes of the other
	// people in sight, valid during the call. The frame's Pix stays as it is
	// while InOrder is called AtOnce times more.
	InOrder func(f swing.Frame, p swing.Pose, others []swing.Box) error
}

// Follow finds the hitter's body points in every frame with the large network.
// seed says whom to follow; frames and seed are in the same px. It blocks until
// frames end.
//
// The poses have one entry per frame; Found is false where the hitter was
// lost, and a warning names the frames. Seen tells afterwards about other
// people and swings.
//
// Errors: KindModel (a network did not run), errors of frames and each as they
// are, and the context's error.
func (e *Estimator) Follow(ctx context.Context, frames iter.Seq2[swing.Frame, error], seed Seed, each Each) ([]swing.Pose, []swing.Warning, error) {
	w := newFollower(e, seed)
	w.each = each
	var kept ring
	batch := make([]swing.Frame, 0, AtOnce)
	for f, err := range frames {
		if err != nil {
			return nil, nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		if batch = append(batch, kept.keep(f)); len(batch) < AtOnce {
			continue
		}
		if err := w.steps(batch); err != nil {
			return nil, nil, err
		}
		batch = batch[:0]
	}
	if err := w.steps(batch); err != nil {
		return nil, nil, err
	}
	e.seen, e.trail = w.crowd.summary(w.first, w.last), w.trail
	return w.poses, w.warnings(), nil
}

// follower is the state of one Follow.
type follower struct {
	e     *Estimator
	seed  Seed
	each  Each
	crowd *crowd
	poses []swing.Pose
	trail []trail
	ahead [AtOnce]advance

	tracking    bool
	fresh       bool    // the newest frame was searched: crops from before it say nothing
	at          place   // where the hitter was last seen; size 0 = never
	b           body    // newest good body
	try         body    // body under test
	retry       float64 // s, when a lost hitter is searched again
	misses      int     // searches in vain since the hitter was seen
	first, last float64 // s, of frames
	found       []detection
	outside     int // frames in which ankles or head lie outside the picture
}

func newFollower(e *Estimator, seed Seed) *follower {
	w := &follower{
		e: e, seed: seed, crowd: newCrowd(e, e.o.OthersEvery),
		retry: math.Inf(-1), first: math.Inf(1), last: math.Inf(-1),
	}
	w.crowd.hitter = &person{asked: math.Inf(-1)}
	w.crowd.people = append(w.crowd.people, w.crowd.hitter)
	return w
}

// step finds the hitter in one frame; ahead is the look at it that was made
// before its turn came, nil for none. The body, if there is one, is then in b.
func (w *follower) step(f swing.Frame, ahead *advance) (bool, error) {
	w.first, w.last = math.Min(w.first, f.Time), math.Max(w.last, f.Time)
	ok, err := w.locate(f, ahead)
	if err != nil {
		return false, err
	}
	if ok {
		w.b, w.tracking, w.misses = w.try, true, 0
		w.at = place{f.Time, w.b.hip, w.b.size}
	} else {
		w.tracking = false
	}

	// The hitter's coarse track is fed before the others are looked at, so
	// that nobody else's crop can slip onto the hitter unnoticed.
	h := w.crowd.hitter
	h.alive = ok
	if !w.crowd.due(f.Time) {
		return ok, nil
	}
	if ok {
		h.note(&w.b, f.Time)
	}
	if w.e.o.OthersEvery == 0 {
		w.crowd.looked = f.Time
		return ok, nil
	}
	return ok, w.crowd.step(f)
}

// locate puts the hitter's body in f into try. It follows the crop of a frame
// before; when the crop shows nobody, or somebody else, it searches on the same
// frame.
func (w *follower) locate(f swing.Frame, ahead *advance) (bool, error) {
	if w.tracking {
		var ok bool
		var err error
		if ahead != nil {
			ok, w.try = ahead.ok, ahead.b
		} else {
			ok, err = w.e.fine.look(f, w.b.next, &w.try)
		}
		if err != nil {
			return false, err
		}
		if ok && w.at.step(&w.try, f.Time) <= 1 {
			w.fresh = false
			return true, nil
		}
	}
	w.fresh = true
	if f.Time < w.retry {
		return false, nil
	}
	var err error
	if w.found, err = w.e.people.detect(f, w.found[:0]); err != nil {
		return false, err
	}
	ok, err := w.acquire(f)
	if err == nil && !ok && w.misses%distantEvery == 0 && w.e.objects != nil {
		// Nobody for the pose detector: people who fill little of the
		// picture only show as boxes.
		if w.found, err = w.e.objects.detect(f, w.found[:0]); err != nil {
			return false, err
		}
		ok, err = w.acquire(f)
	}
	if err == nil && !ok {
		// At first every frame, later ten times a second: an empty
		// picture should not cost a search a frame.
		if w.misses++; w.misses > 5 {
			w.retry = f.Time + 0.1
		}
	}
	return ok, err
}

// distantEvery is the number of searches in vain between those that also look
// for distant people, which costs four times as much.
const distantEvery = 5

// acquire picks the hitter among the people found.
func (w *follower) acquire(f swing.Frame) (bool, error) {
	at, known := w.expected(f.Time)
	if !known {
		return w.choose(f)
	}
	// By continuity, not by size: the nearest first, two attempts.
	for range 2 {
		best, share := -1, math.Inf(1)
		for i, d := range w.found {
			if d.radius > 0 {
				if s := at.distance(d.hip, d.radius/radiusPerSize, f.Time); s < share {
					best, share = i, s
				}
			}
		}
		if best < 0 || share > looser {
			return false, nil
		}
		d := w.found[best]
		w.found[best].radius = 0
		ok, err := w.e.fine.look(f, w.e.fine.start(&d), &w.try)
		if err != nil {
			return false, err
		}
		if ok && at.step(&w.try, f.Time) <= 1 && w.crowd.twin(&w.try, w.crowd.hitter) == nil {
			return true, nil
		}
	}
	return false, nil
}

// looser is how much farther a detection may lie than a body: the detector's
// hips are coarser than the landmarks that then decide.
const looser = 2.0

// expected returns where the hitter should be: last seen a moment ago, else by
// the seed, else last seen at all.
func (w *follower) expected(time float64) (place, bool) {
	const moment = 0.3 // s
	if w.at.size > 0 && time-w.at.time < moment {
		return w.at, true
	}
	if p, ok := w.seed.at(time); ok {
		return p, true
	}
	return w.at, w.at.size > 0
}

// choose picks the likeliest hitter when nothing is known: sure, large, near
// the middle, and, among several, hands together and a bat in them.
func (w *follower) choose(f swing.Frame) (bool, error) {
	best, at := 0.0, -1
	for i := range w.found {
		d := &w.found[i]
		off := math.Abs(d.hip.X-float64(f.Width)/2) / float64(f.Width)
		v := d.score * d.radius * (1 - off)
		if len(w.found) > 1 && i < w.e.o.MaxPeople {
			k, err := w.handling(f, d)
			if err != nil {
				return false, err
			}
			v *= k
		}
		if v > best && 2*d.radius >= w.e.o.MinHeight {
			best, at = v, i
		}
	}
	if at < 0 {
		return false, nil
	}
	return w.e.fine.look(f, w.e.fine.start(&w.found[at]), &w.try)
}

// handling weighs a detection by what the hands do: 0 when the landmark
// network sees nobody there, 1 for free hands, more for hands together and
// for a bat.
func (w *follower) handling(f swing.Frame, d *detection) (float64, error) {
	var b body
	ok, err := w.e.coarse.look(f, w.e.coarse.start(d), &b)
	if err != nil || !ok {
		return 0, err
	}
	if handsApart(&b) > together {
		return 1, nil
	}
	if w.e.objects == nil {
		return 2, nil
	}
	holds, err := w.e.holdsBat(f, &b)
	if holds {
		return 6, err
	}
	return 2, err
}

// others appends the boxes of the other people in sight to out.
func (w *follower) others(out []swing.Box) []swing.Box {
	for _, p := range w.crowd.people {
		if p != w.crowd.hitter && p.alive {
			out = append(out, p.b.box())
		}
	}
	return out
}

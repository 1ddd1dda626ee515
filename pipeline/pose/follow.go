package pose

import (
	"context"
	"iter"
	"math"

	"plantframe/pipeline/swing"
)

// Follow finds the hitter's body points in every frame with the large network.
// seed says whom to follow; frames and seed are in the same px. each, which
// may be nil, is called for every frame in order with the pose and the boxes
// of the other people in sight (valid during the call); its error stops the
// pass. It blocks until frames end.
//
// The poses have one entry per frame; Found is false where the hitter was
// lost, and a warning names the frames. Seen tells afterwards about other
// people and swings.
//
// Errors: KindModel (a network did not run), errors of frames and each as they
// are, and the context's error.
func (e *Estimator) Follow(ctx context.Context, frames iter.Seq2[swing.Frame, error], seed Seed,
	each func(swing.Frame, swing.Pose, []swing.Box) error,
) ([]swing.Pose, []swing.Warning, error) {
	w := newFollower(e, seed)
	for f, err := range frames {
		if err != nil {
			return nil, nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		if err := w.step(f); err != nil {
			return nil, nil, networkFailed("pose.Follow", f.Index, err)
		}
		if each != nil {
			if err := each(f, w.poses[len(w.poses)-1], w.others()); err != nil {
				return nil, nil, err
			}
		}
	}
	e.seen = w.crowd.summary(w.first, w.last)
	return w.poses, w.warnings(), nil
}

// follower is the state of one Follow.
type follower struct {
	e     *Estimator
	seed  Seed
	crowd *crowd
	poses []swing.Pose

	tracking    bool
	at          place   // where the hitter was last seen; size 0 = never
	b           body    // newest good body
	try         body    // body under test
	retry       float64 // s, when a lost hitter is searched again
	misses      int     // searches in vain since the hitter was seen
	first, last float64 // s, of frames
	boxes       []swing.Box
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

// step handles one frame.
func (w *follower) step(f swing.Frame) error {
	w.first, w.last = math.Min(w.first, f.Time), math.Max(w.last, f.Time)
	ok, err := w.locate(f)
	if err != nil {
		return err
	}
	p := swing.Pose{Frame: f.Index, Time: f.Time, Found: ok}
	if ok {
		w.b, w.tracking, w.misses = w.try, true, 0
		w.at = place{f.Time, w.b.hip, w.b.size}
		if w.e.feet != nil {
			if err := w.e.feet.refine(f, &w.b); err != nil {
				return err
			}
		}
		p.Score, p.Points = w.b.flag, w.b.points
		if cutOff(&w.b, f) {
			w.outside++
		}
	} else {
		w.tracking = false
	}
	w.poses = append(w.poses, p)

	// The hitter's coarse track is fed before the others are looked at, so
	// that nobody else's crop can slip onto the hitter unnoticed.
	h := w.crowd.hitter
	h.alive = ok
	if !w.crowd.due(f.Time) {
		return nil
	}
	if ok {
		h.note(&w.b, f.Time)
	}
	if w.e.o.OthersEvery == 0 {
		w.crowd.looked = f.Time
		return nil
	}
	return w.crowd.step(f)
}

// locate puts the hitter's body in f into try. It follows the crop of the last
// frame; when the crop shows nobody, or somebody else, it searches on the same
// frame.
func (w *follower) locate(f swing.Frame) (bool, error) {
	if w.tracking {
		ok, err := w.e.fine.look(f, w.b.next, &w.try)
		if err != nil {
			return false, err
		}
		if ok && w.at.step(&w.try, f.Time) <= 1 {
			return true, nil
		}
	}
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

// others returns the boxes of the other people in sight.
func (w *follower) others() []swing.Box {
	w.boxes = w.boxes[:0]
	for _, p := range w.crowd.people {
		if p != w.crowd.hitter && p.alive {
			w.boxes = append(w.boxes, p.b.box())
		}
	}
	return w.boxes
}

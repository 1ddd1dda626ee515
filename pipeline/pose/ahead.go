package pose

import (
	"golang.org/x/sync/errgroup"

	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

// Lane is one more set of the networks that look at every frame. Its sessions
// run at the same time as those of Networks.
type Lane struct {
	Landmarks *Network      // the same network as Networks.Landmarks
	Feet      *spot.Network // the same as Networks.Feet, nil like it
}

// lane is what one goroutine needs for its frames.
type lane struct {
	fine *landmarker
	feet *feet // may be nil
}

// advance is the work on one frame of a batch.
type advance struct {
	b      body // of the look ahead, then the body found
	ok     bool
	looked bool // b and ok are those of a look ahead
	pose   swing.Pose
	boxes  []swing.Box
}

// ring keeps the pictures of this batch and the one before.
type ring struct {
	pix  [2 * AtOnce][]byte
	next int
}

// keep returns f with a copy of its picture.
func (r *ring) keep(f swing.Frame) swing.Frame {
	r.pix[r.next] = append(r.pix[r.next][:0], f.Pix...)
	f.Pix = r.pix[r.next]
	r.next = (r.next + 1) % len(r.pix)
	return f
}

// steps handles the frames of a batch: it looks at all of them by the newest
// crop, decides in order where the hitter is, and then has every frame's
// details worked out.
func (w *follower) steps(batch []swing.Frame) error {
	for i := range batch {
		w.ahead[i].looked = false
	}
	if w.tracking && len(batch) > 1 {
		if err := w.atOnce(batch, func(l *lane, i int) (err error) {
			a := &w.ahead[i]
			a.looked = true
			a.ok, err = l.fine.look(batch[i], w.b.next, &a.b)
			return networkError(batch[i], err)
		}); err != nil {
			return err
		}
	}
	fresh := false
	for i, f := range batch {
		a := &w.ahead[i]
		var look *advance
		if a.looked && !fresh {
			look = a
		}
		ok, err := w.step(f, look)
		if err != nil {
			return networkError(f, err)
		}
		fresh = fresh || w.fresh
		a.ok, a.b, a.pose = ok, w.b, swing.Pose{Frame: f.Index, Time: f.Time, Found: ok}
		a.boxes = w.others(a.boxes[:0])
	}
	if err := w.atOnce(batch, func(l *lane, i int) error { return w.details(l, i, batch[i]) }); err != nil {
		return err
	}
	return w.hand(batch)
}

// hand notes the poses of a batch and hands them out in order.
func (w *follower) hand(batch []swing.Frame) error {
	for i, f := range batch {
		a := &w.ahead[i]
		if a.ok && cutOff(&a.b, f) {
			w.outside++
		}
		if a.ok {
			w.trail = append(w.trail, trail{place{f.Time, a.b.hip, a.b.size}, a.b.next})
		}
		w.poses = append(w.poses, a.pose)
		if w.each.InOrder != nil {
			if err := w.each.InOrder(f, a.pose, a.boxes); err != nil {
				return err
			}
		}
	}
	return nil
}

// details refines the body found in frame i of the batch and fills its pose.
func (w *follower) details(l *lane, i int, f swing.Frame) error {
	a := &w.ahead[i]
	if a.ok {
		if l.feet != nil {
			if err := l.feet.refine(f, &a.b); err != nil {
				return networkError(f, err)
			}
		}
		a.pose.Score, a.pose.Points = a.b.flag, a.b.points
	}
	if w.each.Beside == nil {
		return nil
	}
	return w.each.Beside(i%len(w.e.lanes), f, a.pose)
}

// atOnce does work for every frame of the batch, one goroutine a lane.
func (w *follower) atOnce(batch []swing.Frame, work func(l *lane, i int) error) error {
	lanes := w.e.lanes
	if len(lanes) == 1 {
		for i := range batch {
			if err := work(&lanes[0], i); err != nil {
				return err
			}
		}
		return nil
	}
	var group errgroup.Group
	for n := range lanes {
		group.Go(func() error {
			for i := n; i < len(batch); i += len(lanes) {
				if err := work(&lanes[n], i); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return group.Wait()
}

func networkError(f swing.Frame, err error) error {
	if err == nil {
		return nil
	}
	return networkFailed("pose.Follow", f.Index, err)
}

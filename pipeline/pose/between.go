package pose

import (
	"context"
	"iter"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

// trail is where the hitter was in one frame of Follow and where to look next.
type trail struct {
	at   place
	next pixel.Region
}

// betweenReach is how far from a frame, s, the one may lie whose crop serves it:
// three frames at 30/s.
const betweenReach = 0.1

// Between finds the hitter's body points in frames that the last Follow was not
// given, by the crops of the frames before them that it was given. It searches
// for nobody: where the crop does not show the hitter, Found is false. Of each,
// which may be empty, Beside is called as by Follow; InOrder is called in order
// with no boxes. It blocks until frames end; frames are in the px of Follow's.
//
// The poses have one entry per frame. Errors are those of Follow.
func (e *Estimator) Between(ctx context.Context, frames iter.Seq2[swing.Frame, error], each Each) ([]swing.Pose, error) {
	w := newFollower(e, Seed{})
	w.each = each
	var kept ring
	batch := make([]swing.Frame, 0, AtOnce)
	flush := func() error {
		if err := w.atOnce(batch, func(l *lane, i int) error { return w.between(l, i, batch[i]) }); err != nil {
			return err
		}
		return w.hand(batch)
	}
	for f, err := range frames {
		if err != nil {
			return nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if batch = append(batch, kept.keep(f)); len(batch) < AtOnce {
			continue
		}
		if err := flush(); err != nil {
			return nil, err
		}
		batch = batch[:0]
	}
	return w.poses, flush()
}

// between looks at frame i of the batch.
func (w *follower) between(l *lane, i int, f swing.Frame) error {
	a := &w.ahead[i]
	*a = advance{pose: swing.Pose{Frame: f.Index, Time: f.Time}}
	if t := w.e.nearest(f.Time); t != nil {
		ok, err := l.fine.look(f, t.next, &a.b)
		if err != nil {
			return networkError(f, err)
		}
		a.ok = ok && t.at.step(&a.b, f.Time) <= 1
		a.pose.Found = a.ok
	}
	return w.details(l, i, f)
}

// nearest returns the last frame before time in which Follow found the hitter,
// else the first after it; nil when none is near.
func (e *Estimator) nearest(time float64) *trail {
	var best *trail
	for i := range e.trail {
		t := &e.trail[i]
		if t.at.time <= time {
			best = t
			continue
		}
		if best == nil || time-best.at.time > betweenReach {
			best = t
		}
		break
	}
	if best == nil || best.at.time-time > betweenReach || time-best.at.time > betweenReach {
		return nil
	}
	return best
}

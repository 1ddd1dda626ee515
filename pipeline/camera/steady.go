package camera

import (
	"fmt"
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

const (
	// significant is how many sigmas a motion must exceed to count.
	significant = 4
	// movedFrames of the frames must have moved: a single wrong frame must
	// not make a tripod clip a shaken one.
	movedFrames = 0.05
	// knownShare of the frames must have a view, else nothing is said.
	knownShare = 0.5
	// doubtShare of the frames without a view is worth a warning.
	doubtShare = 0.1
)

// Steady returns one map per frame added, in order: from the frame's picture
// to the first frame's, px of the frames, best near the hitter. moves is false
// when the camera stood still as far as can be told; every map is then exactly
// the identity.
//
// Frames whose view is not known (blur, darkness, too few still things) get
// the view between their neighbours'. Warnings: "camera-moves",
// "camera-unknown" (most frames: all maps are the identity), "camera-doubt"
// (some frames).
func (fo *Follower) Steady() (maps []swing.Similarity, moves bool, w []swing.Warning) {
	maps = make([]swing.Similarity, len(fo.seen))
	for i := range maps {
		maps[i] = swing.IdentitySimilarity()
	}
	if len(fo.seen) < 2 {
		return maps, false, nil
	}
	known, vain := 0, 0
	for _, g := range fo.seen {
		switch g.state {
		case sure:
			known++
		case unknown:
			vain++
		}
	}
	looked := known + vain
	if float64(known) < knownShare*float64(looked) || known < 2 {
		return maps, false, []swing.Warning{{
			Code: "camera-unknown",
			Text: fmt.Sprintf("Whether the camera moved cannot be told in %d of %d frames (dark, blurred or empty background); it is taken to have stood still.",
				vain, looked),
		}}
	}
	if float64(vain) > doubtShare*float64(looked) {
		first, last := fo.unsure()
		w = append(w, swing.Warning{
			Code: "camera-doubt", Frames: []int{first, last},
			Text: fmt.Sprintf("The camera's motion is interpolated in %d of %d frames (dark, blurred or empty background).", vain, looked),
		})
	}
	amount, moves := fo.amount()
	if !moves {
		return maps, false, w
	}
	l := newLens(fo.small.w, fo.small.h, fo.o.Focal)
	for i, v := range fo.filled() {
		maps[i] = v.toFirst(l, fo.places(fo.seen[i].where))
	}
	return maps, true, append(w, swing.Warning{
		Code: "camera-moves",
		Text: fmt.Sprintf("The camera moved by up to %.1f %% of the picture; positions are steadied by the background. A tripod gives better numbers.", 100*amount),
	})
}

// amount returns how far the picture moved against the first frame, long
// sides, and whether that is more than noise.
func (fo *Follower) amount() (float64, bool) {
	l := newLens(fo.small.w, fo.small.h, fo.o.Focal)
	long := float64(max(fo.small.w, fo.small.h))
	var first *view
	var moved []float64
	count := 0
	for i := range fo.seen {
		g := &fo.seen[i]
		if g.state != sure {
			continue
		}
		if first == nil {
			first = &g.view
		}
		d := 0.0
		for _, p := range fo.places(g.where) {
			q, ok := first.project(g.view.direction(l.plane(p)))
			if !ok {
				d = long
				break
			}
			d = max(d, l.px(q).Sub(p).Norm())
		}
		moved = append(moved, d)
		if d > max(fo.o.Still*long, significant*g.sigma) {
			count++
		}
	}
	slices.Sort(moved)
	top := moved[min(len(moved)-1, len(moved)*95/100)]
	return top / long, float64(count) > movedFrames*float64(len(moved))
}

// unsure returns the first and last frame index without a view.
func (fo *Follower) unsure() (first, last int) {
	first = -1
	for _, g := range fo.seen {
		if g.state == unknown {
			if first < 0 {
				first = g.index
			}
			last = g.index
		}
	}
	return first, last
}

// filled returns the view of every frame, unknown ones interpolated over time
// and held at the ends. At least one view is known.
func (fo *Follower) filled() []view {
	out := make([]view, len(fo.seen))
	prev := -1
	for i, g := range fo.seen {
		if g.state != sure {
			continue
		}
		for j := prev + 1; j < i; j++ {
			out[j] = g.view
			if prev >= 0 {
				span := g.time - fo.seen[prev].time
				t := 0.5
				if span > 0 {
					t = math.Min(1, math.Max(0, (fo.seen[j].time-fo.seen[prev].time)/span))
				}
				out[j] = between(fo.seen[prev].view, g.view, t)
			}
		}
		out[i], prev = g.view, i
	}
	for j := prev + 1; j < len(out); j++ {
		out[j] = out[prev]
	}
	return out
}

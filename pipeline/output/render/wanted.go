package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// Wanted says, by their index, which frames of the clip Draw puts into the video
// or onto a still: at 60 frames a second and more most of those at true speed are
// passed over, and need not be delivered. Draw makes the same of these alone as of
// all. nil when the clip's list of frames does not tell: Draw then needs all.
func Wanted(a *swing.Analysis, o Options) map[int]bool {
	l := a.Clip.List
	if o.Validate() != nil || l == nil || !l.Whole {
		return nil
	}
	num, den := videoRate(a, o)
	out := map[int]bool{}
	sections := planSections(a, o)
	cur := 0
	var sc *scene
	last := math.Inf(-1)
	for i, t := range l.Times {
		if t <= last {
			continue // a reader leaves it out
		}
		last = t
		for cur < len(sections) && t > sections[cur].end {
			cur++
		}
		if cur == len(sections) {
			break
		}
		if t < sections[cur].start {
			continue
		}
		if sc == nil || sc.sec != sections[cur] {
			sc = newTiming(sections[cur], float64(num)/float64(den), o.Hold)
		}
		f := swing.Frame{Index: i, Time: t}
		stills := sc.dueStills(f)
		if _, times := sc.frames(f); times > 0 || len(stills) > 0 {
			out[i] = true
		}
	}
	return out
}

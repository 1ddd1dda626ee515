package main

import "math"

// bodyJoints are the joints that the key point score counts, both sides.
var bodyJoints = []string{"shoulder", "elbow", "wrist", "hip", "knee", "ankle"}

// swapGroups are the groups of joints that networks exchange as a whole.
var swapGroups = []struct {
	name   string
	joints []string
}{
	{"shoulders", []string{"shoulder"}},
	{"arms", []string{"elbow", "wrist"}},
	{"hips", []string{"hip"}},
	{"legs", []string{"knee", "ankle"}},
}

// A group counts as swapped in a frame when the exchanged points fit the truth
// at least twice as well and the truth itself holds left and right apart.
const (
	swapApart = 0.3 // torso, mean distance of left from right
	swapGain  = 0.5 // exchanged error over plain error
)

// phase sorts frames by the truth's events.
func phase(t float64, events map[string]float64) string {
	if c, ok := events["contact"]; ok && t > c {
		return "after"
	}
	if p, ok := events["plant"]; ok && t > p {
		return "plant..contact"
	}
	return "before plant"
}

var phases = []string{"before plant", "plant..contact", "after"}

// keypoints collects distances in truth torso lengths.
type keypoints struct {
	all     []float64
	oks     []float64
	joint   map[string][]float64
	phase   map[string][]float64
	missing int            // points that the analysis leaves out
	swaps   map[string]int // group: frames before contact
	frames  int
	of      int // truth frames of the clip
}

func newKeypoints() *keypoints {
	return &keypoints{joint: map[string][]float64{}, phase: map[string][]float64{}, swaps: map[string]int{}}
}

// merge adds another clip's distances.
func (k *keypoints) merge(o *keypoints) {
	k.all = append(k.all, o.all...)
	k.oks = append(k.oks, o.oks...)
	for n, d := range o.joint {
		k.joint[n] = append(k.joint[n], d...)
	}
	for n, d := range o.phase {
		k.phase[n] = append(k.phase[n], d...)
	}
	for n, v := range o.swaps {
		k.swaps[n] += v
	}
	k.missing += o.missing
	k.frames += o.frames
	k.of += o.of
}

// scoreKeypoints compares a swing's track with the truth at the track's times.
func scoreKeypoints(s *analysedSwing, t *truth, events map[string]float64) *keypoints {
	k := newKeypoints()
	k.of = len(t.Frames)
	torso := t.torso()
	at := map[string]int{}
	for i, n := range s.Track.Names {
		at[n] = i
	}
	last := t.Frames[len(t.Frames)-1].T
	for i, time := range s.Track.Times {
		if time < t.Frames[0].T-fine || time > last+fine {
			continue
		}
		k.frames++
		ph := phase(time, events)
		area := t.area(time)
		for _, j := range bodyJoints {
			for _, side := range []string{"left_", "right_"} {
				x, y, ok := s.point(i, at, side+j)
				if !ok {
					k.missing++
					continue
				}
				tx, ty := t.pixel(t.index[side+j], time)
				px := math.Hypot(x-tx, y-ty)
				d := px / torso
				k.all = append(k.all, d)
				k.joint[j] = append(k.joint[j], d)
				k.phase[ph] = append(k.phase[ph], d)
				if n := t.index[side+j]; n < len(cocoSigma) {
					k.oks = append(k.oks, oks(px, area, cocoSigma[n]))
				}
			}
		}
		if ph == "after" {
			continue
		}
		for _, g := range swapGroups {
			if s.swapped(i, at, g.joints, t, time, torso) {
				k.swaps[g.name]++
			}
		}
	}
	return k
}

// point returns a track point; ok is false where it is left out.
func (s *analysedSwing) point(i int, at map[string]int, name string) (x, y float64, ok bool) {
	n, ok := at[name]
	if !ok {
		return 0, 0, false
	}
	p := s.Track.Points[i][n]
	if len(p) < 2 || p[0] == nil || p[1] == nil {
		return 0, 0, false
	}
	return *p[0], *p[1], true
}

// swapped reports whether a group's left and right are exchanged in frame i.
func (s *analysedSwing) swapped(i int, at map[string]int, joints []string, t *truth, time, torso float64) bool {
	var plain, crossed, apart float64
	for _, j := range joints {
		lx, ly, okL := s.point(i, at, "left_"+j)
		rx, ry, okR := s.point(i, at, "right_"+j)
		if !okL || !okR {
			return false
		}
		tlx, tly := t.pixel(t.index["left_"+j], time)
		trx, try := t.pixel(t.index["right_"+j], time)
		plain += math.Hypot(lx-tlx, ly-tly) + math.Hypot(rx-trx, ry-try)
		crossed += math.Hypot(lx-trx, ly-try) + math.Hypot(rx-tlx, ry-tly)
		apart += math.Hypot(tlx-trx, tly-try)
	}
	return apart/float64(len(joints)) >= swapApart*torso && crossed < swapGain*plain
}

// area returns the area of the box around the true points, px2: the object's
// area in the similarity (the truth has no outline).
func (t *truth) area(time float64) float64 {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for k := range t.Names {
		x, y := t.pixel(k, time)
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	return max(1, (x1-x0)*(y1-y0))
}

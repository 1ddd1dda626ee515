package track

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Costs of the search for exchanged sides, in torso lengths per pair of points.
//
// An exchange of two points D apart shows as 2D of broken prediction when it
// begins and another 2D in the next frame, whose prediction starts from the
// broken one. With switchCost 0.4 exchanges of points more than about a tenth
// of a torso apart are undone; nearer ones do not matter and would be confused
// with noise (0.02 torso a sample, 0.05 in a prediction).
const (
	switchCost = 0.4
	// swappedRate is the cost of an exchange per second that it lasts.
	// Networks exchange sides for some frames, seldom for longer; where the
	// sides truly cross in the picture, as the shoulders do when a hitter is
	// seen from behind and turns, prediction cannot tell which is which, and
	// the network's word must stand.
	swappedRate = 2.0
	// breakCap bounds the cost of one broken prediction, so that a wild point
	// cannot buy an exchange.
	breakCap = 0.8
	// wholeBody is how many of the seven groups must be exchanged at once to
	// say that the body is.
	wholeBody = 5
	// trust is how long a prediction from two samples is worth something, s.
	trust = 0.12
)

// sideGroup is a set of left points that a network exchanges with their
// partners together.
type sideGroup struct {
	name string
	left []swing.Joint
}

func sideGroups() []sideGroup {
	return []sideGroup{
		{"eyes and ears", []swing.Joint{swing.LeftEye, swing.LeftEar}},
		{"shoulders", []swing.Joint{swing.LeftShoulder}},
		{"elbows", []swing.Joint{swing.LeftElbow}},
		{"hands", []swing.Joint{swing.LeftWrist, swing.LeftHand}},
		{"hips", []swing.Joint{swing.LeftHip}},
		{"knees", []swing.Joint{swing.LeftKnee}},
		{"feet", []swing.Joint{swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe}},
	}
}

// repairSwaps undoes exchanges of left and right, group by group, so that a
// whole-body exchange and one of the legs alone are both found. Each group's
// sequence of exchanged or not is the cheapest path (Viterbi) under costs for
// broken straight-line prediction and for switching.
func (w *work) repairSwaps() []swing.Warning {
	n := len(w.times)
	count := make([]int, n)
	swapped := map[string][]bool{}
	groups := sideGroups()
	for _, g := range groups {
		s := make([]bool, n)
		for _, run := range w.runs {
			w.searchSwaps(g, run, s)
		}
		for i, x := range s {
			if x {
				count[i]++
				for _, j := range g.left {
					w.exchange(j, i)
				}
			}
		}
		swapped[g.name] = s
	}
	for _, l := range []struct {
		trunk, limb string
		near, far   swing.Joint
	}{{"shoulders", "elbows", swing.LeftShoulder, swing.LeftElbow}, {"hips", "knees", swing.LeftHip, swing.LeftKnee}} {
		w.uncross(swapped[l.trunk], swapped[l.limb], l.near, l.far, count)
	}
	// Most groups at once is the whole body seen the wrong way round; points
	// of the rest lie too close together to tell, and go along.
	var out []swing.Warning
	whole := make([]bool, n)
	for i := range whole {
		whole[i] = count[i] >= wholeBody
		for _, g := range groups {
			if whole[i] && !swapped[g.name][i] {
				for _, j := range g.left {
					w.exchange(j, i)
				}
			}
		}
	}
	note := func(name string, s []bool) {
		for i := 0; i < n; i++ {
			if !s[i] {
				continue
			}
			e := i
			for e+1 < n && (s[e+1] || (e+2 < n && s[e+2])) {
				e++
			}
			out = append(out, swing.Warning{
				Code: "sides-swapped", Text: fmt.Sprintf("left and right of %s were exchanged; put back", name),
				Frames: []int{w.frames[i], w.frames[e]},
			})
			i = e
		}
	}
	note("the body", whole)
	for _, g := range groups {
		s := swapped[g.name]
		for i := range s {
			s[i] = s[i] && !whole[i]
		}
		note("the "+g.name, s)
	}
	return out
}

// uncross takes back exchanges of shoulders (hips) alone that make the upper
// arms (thighs) cross. Where shoulders pass each other in the picture, as they do
// when a hitter turns seen from behind, prediction can take the passing for the
// end of an exchange; but an arm does not change its shoulder: with the sides
// right, both arms together are shorter.
func (w *work) uncross(s, limb []bool, near, far swing.Joint, count []int) {
	for i := 0; i < len(s); {
		if !s[i] || limb[i] {
			i++
			continue
		}
		e, now, other := i, 0.0, 0.0
		for ; e < len(s) && s[e] && !limb[e]; e++ {
			if !w.ok(near, e) || !w.ok(near.Partner(), e) || !w.ok(far, e) || !w.ok(far.Partner(), e) {
				continue
			}
			l, r := w.pos[near][e], w.pos[near.Partner()][e]
			fl, fr := w.pos[far][e], w.pos[far.Partner()][e]
			now += l.Sub(fl).Norm() + r.Sub(fr).Norm()
			other += r.Sub(fl).Norm() + l.Sub(fr).Norm()
		}
		for ; i < e; i++ {
			if now > other {
				w.exchange(near, i)
				s[i] = false
				count[i]--
			}
		}
	}
}

func (w *work) exchange(j swing.Joint, i int) {
	k := j.Partner()
	w.pos[j][i], w.pos[k][i] = w.pos[k][i], w.pos[j][i]
	w.score[j][i], w.score[k][i] = w.score[k][i], w.score[j][i]
	w.state[j][i], w.state[k][i] = w.state[k][i], w.state[j][i]
}

// searchSwaps sets s for the frames of run in which the group is exchanged.
func (w *work) searchSwaps(g sideGroup, run [2]int, s []bool) {
	var at []int // frames in which the whole group is seen on both sides
	for i := run[0]; i < run[1]; i++ {
		all := true
		for _, j := range g.left {
			// A network without hand or foot points leaves them out always;
			// the group then rests on the others.
			if !w.ok(j, i) && w.score[j][i] == 0 && w.neverSeen(j) {
				continue
			}
			all = all && w.ok(j, i) && w.ok(j.Partner(), i)
		}
		if all {
			at = append(at, i)
		}
	}
	if len(at) < 3 {
		return
	}
	// State: 2*previous + current, each 0 (as given) or 1 (exchanged).
	cost := [4]float64{0, switchCost, switchCost, 0}
	from := make([][4]uint8, len(at))
	for k := 2; k < len(at); k++ {
		next := [4]float64{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
		for st := range 4 {
			p, c := st>>1, st&1
			for x := range 2 {
				v := cost[st] + w.broken(g, at[k-2], at[k-1], at[k], p, c, x)
				if x != c {
					v += switchCost
				}
				if x == 1 {
					v += swappedRate * min(w.times[at[k]]-w.times[at[k-1]], trust)
				}
				if to := 2*c + x; v < next[to] {
					next[to], from[k][to] = v, uint8(p)
				}
			}
		}
		cost = next
	}
	best := 0
	for st := range 4 {
		if cost[st] < cost[best] {
			best = st
		}
	}
	for k := len(at) - 1; k >= 1; k-- {
		s[at[k]] = best&1 == 1
		if k == 1 {
			s[at[0]] = best>>1 == 1
			break
		}
		best = 2*int(from[k][best]) + best>>1
	}
}

func (w *work) neverSeen(j swing.Joint) bool {
	for i := range w.times {
		if w.ok(j, i) {
			return false
		}
	}
	return true
}

// broken is how far the group in frame c lies from the straight line through
// frames a and b, mean over its pairs, torso lengths, when the frames are
// taken as given (0) or exchanged (1) by sa, sb, sc.
func (w *work) broken(g sideGroup, a, b, c, sa, sb, sc int) float64 {
	sum, pairs := 0.0, 0
	dt0, dt1 := w.times[b]-w.times[a], w.times[c]-w.times[b]
	if dt1 > trust {
		return 0
	}
	k := dt1 / dt0
	if dt0 > trust {
		k = 0 // too old for a speed: expect it where it was
	}
	for _, j := range g.left {
		if !w.ok(j, a) || !w.ok(j, b) || !w.ok(j, c) {
			continue
		}
		pairs++
		for side := range 2 {
			p, q, r := w.sided(j, a, sa^side), w.sided(j, b, sb^side), w.sided(j, c, sc^side)
			e := r.Sub(q.Add(q.Sub(p).Scale(k))).Norm() / w.torso
			sum += min(e, breakCap)
		}
	}
	if pairs == 0 {
		return 0
	}
	return sum / float64(pairs)
}

func (w *work) sided(j swing.Joint, i, other int) swing.Point {
	if other == 1 {
		j = j.Partner()
	}
	return w.pos[j][i]
}

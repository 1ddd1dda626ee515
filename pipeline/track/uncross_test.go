package track

import (
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

// An exchange of the shoulders alone stands when it uncrosses the arms and is
// taken back when it crosses them; where the elbows were exchanged as well it
// stands in any case.
func TestUncross(t *testing.T) {
	const n = 30
	poses := make([]swing.Pose, n)
	for i := range poses {
		p := &poses[i]
		p.Frame, p.Time, p.Found = i, float64(i)/60, true
		put := func(j swing.Joint, x, y float64) { p.Points[j] = swing.Keypoint{X: x, Y: y, Score: 1} }
		put(swing.LeftShoulder, 130, 100)
		put(swing.RightShoulder, 70, 100)
		put(swing.LeftElbow, 140, 160)
		put(swing.RightElbow, 50, 150)
		put(swing.LeftHip, 115, 220)
		put(swing.RightHip, 85, 220)
	}
	w := newWork(poses, nil, DefaultOptions())
	right := slices.Clone(w.pos[swing.LeftShoulder])
	s, limb, count := make([]bool, n), make([]bool, n), make([]int, n)
	mark := func(from, to int) {
		for i := from; i < to; i++ {
			s[i] = true
			count[i]++
		}
	}
	mark(2, 8)   // repaired rightly: the points are now as they should be
	mark(12, 20) // repaired wrongly: the points are exchanged
	for i := 12; i < 20; i++ {
		w.exchange(swing.LeftShoulder, i)
	}
	mark(24, 28) // wrongly, but the elbows went along
	for i := 24; i < 28; i++ {
		limb[i] = true
		w.exchange(swing.LeftShoulder, i)
		w.exchange(swing.LeftElbow, i)
	}
	w.uncross(s, limb, swing.LeftShoulder, swing.LeftElbow, count)
	for i := range n {
		wantSwap := i >= 2 && i < 8 || i >= 24 && i < 28
		if s[i] != wantSwap || (count[i] == 1) != wantSwap {
			t.Errorf("frame %d: exchanged %v, counted %d", i, s[i], count[i])
		}
		if limb[i] != (w.pos[swing.LeftShoulder][i] != right[i]) {
			t.Errorf("frame %d: left shoulder at %v", i, w.pos[swing.LeftShoulder][i])
		}
	}
}

package track

import (
	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Both hands hold the bat until well after contact, so one hand tells where
// the other is. Networks lose the hand that is hidden behind the other or
// blurred; they say so by a low score, but still place it somewhere.
const (
	// surelySeen and hardlySeen are scores of a hand that may guide and of
	// one that may be overruled.
	surelySeen, hardlySeen = 0.5, 0.3
	// gripMax is the largest usual distance of the wrists, torso lengths,
	// that counts as holding a bat: on the handle they are 0.1 to 0.25
	// apart.
	gripMax = 0.45
	// gripSlack is how much farther than usual a hand must be from the other
	// to be overruled, torso lengths.
	gripSlack = 0.20
	// gripGap is the longest time one hand may be led by the other, s.
	gripGap = 0.35
)

func handPairs() [][2]swing.Joint {
	return [][2]swing.Joint{{swing.LeftWrist, swing.RightWrist}, {swing.LeftHand, swing.RightHand}}
}

// usualGrip is the median distance of two hand points while both are surely
// seen, px, and whether that is a grip.
func (w *work) usualGrip(l, r swing.Joint) (float64, bool) {
	var d []float64
	for i := range w.times {
		if w.ok(l, i) && w.ok(r, i) && w.score[l][i] >= surelySeen && w.score[r][i] >= surelySeen {
			d = append(d, w.pos[l][i].Sub(w.pos[r][i]).Norm())
		}
	}
	if len(d) < minFrames {
		return 0, false
	}
	m := signal.Median(d)
	return m, m < gripMax*w.torso
}

// dropOffBat drops a hardly seen hand that the network puts away from a surely
// seen one.
func (w *work) dropOffBat(dropped *frameSet) {
	for _, pair := range handPairs() {
		usual, grip := w.usualGrip(pair[0], pair[1])
		if !grip {
			continue
		}
		for i := range w.times {
			for k := range 2 {
				j, other := pair[k], pair[1-k]
				if !w.ok(j, i) || !w.ok(other, i) || w.score[j][i] >= hardlySeen || w.score[other][i] < surelySeen {
					continue
				}
				if w.pos[j][i].Sub(w.pos[other][i]).Norm() > usual+gripSlack*w.torso {
					w.state[j][i] = swing.Missing
					dropped.add(j, i)
				}
			}
		}
	}
}

// fillFromGrip bridges a gap of one hand along the other, keeping their
// distance and direction as at the ends of the gap, turned steadily from one
// to the other.
func (w *work) fillFromGrip(filled *frameSet) {
	for _, pair := range handPairs() {
		if _, grip := w.usualGrip(pair[0], pair[1]); !grip {
			continue
		}
		for k := range 2 {
			for _, run := range w.runs {
				w.fillHand(pair[k], pair[1-k], run, filled)
			}
		}
	}
}

// fillHand fills the gaps of hand j within run. Where the gap has no end with
// a grip, the last distance is kept for gripGap, as long as the other hand is
// surely seen.
func (w *work) fillHand(j, other swing.Joint, run [2]int, filled *frameSet) {
	held := func(i int) (swing.Point, bool) {
		if i < run[0] || i >= run[1] || !w.ok(j, i) || !w.ok(other, i) {
			return swing.Point{}, false
		}
		d := w.pos[j][i].Sub(w.pos[other][i])
		return d, d.Norm() <= gripMax*w.torso
	}
	for i := run[0] + 1; i < run[1]; i++ {
		if w.ok(j, i) || !w.ok(j, i-1) {
			continue
		}
		a, b := i-1, i
		for b < run[1] && !w.ok(j, b) {
			b++
		}
		i = b
		d0, begins := held(a)
		d1, ends := held(b)
		if !begins {
			continue
		}
		whole := ends && w.times[b]-w.times[a] <= gripGap
		for m := a + 1; m < b; m++ {
			if !w.ok(other, m) || !whole && (w.score[other][m] < surelySeen || w.times[m]-w.times[a] > gripGap) {
				break
			}
			d := d0
			if whole {
				f := (w.times[m] - w.times[a]) / (w.times[b] - w.times[a])
				d = d0.Scale(1 - f).Add(d1.Scale(f))
			}
			w.pos[j][m] = w.pos[other][m].Add(d)
			w.score[j][m] = w.score[other][m] / 2
			w.state[j][m] = swing.Filled
			filled.add(j, m)
		}
	}
}

package track

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// topSpeed is the fastest a point of a hitter moves in the picture, torso
// lengths per second, with a third to spare. A torso is about half a metre:
// hands reach 9 m/s (bat speed 31 to 37 m/s at three to four times the
// radius), shoulders and hips turn at 900 and 700 deg/s with 0.2 m radius
// (Welch et al. 1995: 937 and 714 deg/s) while the body moves at 1 m/s, a
// striding foot stays under 4 m/s.
func topSpeed(j swing.Joint) float64 {
	switch j {
	case swing.LeftWrist, swing.RightWrist, swing.LeftHand, swing.RightHand:
		return 24
	case swing.LeftElbow, swing.RightElbow:
		return 16
	case swing.LeftKnee, swing.RightKnee, swing.LeftAnkle, swing.RightAnkle,
		swing.LeftHeel, swing.RightHeel, swing.LeftBigToe, swing.RightBigToe:
		return 12
	}
	return 10
}

const (
	// reachSlack is the distance two samples may be off together besides
	// motion, torso lengths: three sigma of a good network's noise.
	reachSlack = 0.10
	// spikeShare is the smallest deviation from the neighbours' cubic that
	// counts as a spike, torso lengths, whatever the noise.
	spikeShare = 0.12
	spikeSigma = 6
	// spikeStep widens the limit for fast points by a share of the way between
	// samples: networks are less sure of a blurred hand.
	spikeStep = 0.4
)

// dropWild drops samples that the body cannot have reached, then single
// samples that stick out from the cubic through their neighbours.
func (w *work) dropWild() frameSet {
	var dropped frameSet
	w.dropOffBat(&dropped)
	for j := range swing.NumPoints {
		joint := swing.Joint(j)
		for _, run := range w.runs {
			w.keepChain(joint, run, &dropped)
		}
		w.dropSpikes(joint, &dropped)
	}
	return dropped
}

// keepChain keeps the heaviest sequence of samples (by score) in which each is
// within reach of the one before, and drops the others. Unlike a test against
// the last sample it survives several bad samples in a row, which is what a
// network does when it takes one foot for the other.
func (w *work) keepChain(j swing.Joint, run [2]int, dropped *frameSet) {
	var at []int
	for i := run[0]; i < run[1]; i++ {
		if w.ok(j, i) {
			at = append(at, i)
		}
	}
	if len(at) < 3 {
		return
	}
	speed := topSpeed(j) * w.torso
	best, from := make([]float64, len(at)), make([]int, len(at))
	end := 0
	for k, i := range at {
		best[k], from[k] = 0, -1
		for b := k - 1; b >= 0; b-- {
			h := at[b]
			dt := w.times[i] - w.times[h]
			d := w.pos[j][i].Sub(w.pos[j][h]).Norm()
			if d <= speed*dt+reachSlack*w.torso && best[b] > best[k] {
				best[k], from[k] = best[b], b
			}
			// Beyond half a second everything is in reach of everything.
			if dt > 0.5 {
				break
			}
		}
		best[k] += 0.2 + w.score[j][i]
		if best[k] > best[end] {
			end = k
		}
	}
	keep := make(map[int]bool, len(at))
	for k := end; k >= 0; k = from[k] {
		keep[at[k]] = true
	}
	for _, i := range at {
		if !keep[i] {
			w.state[j][i] = swing.Missing
			dropped.add(j, i)
		}
	}
}

// dropSpikes drops samples that lie off the cubic through two neighbours on
// each side. A cubic follows the fastest hand at 30 frames/s (0.3 torso of
// bend between samples, almost none of it beyond third order), so what is left
// is noise.
func (w *work) dropSpikes(j swing.Joint, dropped *frameSet) {
	w.stretches(j, func(a, b int) {
		if b-a < 7 {
			return
		}
		off := make([]float64, b-a)
		for i := 2; i < b-a-2; i++ {
			c := a + i
			p := cubicAt(w.times[c], w.times[c-2], w.times[c-1], w.times[c+1], w.times[c+2],
				w.pos[j][c-2], w.pos[j][c-1], w.pos[j][c+1], w.pos[j][c+2])
			off[i] = w.pos[j][c].Sub(p).Norm()
		}
		base := max(spikeSigma*signal.Median(off[2:len(off)-2])/1.1774, spikeShare*w.torso)
		for i := 2; i < len(off)-2; i++ {
			step := w.pos[j][a+i+1].Sub(w.pos[j][a+i-1]).Norm() / 2
			limit := base + spikeStep*step
			// A spike bends its neighbours' cubics too: only the worst of
			// each neighbourhood is one.
			if off[i] > limit && off[i] >= math.Max(math.Max(off[i-1], off[i+1]), math.Max(off[i-2], off[i+2])) {
				w.state[j][a+i] = swing.Missing
				dropped.add(j, a+i)
			}
		}
	})
}

// cubicAt evaluates at t the cubic through four samples (Lagrange).
func cubicAt(t, t0, t1, t2, t3 float64, p0, p1, p2, p3 swing.Point) swing.Point {
	l := func(a, b, c, d float64) float64 { return (t - b) * (t - c) * (t - d) / ((a - b) * (a - c) * (a - d)) }
	return p0.Scale(l(t0, t1, t2, t3)).Add(p1.Scale(l(t1, t0, t2, t3))).Add(p2.Scale(l(t2, t0, t1, t3))).Add(p3.Scale(l(t3, t0, t1, t2)))
}

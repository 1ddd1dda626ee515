package track

import (
	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// legQuantile picks the projected length that stands for the true one. Turning
// a segment out of the picture plane only shortens it, noise goes both ways:
// the 95th percentile of the smoothed length over the clip is long enough to
// miss most turning and low enough to miss single bad frames. In the course of
// a swing each leg straightens across the line of sight in either view.
const legQuantile = 0.95

// stature estimates the standing height in px (of the first frame's picture)
// from the chain ankle - knee - hip - shoulder: sum of the segment lengths over
// sum of their shares, good to about 4 % with the network's error of the ends. Crouching does not matter, turning out of the picture
// plane does a little. Legs are the mean of both sides, because one stands
// nearer to the camera than the trunk and one farther. The trunk is its median:
// networks lose the hips in the follow-through. Falls back to the torso alone when no leg is seen.
func (w *work) stature(pos [swing.NumPoints][]swing.Point) float64 {
	length := func(a, b swing.Joint) float64 {
		var d []float64
		for i := range w.times {
			if w.ok(a, i) && w.ok(b, i) {
				d = append(d, pos[a][i].Sub(pos[b][i]).Norm())
			}
		}
		if len(d) < minFrames {
			return 0
		}
		return signal.Quantile(d, legQuantile)
	}
	sum, share := w.torso, swing.TrunkShare
	add := func(l, r, s float64) {
		switch {
		case l > 0 && r > 0:
			sum, share = sum+(l+r)/2, share+s
		case l > 0 || r > 0:
			sum, share = sum+max(l, r), share+s
		}
	}
	add(length(swing.LeftHip, swing.LeftKnee), length(swing.RightHip, swing.RightKnee), swing.ThighShare)
	add(length(swing.LeftKnee, swing.LeftAnkle), length(swing.RightKnee, swing.RightAnkle), swing.ShankShare)
	return sum / share
}

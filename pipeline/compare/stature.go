package compare

import (
	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// legQuantile picks the projected length that stands for the true one: a segment
// that is turned out of the picture only looks shorter, and single bad frames
// lie above. The legs straighten across the line of sight in every swing.
const legQuantile = 0.95

// leastFrames is the number of frames that a length must be seen in.
const leastFrames = 5

// stature estimates the standing height in the picture, px, from the chain
// ankle - knee - hip - shoulder of a track: lengths over their shares of
// stature. It uses nothing but the points, because that is all that a stored
// analysis holds; both swings of a comparison are estimated alike, so that what
// is wrong with the estimate is wrong with both. 0 when too little is seen.
func stature(t *swing.Track) float64 {
	sum, share := 0.0, 0.0
	if d := distances(t, [2]swing.Joint{swing.LeftShoulder, swing.RightShoulder}, [2]swing.Joint{swing.LeftHip, swing.RightHip}); len(d) >= leastFrames {
		// The trunk is its median: networks lose the hips in the follow-through.
		sum, share = signal.Quantile(d, 0.5), swing.TrunkShare
	}
	leg := func(a, b, c, d swing.Joint, of float64) {
		both, n := 0.0, 0.0
		for _, ends := range [][2]swing.Joint{{a, b}, {c, d}} {
			if l := distances(t, [2]swing.Joint{ends[0], ends[0]}, [2]swing.Joint{ends[1], ends[1]}); len(l) >= leastFrames {
				both, n = both+signal.Quantile(l, legQuantile), n+1
			}
		}
		if n > 0 {
			// One leg is nearer to the camera than the trunk, one farther.
			sum, share = sum+both/n, share+of
		}
	}
	leg(swing.LeftHip, swing.LeftKnee, swing.RightHip, swing.RightKnee, swing.ThighShare)
	leg(swing.LeftKnee, swing.LeftAnkle, swing.RightKnee, swing.RightAnkle, swing.ShankShare)
	if share == 0 {
		return 0
	}
	return sum / share
}

// distances lists how far the middle of one pair of points lies from that of
// another, px, in the frames that show all.
func distances(t *swing.Track, from, to [2]swing.Joint) []float64 {
	var out []float64
	for i := range t.Points {
		p := &t.Points[i]
		seen := true
		for _, j := range []swing.Joint{from[0], from[1], to[0], to[1]} {
			seen = seen && p[j].State != swing.Missing
		}
		if seen {
			a := p[from[0]].Point().Mid(p[from[1]].Point())
			b := p[to[0]].Point().Mid(p[to[1]].Point())
			out = append(out, b.Sub(a).Norm())
		}
	}
	return out
}

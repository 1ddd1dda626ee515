package event

import (
	"fmt"
	"math"
	"sort"

	"plantframe/pipeline/signal"
)

const (
	// swingApart is the least time between two swings, s. Nobody resets in
	// less, and follow-through and rebound of one swing stay within it.
	swingApart = 1.0
	// beforePeak and afterPeak bound the part of the hands' way that counts
	// as the sweep, s: a swing lasts 0.15 to 0.25 s to contact (Reilly-Boccia
	// et al.: 0.208 +/- 0.042 s in softball; Adair: about 0.15 s in the majors)
	// and peak hand speed falls near its end.
	beforePeak, afterPeak = 0.22, 0.15
)

const (
	// firstShare and followThrough say which later bursts belong to the same
	// swing: within the follow-through, and not overwhelmingly faster, as the
	// swing is than the load.
	firstShare, followThrough = 0.5, swingApart
	// topHandSpeed, stature/s, is what hands reach (9 m/s for an adult);
	// anything faster is a tracker's jump.
	topHandSpeed = 5
	afterSwing   = "follow-through of a swing"
)

// candidate is one burst of hand speed.
type candidate struct {
	peak   int     // frame of the fastest hands
	speed  float64 // stature/s
	reason string  // why it is not a swing; "" when it is
}

// candidates returns the bursts of hand speed of the track in time order, each
// judged; the slower of two that are nearer than swingApart is dropped.
func (b *body) candidates(o Options) []candidate {
	var all []candidate
	v := b.handSpeed
	for i := 1; i < len(v)-1; i++ {
		if v[i] >= v[i-1] && v[i] > v[i+1] && v[i] > o.MinHandSpeed/2 {
			all = append(all, candidate{peak: i, speed: v[i]})
		}
	}
	for k := range all {
		all[k].reason = b.judge(all[k], o)
	}
	// The first strong burst of a swing is the one: after contact a tracker
	// often throws the hands about faster than they ever moved.
	for k := range all {
		for m := k + 1; m < len(all); m++ {
			if all[k].reason == "" && all[k].speed >= firstShare*min(all[m].speed, topHandSpeed) && b.times[all[m].peak]-b.times[all[k].peak] < followThrough {
				all[m].reason = afterSwing
			}
		}
	}
	// Swings of one hitter are alike; the way back to the stance, which also
	// takes both hands round the body, is far slower.
	fastest := 0.0
	for _, c := range all {
		if c.reason == "" {
			fastest = max(fastest, min(c.speed, topHandSpeed))
		}
	}
	for k := range all {
		if all[k].reason == "" && all[k].speed < firstShare*fastest {
			all[k].reason = afterSwing
		}
	}
	// Swings first, so that a faster burst which is none, such as a jump of a
	// hand in the follow-through, does not shadow one.
	sort.SliceStable(all, func(i, j int) bool {
		if (all[i].reason == "") != (all[j].reason == "") {
			return all[i].reason == ""
		}
		return all[i].speed > all[j].speed
	})
	var kept []candidate
	for _, c := range all {
		near := false
		for _, k := range kept {
			near = near || math.Abs(b.times[c.peak]-b.times[k.peak]) < swingApart
		}
		if !near {
			kept = append(kept, c)
		}
	}
	sort.Slice(kept, func(i, j int) bool { return kept[i].peak < kept[j].peak })
	return kept
}

// judge says why a burst is not a swing, "" when it is one.
func (b *body) judge(c candidate, o Options) string {
	t := b.times[c.peak]
	if c.speed < o.MinHandSpeed {
		return fmt.Sprintf("the hands moved at %.1f body heights per second at most; a swing has more than %.1f", c.speed, o.MinHandSpeed)
	}
	apart := b.medianOf(t-0.2, t, func(i int) float64 { return b.apart[i] })
	if math.IsNaN(apart) {
		return "the hands were not seen before their fastest moment"
	}
	if apart > o.MaxHandsApart {
		return "the hands moved apart from each other, not together on a bat"
	}
	// A shot or a throw-in ends overhead; a swing has the hands below the
	// eyes when they are fastest.
	eyes := b.medianOf(t-0.05, t+0.05, func(i int) float64 { return b.headY(i) - b.hands[i].Y })
	if eyes > 0 {
		return "the hands were fastest above the head"
	}
	if s := b.sweep(t-beforePeak, t+afterPeak); s < o.MinSweep {
		return fmt.Sprintf("the hands moved %.2f body heights past the body; a swing takes them more than %.2f", s, o.MinSweep)
	}
	return ""
}

func (b *body) headY(i int) float64 {
	y := math.NaN()
	for _, j := range headJoints() {
		if p := b.slow[j][i]; !missing(p) && !(p.Y > y) {
			y = p.Y
		}
	}
	return y
}

// sweep is the largest distance between two places of the hands relative to
// the hips in [t0, t1], stature.
func (b *body) sweep(t0, t1 float64) float64 {
	from, to := b.span(t0, t1)
	d := 0.0
	for i := from; i < to; i++ {
		for k := i + 1; k < to; k++ {
			d = max(d, math.Hypot(b.handsX[k]-b.handsX[i], b.handsY[k]-b.handsY[i]))
		}
	}
	return d
}

// bestPeak refines the time of the fastest hands below one frame.
func (b *body) bestPeak(c candidate) float64 {
	t, _ := signal.Peak(b.times, b.handSpeed, c.peak)
	return t
}

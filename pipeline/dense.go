package pipeline

import (
	"slices"

	"plantframe/pipeline/swing"
)

// longestBetween is how far apart, s, two frames may lie between which the
// body's way is taken to be straight: over a thirtieth of a second, outside of
// the fast part of the swing, a hand departs from that by a centimetre.
const longestBetween = 0.035

// fillBetween gives the frames that were passed over their place on the way
// between those that were looked at, so that every frame of a result has a body
// and a bat. Events and measures are made before, of what was seen.
func fillBetween(s *swing.Swing, list *swing.FrameList) {
	t := s.Track
	n := t.Len()
	if n < 2 {
		return
	}
	var at []int     // row after which each new row lies, or the row itself
	var u []float64  // share of the way to the next row
	var frames []int // of the new rows
	var times []float64
	for i := range n {
		at, u, frames, times = append(at, i), append(u, 0), append(frames, t.Frames[i]), append(times, t.Times[i])
		if i+1 == n || t.Times[i+1]-t.Times[i] > longestBetween {
			continue
		}
		step := t.Times[i+1] - t.Times[i]
		for f := t.Frames[i] + 1; f < t.Frames[i+1]; f++ {
			v := float64(f-t.Frames[i]) / float64(t.Frames[i+1]-t.Frames[i])
			if list != nil && list.Whole && f < len(list.Times) {
				if w := (list.Times[f] - t.Times[i]) / step; w > 0 && w < 1 {
					v = w
				}
			}
			at, u, frames, times = append(at, i), append(u, v), append(frames, f), append(times, t.Times[i]+v*step)
		}
	}
	if len(at) == n {
		return
	}
	s.Track.Frames, s.Track.Times = frames, times
	s.Track.Points, s.Track.Fast, s.Track.Raw = between(t.Points, at, u, mixBody), between(t.Fast, at, u, mixBody), between(t.Raw, at, u, mixBody)
	s.Track.Steady = between(t.Steady, at, u, mix)
	s.Bat.Sights = between(s.Bat.Sights, at, u, mixSight)
	s.CentreOfMass = between(s.CentreOfMass, at, u, mixPoint)
}

// between makes the rows of v; a v of another length is left as it is.
func between[T any](v []T, at []int, u []float64, mix func(a, b T, u float64) T) []T {
	if len(v) == 0 || len(v) != at[len(at)-1]+1 {
		return v
	}
	out := make([]T, len(at))
	for k, i := range at {
		if out[k] = v[i]; u[k] > 0 {
			out[k] = mix(v[i], v[i+1], u[k])
		}
	}
	return slices.Clip(out)
}

func mixBody(a, b [swing.NumPoints]swing.TrackPoint, u float64) (out [swing.NumPoints]swing.TrackPoint) {
	for j := range out {
		if a[j].State == swing.Missing || b[j].State == swing.Missing {
			continue
		}
		p := along(a[j].Point(), b[j].Point(), u)
		out[j] = swing.TrackPoint{X: p.X, Y: p.Y, Score: min(a[j].Score, b[j].Score), State: swing.Filled}
	}
	return out
}

func mixSight(a, b swing.BatSight, u float64) swing.BatSight {
	if !a.Seen || !b.Seen {
		return swing.BatSight{}
	}
	return swing.BatSight{
		Seen: true, Knob: along(a.Knob, b.Knob, u), Tip: along(a.Tip, b.Tip, u), Sigma: max(a.Sigma, b.Sigma),
		KnobSigma: max(a.KnobSigma, b.KnobSigma), TipSigma: max(a.TipSigma, b.TipSigma), Cues: a.Cues & b.Cues,
	}
}

func mixPoint(a, b *swing.Point, u float64) *swing.Point {
	if a == nil || b == nil {
		return nil
	}
	p := along(*a, *b, u)
	return &p
}

func along(a, b swing.Point, u float64) swing.Point { return a.Add(b.Sub(a).Scale(u)) }

package pose

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// cutOff reports whether the nose or an ankle lies outside the picture.
func cutOff(b *body, f swing.Frame) bool {
	for _, j := range []swing.Joint{swing.Nose, swing.LeftAnkle, swing.RightAnkle} {
		p := b.points[j]
		if p.X < 0 || p.Y < 0 || p.X > float64(f.Width) || p.Y > float64(f.Height) {
			return true
		}
	}
	return false
}

// warnings tells what went wrong over the pass.
func (w *follower) warnings() []swing.Warning {
	var out []swing.Warning
	seen := 0
	for _, p := range w.poses {
		if p.Found {
			seen++
		}
	}
	if len(w.poses) == 0 {
		return nil
	}
	if seen == 0 {
		// The words are those of Seen: others may have been in sight.
		if all := w.e.seen; len(all.People) > 0 {
			return []swing.Warning{{Code: "hitter-lost", Text: "nobody could be followed: " + all.Describe()}}
		}
		return []swing.Warning{{Code: "no-person", Text: "nobody was found in the clip"}}
	}
	if w.outside*5 > seen {
		out = append(out, swing.Warning{
			Code: "body-cut",
			Text: fmt.Sprintf("head or feet are outside the picture in %d of %d frames; film the whole body", w.outside, seen),
		})
	}
	const most = 5 // gaps named one by one
	gaps := 0
	for i := 0; i < len(w.poses); i++ {
		if w.poses[i].Found {
			continue
		}
		j := i
		for j < len(w.poses) && !w.poses[j].Found {
			j++
		}
		if gaps++; gaps <= most {
			out = append(out, swing.Warning{
				Code: "hitter-lost", Frames: []int{w.poses[i].Frame, w.poses[j-1].Frame},
				Text: fmt.Sprintf("the hitter was not found in %d frames from %.2f s on", j-i, w.poses[i].Time),
			})
		}
		i = j
	}
	if gaps > most {
		out = append(out, swing.Warning{
			Code: "hitter-lost", Frames: []int{w.poses[0].Frame, w.poses[len(w.poses)-1].Frame},
			Text: fmt.Sprintf("the hitter was lost %d times; only the first %d are listed", gaps, most),
		})
	}
	return out
}

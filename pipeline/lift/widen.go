package lift

import "plantframe/pipeline/swing"

// factors widen the intervals of one angle at stance, at load, and from the touch of the
// front foot on; between them they change evenly.
type factors [3]float64

// Where the bare intervals do not hold. On invented swings kept out of the training
// they do, from either view; but the errors of the points there are drawn from
// those of some forty rendered clips, and the networks have learnt to see through
// these better than through others. The factors come from clips of which nothing
// was used: eleven rendered from invented motions and six from captured ones,
// through this program's own pose stage (scripts/train/lift/README.md has the
// table), in steps of a quarter. They make the intervals too wide on invented
// swings with the training's errors, which is the honest side.
var (
	// same: the bare intervals hold.
	same = factors{1, 1, 1}
	// closedHips: a hitter may stand with the hips well turned in, which hardly
	// changes what the open side shows, and is rare in the training.
	closedHips = factors{1.5, 1.25, 1}
	// hiddenHip: from behind, the network that places the points guesses the lead hip;
	// its guesses lean the same way, which the training holds in part.
	hiddenHip = factors{1, 1.5, 1.5}
	// difference: between two lines, errors in common, of the camera's place above
	// all, cancel; those of single points remain.
	difference = factors{1.5, 1.5, 1.5}
	// change, changeBehind: the same between two times, where even constant errors
	// cancel.
	change       = factors{1, 1.5, 1.5}
	changeBehind = factors{1, 2, 2}
)

// widening returns the factors of an angle.
func widening(v swing.View, a swing.Turn) factors {
	switch a {
	case swing.HipTurn, swing.HipTurnCamera:
		if v == swing.Rear {
			return hiddenHip
		}
		return closedHips
	case swing.Separation, swing.SeparationSinceStance:
		return difference
	case swing.ShoulderTurnSinceStance, swing.HipTurnSinceStance:
		if v == swing.Rear {
			return changeBehind
		}
		return change
	}
	return same
}

// marks are the times, s, between which the factors change. An event that is not
// known lies where the next one does.
type marks [3]float64

func marksOf(sw *swing.Swing) marks {
	m := marks{}
	last := sw.Events[swing.Plant].Time
	for i, e := range []swing.EventName{swing.Touch, swing.Load, swing.Stance} {
		if ev, ok := sw.Events[e]; ok && ev.Time < last {
			last = ev.Time
		}
		m[2-i] = last
	}
	return m
}

// at returns the factor at time t.
func (f factors) at(t float64, m marks) float64 {
	switch {
	case t >= m[2]:
		return f[2]
	case t >= m[1]:
		return f[1] + (f[2]-f[1])*(t-m[1])/(m[2]-m[1])
	case t >= m[0]:
		return f[0] + (f[1]-f[0])*(t-m[0])/(m[1]-m[0])
	}
	return f[0]
}

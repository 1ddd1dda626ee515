package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// stands returns where the middle between the hitter's feet at the aligned
// instant lies in the full-size picture, one entry per track row: one place for a
// camera that stands, so that every move of the hitter is seen, and following the
// ground for one that moves.
func stands(p *swing.Party) []swing.Point {
	t := &p.Swing.Track
	zero := nearestRow(t, p.Zero)
	g := feet(p.Swing, zero)
	out := make([]swing.Point, len(t.Times))
	for r := range out {
		out[r] = g
	}
	switch {
	case t.CameraMoves && len(t.Steady) == len(out):
		ground := t.Steady[zero].Apply(g)
		for r := range out {
			if t.Steady[r] != (swing.Similarity{}) {
				out[r] = t.Steady[r].Inverse().Apply(ground)
			}
		}
	case len(t.Steady) == 0:
		// A stored analysis does not say how the camera moved.
		if way := footWay(p, zero); way != nil {
			for r := range out {
				out[r] = g.Add(way[r])
			}
		}
	}
	return out
}

// nearestRow returns the track row nearest to a time.
func nearestRow(t *swing.Track, at float64) int {
	best := 0
	for r, s := range t.Times {
		if math.Abs(s-at) < math.Abs(t.Times[best]-at) {
			best = r
		}
	}
	return best
}

// feet returns the middle between the ankles at a row; where one is missing the
// nearest row that has both, and at last the middle of all points.
func feet(s *swing.Swing, row int) swing.Point {
	t := &s.Track
	for d := range len(t.Points) {
		for _, r := range []int{row - d, row + d} {
			if r < 0 || r >= len(t.Points) {
				continue
			}
			a, b := t.Points[r][swing.LeftAnkle], t.Points[r][swing.RightAnkle]
			if known(a) && known(b) {
				return a.Point().Mid(b.Point())
			}
		}
	}
	var sum swing.Point
	n := 0.0
	for _, p := range t.Points[row] {
		if known(p) {
			sum, n = sum.Add(p.Point()), n+1
		}
	}
	if n == 0 {
		return sum
	}
	return sum.Scale(1 / n)
}

const (
	// panFrom is the way of a standing foot, statures, from which the camera is
	// taken to move: a rear foot turns on its toes by less than this before plant.
	panFrom = 0.12
	// panSpan is how long the way of a foot is averaged over, s: longer than a
	// foot's own unrest, shorter than a pan across the field.
	panSpan = 0.3
)

// footWay returns how the ground moves in the picture, px against the row zero, as
// the rear foot shows before that row and the front foot after it; nil when it
// does not move, or nothing is seen of it.
func footWay(p *swing.Party, zero int) []swing.Point {
	t := &p.Swing.Track
	rear, lead := p.Swing.Bats.Rear().Ankle, p.Swing.Bats.Lead().Ankle
	if !known(t.Points[zero][rear]) || !known(t.Points[zero][lead]) {
		return nil
	}
	from, to := shownSpan(p)
	raw := make([]swing.Point, len(t.Times))
	lo, hi := swing.Point{}, swing.Point{}
	for r := range raw {
		j := rear
		if r > zero {
			j = lead
		}
		switch q := t.Points[r][j]; {
		case known(q):
			raw[r] = q.Point().Sub(t.Points[zero][j].Point())
		case r > 0:
			raw[r] = raw[r-1]
		}
		if t.Times[r] >= from && t.Times[r] <= to && r <= zero {
			lo = swing.Point{X: math.Min(lo.X, raw[r].X), Y: math.Min(lo.Y, raw[r].Y)}
			hi = swing.Point{X: math.Max(hi.X, raw[r].X), Y: math.Max(hi.Y, raw[r].Y)}
		}
	}
	if hi.Sub(lo).Norm() < panFrom*p.Stature {
		return nil
	}
	out := make([]swing.Point, len(raw))
	for r := range out {
		n := 0.0
		for q := range raw {
			if math.Abs(t.Times[q]-t.Times[r]) <= panSpan/2 {
				out[r], n = out[r].Add(raw[q]), n+1
			}
		}
		out[r] = out[r].Scale(1 / n)
	}
	return out
}

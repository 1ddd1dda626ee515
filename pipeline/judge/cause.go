package judge

import (
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// begin says what is known of the swing's beginning at an event.
type begin int

const (
	notBegun begin = iota
	surelyBegun
	unknownStart
)

// started tells whether the swing had begun before event e, and by how many ms.
func started(sw *swing.Swing, e swing.EventName, o Options) (begin, float64) {
	at, ok := sw.Events[e]
	start, known := sw.Events[swing.SwingStart]
	if !ok || !known {
		return unknownStart, 0
	}
	ahead := at.Time - start.Time
	if ahead > o.StartSigmas*math.Hypot(at.Sigma, start.Sigma) {
		return surelyBegun, 1000 * ahead
	}
	return notBegun, 0
}

// explain links each finding that is out to the strongest finding that causes
// it. A cause must be out itself, and by enough to be one.
func explain(all []*verdict, o Options) {
	for _, v := range all {
		for _, c := range all {
			if v.Status != swing.OutOfBand || c.Status != swing.OutOfBand || c.Severity < o.CauseShare*v.Severity || !causes(c, v) {
				continue
			}
			if v.by == nil || c.rank > v.by.rank {
				v.by = c
			}
		}
	}
}

// root follows the causes to the first one; a circle ends where it closes.
func (v *verdict) root() *verdict {
	seen := []*verdict{}
	for v.by != nil && !slices.Contains(seen, v) {
		seen = append(seen, v)
		v = v.by
	}
	return v
}

func causes(c, v *verdict) bool {
	return slices.ContainsFunc(rules(), func(r rule) bool {
		return r.cause == c.Measure && r.causeSide == c.side && r.symptom == v.Measure && r.symptomSide == v.side
	})
}

// prioritise numbers the root causes by severity times weight, one per measure.
func prioritise(all []*verdict, o Options) {
	var roots []*verdict
	for _, v := range all {
		if v.Status == swing.OutOfBand && v.by == nil {
			roots = append(roots, v)
		}
	}
	if len(roots) == 0 {
		roots = maybe(all, o)
	}
	slices.SortStableFunc(roots, order)
	var taken []string
	for _, v := range roots {
		if len(taken) == o.Priorities {
			break
		}
		if !slices.Contains(taken, v.Measure) {
			taken = append(taken, v.Measure)
			v.Priority = len(taken)
		}
	}
}

// maybe returns the finding near an edge that is most likely outside, when it is
// likely enough to be named though nothing is out.
func maybe(all []*verdict, o Options) []*verdict {
	var best *verdict
	for _, v := range all {
		if v.Status == swing.NearEdge && v.Severity > 0 && v.sigmas >= o.MaybeSigmas && (best == nil || v.rank > best.rank) {
			best = v
		}
	}
	if best == nil {
		return nil
	}
	return []*verdict{best}
}

// praise marks what is surest and weighs most among what is in its band.
func praise(all []*verdict, o Options) {
	var good []*verdict
	for _, v := range all {
		if v.Status == swing.InBand && v.band.Good {
			good = append(good, v)
		}
	}
	slices.SortStableFunc(good, func(a, b *verdict) int {
		x, y := a.band.Weight*min(1, a.margin), b.band.Weight*min(1, b.margin)
		switch {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	for _, v := range good[:min(len(good), o.Praise)] {
		v.Good = true
	}
}

// LaunchOver reports whether the swing had surely begun before event e, so that
// the body no longer shows the launch position there. With no swing-start, or no
// such event, it is false.
func LaunchOver(sw swing.Swing, e swing.EventName, o Options) bool {
	b, _ := started(&sw, e, o)
	return b == surelyBegun
}

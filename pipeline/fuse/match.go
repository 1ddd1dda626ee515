package fuse

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Match says whether two swings are one swing seen from two sides.
type Match struct {
	Same bool
	// Reason says in a few words why not; empty when they are.
	Reason string
	// Close tells that the swings were worth comparing: other sides, one
	// batting side, and motions that are much alike.
	Close bool
	// Offset is the rear view's time less the open side's, s, Sigma its error.
	Offset, Sigma float64
	// Alike is the share of the motion of heights in common, 0..1.
	Alike float64
	// Misfit is how far the heights of the front toe, the point that both
	// cameras see best, are apart, in its stated noise; smaller is better.
	Misfit float64
}

const (
	// networkLag is how much earlier or later a network may show a motion from
	// one side than from the other, s: a third of a frame of the usual 30 to
	// 60 a second.
	networkLag = 0.007
	// matchBefore and matchAfter bound what is compared, s before plant and
	// after contact.
	matchBefore, matchAfter = 0.8, 0.05
	// mostMisfit is the largest Misfit of one swing: half of the noise is a
	// habit that does not move, so .7 is expected, and stated noises are good
	// to a third.
	mostMisfit = 1.0
	// mostTip is how far the heights of the barrel's tip may be apart, statures:
	// at 25 m/s it makes 10 cm in the error of the clocks, but waits most of
	// the time.
	mostTip = 0.035
	// leastClose is the likeness from which a refusal is worth saying.
	leastClose = 0.6
)

// Views compares two swings, in any order of views. It reads Bats, View, Events,
// Track, Bat and the picture's size.
func Views(a, b *swing.Swing, o Options) (Match, error) {
	if err := o.Validate(); err != nil {
		return Match{}, err
	}
	if a.View == b.View {
		return Match{Reason: fmt.Sprintf("both are filmed from %s", from(a.View))}, nil
	}
	open, rear := a, b
	if a.View == swing.Rear {
		open, rear = b, a
	}
	return match(open, rear, newView(open), newView(rear), o), nil
}

func from(v swing.View) string {
	if v == swing.Rear {
		return "behind"
	}
	return "the open side"
}

func match(open, rear *swing.Swing, vo, vr *view, o Options) (m Match) {
	no := func(format string, a ...any) Match {
		m.Reason = fmt.Sprintf(format, a...)
		return m
	}
	if open.Bats != rear.Bats {
		return no("one hitter bats right, the other left")
	}
	if vo.size <= 0 || vr.size <= 0 || len(vo.times) < 2 || len(vr.times) < 2 || vo.width <= 0 || vr.width <= 0 {
		return no("one of the tracks is empty")
	}
	plant, hasPlant := open.Events[swing.Plant]
	contact, hasContact := open.Events[swing.Contact]
	c, distance, worst, n := byEvents(open, rear)
	if !hasPlant || !hasContact || n < 2 {
		return no("too few instants were found in both")
	}
	h, found := byHeights(vo, vr, c, plant.Time-matchBefore, contact.Time+matchAfter)
	m.Alike, m.Offset, m.Sigma = h.alike, h.offset, h.sigma
	m.Close = h.alike >= leastClose
	if distance > o.MaxDistance {
		return no("their %s does not fall together when the others do", worst)
	}
	if !found {
		return no("no offset of the clocks makes the heights of their points meet")
	}
	if h.alike < o.Alike {
		return no("the heights of their points move differently (%.0f %% in common)", 100*h.alike)
	}
	// Both by their certainty. Sounds know the instant of contact to 2 ms.
	h.sigma = math.Hypot(h.sigma, networkLag)
	if d := math.Abs(h.offset - c.offset); d > o.MaxDistance*math.Hypot(h.sigma, c.sigma) {
		return no("their instants and the heights of their points meet at different offsets of the clocks")
	}
	we, wh := 1/(c.sigma*c.sigma), 1/(h.sigma*h.sigma)
	m.Offset, m.Sigma = (we*c.offset+wh*h.offset)/(we+wh), 1/math.Sqrt(we+wh)

	begin, end := plant.Time-matchBefore, contact.Time+matchAfter
	if left, _, _, ok := matchPoint(&vo.curve[toes], &vr.curve[toes], vo.size, vr.size, h.offset, begin, end, h.scale, samePrior); ok {
		noise := math.Hypot(vo.curve[toes].sigma/vo.size, vr.curve[toes].sigma/vr.size)
		m.Misfit = math.Sqrt(left) / noise
		if m.Misfit > mostMisfit {
			return no("the front foot moves differently")
		}
	}
	if left, _, _, ok := matchPoint(&vo.bat[1], &vr.bat[1], vo.size, vr.size, h.offset, begin, contact.Time, h.scale, samePrior); ok && math.Sqrt(left) > mostTip {
		return no("the barrel moves differently")
	}
	m.Same = true
	return m
}

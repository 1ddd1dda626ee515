package lift

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

func TestFactorsOverTime(t *testing.T) {
	f, m := factors{1, 2, 4}, marks{1, 2, 3}
	for at, want := range map[float64]float64{0: 1, 1: 1, 1.5: 1.5, 2: 2, 2.5: 3, 3: 4, 9: 4} {
		if got := f.at(at, m); math.Abs(got-want) > 1e-12 {
			t.Errorf("factor %g at %g s, want %g", got, at, want)
		}
	}
}

// Events that are missing, or stand in the wrong order, leave no gap in the times.
func TestMarksFollowTheEvents(t *testing.T) {
	at := func(s ...float64) map[swing.EventName]swing.Event {
		m := map[swing.EventName]swing.Event{}
		for i, e := range []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant} {
			if !math.IsNaN(s[i]) {
				m[e] = swing.Event{Time: s[i]}
			}
		}
		return m
	}
	no := math.NaN()
	for _, c := range []struct {
		events map[swing.EventName]swing.Event
		want   marks
	}{
		{at(1, 2, 3, 4), marks{1, 2, 3}},
		{at(1, no, no, 4), marks{1, 4, 4}},
		{at(no, no, no, 4), marks{4, 4, 4}},
		{at(1, 5, 3, 4), marks{1, 3, 3}},
	} {
		got := marksOf(&swing.Swing{Events: c.events})
		if got != c.want {
			t.Errorf("%v, want %v", got, c.want)
		}
		for x := 0.0; x < 6; x += 0.25 { // never beside the factors' range
			if f := difference.at(x, got); f != 1.5 {
				t.Errorf("factor %g at %g s", f, x)
			}
		}
	}
}

// What is hidden from behind is said with less certainty than what the open side
// shows, and nothing is ever narrowed.
func TestNothingIsNarrowed(t *testing.T) {
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		for a := range swing.Turn(swing.NumTurns) {
			for i, f := range widening(v, a) {
				if !(f >= 1 && f <= 2) {
					t.Errorf("%s, angle %d, part %d: factor %g", v, a, i, f)
				}
			}
		}
	}
	if widening(swing.Rear, swing.HipTurn)[2] <= widening(swing.OpenSide, swing.HipTurn)[2] {
		t.Error("a hidden hip is as sure as a seen one")
	}
}

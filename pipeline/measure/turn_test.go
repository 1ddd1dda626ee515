package measure

import (
	"math"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

// turned gives a swing the turns of a motion: shoulders and hips as functions of time
// from plant, degrees, all with one sigma.
func turned(s swing.Swing, sigma float64, shoulder, hip func(t float64) float64) swing.Swing {
	plant, stance := s.Events[swing.Plant].Time, s.Events[swing.Stance].Time
	p := swing.TurnPath{Stance: true}
	for i := range 100 {
		t := plant - 1.5 + float64(i)/50
		if t < s.Track.Times[0] || t > s.Track.Times[s.Track.Len()-1] {
			continue
		}
		p.Times = append(p.Times, t)
		sh, hp := shoulder(t-plant), hip(t-plant)
		for a, v := range map[swing.Turn]float64{
			swing.ShoulderTurn: sh, swing.HipTurn: hp, swing.Separation: sh - hp,
			swing.ShoulderTurnSinceStance: sh - shoulder(stance-plant),
		} {
			p.Angles[a] = append(p.Angles[a], swing.Quantiles{v - 1.645*sigma, v - sigma, v, v + sigma, v + 1.645*sigma})
		}
	}
	s.Turns = p
	return s
}

func TestTurnsAtEvents(t *testing.T) {
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		s := turned(newHitter(nil).shoot(defaultFilm(v)), 5,
			func(t float64) float64 { return -20 + 100*t }, func(t float64) float64 { return 10 + 50*t })
		ev := s.Events[swing.Plant]
		near(t, "shoulders", *one(t, s, "shoulder_turn", swing.Plant).Value, -20, 1e-6)
		near(t, "hips", *one(t, s, "hip_turn", swing.Plant).Value, 10, 1e-6)
		near(t, "separation", *one(t, s, "separation", swing.Plant).Value, -30, 1e-6)
		near(t, "sigma", *one(t, s, "shoulder_turn", swing.Plant).Sigma, math.Hypot(5, 100*ev.Sigma), 1e-6)
		at := s.Events[swing.Load].Time - ev.Time
		near(t, "shoulders at load", *one(t, s, "shoulder_turn", swing.Load).Value, -20+100*at, 1e-6)
		near(t, "since stance", *one(t, s, "shoulder_turn_since_stance", swing.Plant).Value, -100*(s.Events[swing.Stance].Time-ev.Time), 1e-6)
		for e, want := range map[swing.EventName]swing.Status{swing.Load: swing.Measured, swing.Plant: swing.Weak} {
			if v == swing.OpenSide {
				want = swing.Measured
			}
			if m := one(t, s, "hip_turn", e); m.Status != want || len(m.Frames) == 0 {
				t.Errorf("%s: %+v", v, m)
			}
			if m := one(t, s, "shoulder_turn", e); m.Status != swing.Measured {
				t.Errorf("%s: shoulders are hidden less than hips: %+v", v, m)
			}
		}
		if w := one(t, s, "shoulder_turn", swing.Plant).Words; len(w) != 3 || w[0].Word != "closed" || w[0].P < 0.9 {
			t.Errorf("-20 degrees in words: %v", w)
		}
		if w := one(t, s, "separation", swing.Plant).Words; len(w) != 3 || w[0].Word != "clear" {
			t.Errorf("a coil of 30 degrees in words: %v", w)
		}
		for _, m := range compute(t, s) {
			if strings.Contains(m.ID, "turn") && m.Event == swing.Contact {
				t.Errorf("%s is given at contact", m.ID)
			}
		}
	}
}

// The wider the interval, the less is said.
func TestWideTurns(t *testing.T) {
	flat := func(float64) float64 { return 0 }
	base := newHitter(nil).shoot(defaultFilm(swing.OpenSide))
	for sigma, want := range map[float64]swing.Status{8: swing.Measured, 13: swing.Weak, 16: swing.NotMeasurable} {
		if m := one(t, turned(base, sigma, flat, flat), "separation", swing.Plant); m.Status != want {
			t.Errorf("sigma %g: %s (%s), want %s", sigma, m.Status, m.Reason, want)
		}
	}
	s := turned(base, 5, flat, flat)
	s.Turns.Stance = false
	if m := one(t, s, "shoulder_turn_since_stance", swing.Plant); m.Status != swing.NotMeasurable {
		t.Errorf("since an unknown stance: %+v", m)
	}
	n := 0
	for _, m := range compute(t, base) {
		if m.Reason == noTurns {
			n++
		}
	}
	if n != len(turnMeasures()) {
		t.Errorf("without turns %d measures say so, want each once: %d", n, len(turnMeasures()))
	}
}

// A parabola's minimum is found; a sharp one better than a flat one.
func TestPeakOfTheCoil(t *testing.T) {
	base := newHitter(nil).shoot(defaultFilm(swing.OpenSide))
	flat := func(float64) float64 { return 0 }
	var widths []float64
	for _, bend := range []float64{4000, 400} {
		s := turned(base, 6, func(t float64) float64 { return -35 + bend*(t+0.06)*(t+0.06) }, flat)
		peak, at := one(t, s, "separation_peak", ""), one(t, s, "separation_peak_time", "")
		// With errors the lowest point lies somewhat below the lowest median.
		if peak.Value == nil || *peak.Value > -35 || *peak.Value < -43 || *peak.Sigma < 4 || *peak.Sigma > 6.5 {
			t.Errorf("bend %g: peak %+v", bend, peak)
		}
		w := newWork(s, DefaultOptions())
		p, why := w.separationPeak()
		if why != "" || math.Abs(p.time+0.06) > 0.021 {
			t.Errorf("bend %g: peak at %.3f s, want -0.06 %s", bend, p.time, why)
		}
		if at.Value != nil && math.Abs(*at.Value-1000*p.time) > 1e-6 {
			t.Errorf("the measure says %.0f ms, the peak lies at %.3f s", *at.Value, p.time)
		}
		widths = append(widths, p.timeSigma)
	}
	if !(widths[0] > 0.01 && widths[0] < 0.06 && widths[1] > widths[0]) {
		t.Errorf("errors of the time %.3f and %.3f s: a flat peak is less sharp", widths[0], widths[1])
	}
}

// The lifted bend of an elbow is taken where it is surer, from the open side alone.
func TestLiftedElbow(t *testing.T) {
	flat := func(float64) float64 { return 0 }
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		base := newHitter(nil).shoot(defaultFilm(v))
		s := turned(base, 5, flat, flat)
		own := one(t, base, "rear_elbow_flexion", swing.Plant)
		for _, sigma := range []float64{2, 60} {
			s.Turns.Angles[swing.RearElbowFlexion] = nil
			for range s.Turns.Times {
				s.Turns.Angles[swing.RearElbowFlexion] = append(s.Turns.Angles[swing.RearElbowFlexion], swing.Quantiles{77 - 1.645*sigma, 77 - sigma, 77, 77 + sigma, 77 + 1.645*sigma})
			}
			s.Turns.Angles[swing.LeadElbowFlexion] = s.Turns.Angles[swing.RearElbowFlexion]
			got := one(t, s, "rear_elbow_flexion", swing.Plant)
			if lifted := v == swing.OpenSide && sigma < 10; lifted != (*got.Value == 77) || lifted != (math.Abs(*got.Sigma-bendWider*sigma) < 1e-9) || !lifted && *got.Value != *own.Value {
				t.Errorf("%s, sigma %g: %.1f +- %.1f, without lifting %.1f +- %.1f", v, sigma, *got.Value, *got.Sigma, *own.Value, *own.Sigma)
			}
		}
	}
}

package swing_test

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

func TestWordsForAngles(t *testing.T) {
	for _, c := range []struct {
		got  [3]swing.Chance
		word string
		p    float64
	}{
		{swing.Facing(-30, 10), "closed", 0.977},
		{swing.Facing(0, 5), "level", 0.954},
		{swing.Facing(10, 8), "open", 0.5},
		{swing.Facing(25, 0), "open", 1},
		{swing.Coil(-40, 10), "clear", 0.977},
		{swing.Coil(-15, 2), "some", 0.988},
		{swing.Coil(5, 10), "none", 0.933},
	} {
		if c.got[0].Word != c.word || math.Abs(c.got[0].P-c.p) > 0.002 {
			t.Errorf("want %s %.3f, got %+v", c.word, c.p, c.got)
		}
		if s := c.got[0].P + c.got[1].P + c.got[2].P; math.Abs(s-1) > 1e-9 || c.got[0].P < c.got[1].P || c.got[1].P < c.got[2].P {
			t.Errorf("%+v: they must fall and sum to 1", c.got)
		}
	}
}

func TestTurnPathBetweenItsTimes(t *testing.T) {
	p := swing.TurnPath{Times: []float64{1, 1.02, 1.04}}
	for i := range p.Times {
		for a := range p.Angles {
			m := 10 * float64(i)
			p.Angles[a] = append(p.Angles[a], swing.Quantiles{m - 20, m - 10, m, m + 10, m + 20})
		}
	}
	q, ok := p.At(swing.Separation, 1.03)
	if !ok || math.Abs(q.Median()-15) > 1e-9 || math.Abs(q.Sigma()-20/1.645) > 1e-9 {
		t.Errorf("got %v %v: sigma is the wider of both intervals'", q, ok)
	}
	if q, ok := p.At(swing.HipTurn, 1.04); !ok || math.Abs(q.Median()-20) > 1e-9 {
		t.Errorf("at the last time: %v %v", q, ok)
	}
	for _, at := range []float64{0.99, 1.05, math.NaN()} {
		if _, ok := p.At(swing.HipTurn, at); ok {
			t.Errorf("a value at %g, outside of its times", at)
		}
	}
	if _, ok := (&swing.TurnPath{}).At(swing.HipTurn, 1); ok {
		t.Error("a value where nothing is known")
	}
}

func TestMeasuresInWords(t *testing.T) {
	if w := swing.InWords("lead_elbow_flexion", -30, 5); w != nil {
		t.Errorf("an elbow is %v", w)
	}
	for id, want := range map[string]string{"shoulder_turn": "closed", "hip_turn": "closed", "separation": "clear", "separation_peak": "clear"} {
		w := swing.InWords(id, -30, 8)
		if len(w) != 3 || w[0].Word != want {
			t.Errorf("%s of -30: %v, want %s first", id, w, want)
			continue
		}
		for _, c := range w {
			if d := 100 * c.P; math.Abs(d-math.Round(d)) > 1e-9 {
				t.Errorf("%s: probability %v is not in hundredths", id, c.P)
			}
		}
	}
}

package report

import (
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

func TestTurnsOnThePage(t *testing.T) {
	m := func(id string, e swing.EventName, v, s float64) swing.Measure {
		return swing.Measure{ID: id, Event: e, Value: &v, Sigma: &s, Unit: "deg", Status: swing.Measured}
	}
	s := swing.Swing{Measures: []swing.Measure{
		m("shoulder_turn", swing.Plant, -17, 6), m("hip_turn", swing.Plant, 3, 7), m("separation", swing.Plant, -20, 5),
		{ID: "hip_turn", Event: swing.Stance, Status: swing.NotMeasurable, Reason: "hidden"},
	}}
	got := turnsOf(&Picture{Type: "image/jpeg", Data: []byte("x")}, s)
	if got == nil || len(got.Rows) != 3 || got.Two != "" {
		t.Fatalf("%+v", got)
	}
	for i, want := range []string{"turned in, −17° ± 6°", "about level, +3° ± 7°", "coiled, −20° ± 5°"} {
		if got.Rows[i].Value != want {
			t.Errorf("%q, want %q", got.Rows[i].Value, want)
		}
	}
	if alt := got.Plan.Alt; !strings.Contains(alt, "from above") || !strings.Contains(alt, "shoulders turned in by 17 degrees") {
		t.Errorf("the picture is described as %q", alt)
	}
	s.Views = &swing.TwoViews{Partner: swing.ViewRef{File: "rear.mov"}, OffsetSigma: 0.0042}
	if got := turnsOf(nil, s); !strings.Contains(got.Two, "rear.mov") || !strings.Contains(got.Two, "5 ms") || got.Plan != nil {
		t.Errorf("%+v", got)
	}
	if turnsOf(nil, swing.Swing{}) != nil {
		t.Error("a part without content")
	}
}

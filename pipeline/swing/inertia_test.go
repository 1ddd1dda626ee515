package swing

import (
	"math"
	"strings"
	"testing"
)

func TestCloserBarrel(t *testing.T) {
	// A cut by 31 % is a ratio of 1/.69; sqrt(.69) = .8307.
	got := CloserBarrel(0.57, 0.45, 1/0.69)
	want := "bringing the barrel 12 cm closer cuts the inertia by 31 %, about 17 % less time for the same turn at equal torque"
	if !strings.HasPrefix(got, want) || !strings.Contains(got, "assumed bat") {
		t.Errorf("got %q", got)
	}
	for _, c := range [][3]float64{
		{0.45, 0.45, 1}, {0.40, 0.45, 0.8}, {0.57, 0.45, math.NaN()}, {math.NaN(), 0.45, 1.2}, {0.57, 0.45, math.Inf(1)}, {0.57, 0.45, -1},
	} {
		if s := CloserBarrel(c[0], c[1], c[2]); s != "" {
			t.Errorf("%v says %q", c, s)
		}
	}
	if i, s := TurnSaving(4); i != 0.75 || s != 0.5 {
		t.Errorf("a quarter of the inertia saves %v, %v of the time", i, s)
	}
}

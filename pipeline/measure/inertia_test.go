package measure

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

// The bat about the body's axis: rows bat_I_axis* (parallel axis rule, worked by
// hand for a bat of 31 oz whose moment about 6 inches is 9000 oz in2, balance point
// 21 in) and the uniform rod. The moment at 6 inches is the one of ASTM F2398.
func TestBatInertiaTable(t *testing.T) {
	known := checks(t)
	const inch, ounce = 0.0254, 0.028349523125
	unit := ounce * inch * inch
	near(t, "oz_in2_to_kg_m2", unit, 1.8289978e-5, 1e-11) // row oz_in2_to_kg_m2
	b := BatByPivot(31*ounce, 21*inch, 6*inch, 9000*unit)
	near(t, "bat_I_axis", b.AboutVertical(0.35, 90), answer(t, known, "bat_I_axis")[0], 1e-4)
	near(t, "bat_I_axis_flat", b.AboutVertical(0.35, 0), answer(t, known, "bat_I_axis_flat")[0], 1e-4)
	near(t, "bat_I_axis_far", b.AboutVertical(0.55, 90), answer(t, known, "bat_I_axis_far")[0], 1e-4)

	rod := Bat{Mass: 0.85, Balance: 0.42, Inertia: 0.85 * 0.84 * 0.84 / 12}
	near(t, "rod_I_cm", rod.AboutVertical(0, 0), answer(t, known, "rod_I_cm")[0], 1e-9)
	near(t, "rod_I_knob", rod.AboutVertical(0.42, 0), answer(t, known, "rod_I_knob")[0], 1e-9)
	six := answer(t, known, "rod_I_6in")[0]
	near(t, "rod_I_6in", rod.AboutVertical(0.42-sixInches, 0), six, 1e-8)
	near(t, "rod back from 6 in", BatByPivot(0.85, 0.42, sixInches, six).Inertia, rod.Inertia, 1e-8)
}

// Arms and bat in space against sums written out, in a posture whose distances are
// plain numbers.
func TestSegmentInertia(t *testing.T) {
	s := swing.Segment{Mass: 0.02, Centre: 0.5, Gyration: 0.3}
	// Lying along X from .2 to .6 m: centre .4 m out, own part .3^2 .4^2.
	near(t, "lying", segmentInertia(s, 80, vec{0.2, 0, 1}, vec{0.6, 0, 1}), 1.6*(0.09*0.16+0.16), 1e-12)
	// Upright .3 m to the plate: only the distance counts.
	near(t, "upright", segmentInertia(s, 80, vec{0, 0.3, 1}, vec{0, 0.3, 1.4}), 1.6*0.09, 1e-12)
}

// The ratio is 1 at the reference distance, and grows with the barrel's distance as
// the parallel axis rule says.
func TestInertiaRatio(t *testing.T) {
	h := newHitter(nil)
	f := defaultFilm(swing.OpenSide)
	s := h.withBat(f, h.shoot(f))
	o := DefaultOptions()
	o.HeightM = 1.8
	w := newWork(s, o)
	b := w.bat(swing.Plant).pose[0]
	p := posture{w, 0}
	d := flatLength(b.along(w.sweetSpot()))
	w.o.ReferenceDistance = d / p.stature()
	now, same := p.inertia(&b, swing.Plant)
	near(t, "at the reference", now, same, 1e-12)
	w.o.ReferenceDistance *= 0.8
	_, closer := p.inertia(&b, swing.Plant)
	m := 1.8 / p.stature()
	u := b.along(w.sweetSpot()).scale(0.2)
	c := b.along(w.o.BatBalance)
	moved := vec{c.x - u.x, c.y - u.y, 0}
	want := w.o.BatMassKg * m * m * (flatLength(c)*flatLength(c) - flatLength(moved)*flatLength(moved))
	near(t, "a fifth closer", now-closer, want, 1e-12)
	if math.Abs(want) < 0.01 {
		t.Fatalf("the test moves nothing: %v", want)
	}
}

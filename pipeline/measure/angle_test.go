package measure

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

func TestAngleConventions(t *testing.T) {
	known := checks(t)
	p := func(x, y float64) swing.Point { return swing.Point{X: x, Y: y} }
	// The rows give the interior angle and the flexion; both sum to 180.
	for _, c := range []struct {
		name    string
		a, b, c swing.Point
	}{
		{"elbow_angle_convention", p(0, 0), p(1, 0), p(1, 1)},
		{"elbow_straight", p(0, 0), p(1, 0), p(2, 0)},
	} {
		want := answer(t, known, c.name)
		f := PictureFlexion(c.a, c.b, c.c)
		near(t, c.name+" flexion", f, want[1], 1e-9)
		near(t, c.name+" interior", 180-f, want[0], 1e-9)
	}
	near(t, "folded", PictureFlexion(p(0, 0), p(1, 0), p(0, 0)), 180, 1e-9)
	near(t, "no length", PictureFlexion(p(0, 0), p(0, 0), p(1, 0)), 0, 0)
	near(t, "upright", fromUp(p(5, 9), p(5, 2)), 0, 1e-12)
	near(t, "leaning to larger x", fromUp(p(5, 9), p(8, 6)), 45, 1e-12)
	near(t, "leaning to smaller x", fromUp(p(5, 9), p(2, 6)), -45, 1e-12)
	near(t, "beside, larger x", beside(p(3, 5), p(0, 9), p(0, 1)), 3, 1e-12)
	near(t, "beside, smaller x", beside(p(-2, 5), p(0, 9), p(0, 1)), -2, 1e-12)
}

// A right angle that is symmetric about the axis it is turned about reads
// 2 atan(tan 45 cos phi): the size of the error that a picture's angle carries.
func TestProjectionOfATurnedRightAngle(t *testing.T) {
	known := checks(t)
	for _, c := range []struct{ phi, want float64 }{
		{10, 89.12},
		{20, 86.44},
		{30, answer(t, known, "projection_90_phi30")[0]},
		{45, 70.53},
		{60, 53.13},
	} {
		k := math.Cos(radians(c.phi))
		// Arms of the right angle at +-45 degrees to the horizontal axis of turn.
		a := swing.Point{X: 1, Y: k}
		b := swing.Point{X: 1, Y: -k}
		interior := 180 - PictureFlexion(a, swing.Point{}, b)
		near(t, "right angle turned", interior, c.want, 0.01)
		near(t, "formula", interior, 2*degrees(math.Atan(math.Tan(radians(45))*k)), 1e-9)
	}
	// The same angle in space does not change.
	u, v := vec{1, 0, 1}, vec{1, 0, -1}
	phi := radians(30)
	turn := func(a vec) vec {
		return vec{a.x, a.y*math.Cos(phi) - a.z*math.Sin(phi), a.y*math.Sin(phi) + a.z*math.Cos(phi)}
	}
	near(t, "in space", bend(turn(u), turn(v)), 90, 1e-9)
}

package swing

import (
	"fmt"
	"math"
)

// CloserBarrel says in plain words what a barrel nearer to the body's axis is
// worth, such as "bringing the barrel 12 cm closer cuts the inertia by 31 %, about
// 17 % less time for the same turn at equal torque (assumed bat; arms left as they
// are)".
//
// distance and reference are the sweet spot's distances from the vertical through
// the centre of mass, now and then, m; ratio is the moment of inertia now over
// then (measure swing_inertia_ratio). A body that is turned from rest by an equal
// torque takes a time in proportion to the root of its inertia. It returns "" when
// the barrel is no farther out than the reference, by a centimetre or a hundredth of
// the inertia, or when a number makes no sense.
func CloserBarrel(distance, reference, ratio float64) string {
	closer := math.Round(100 * (distance - reference))
	cut, less := TurnSaving(ratio)
	if !(closer >= 1) || !(cut >= 0.005) || math.IsInf(closer, 0) || math.IsInf(ratio, 0) {
		return ""
	}
	return fmt.Sprintf("bringing the barrel %.0f cm closer cuts the inertia by %.0f %%, about %.0f %% less time for the same turn at equal torque (assumed bat; arms left as they are)",
		closer, 100*cut, 100*less)
}

// TurnSaving returns which shares of the moment of inertia and of the time for the
// same turn from rest at equal torque are saved by dividing the inertia by ratio:
// 1 - 1/ratio and, with t ~ sqrt(I), 1 - 1/sqrt(ratio).
func TurnSaving(ratio float64) (inertia, time float64) {
	if !(ratio > 0) {
		return 0, 0
	}
	return 1 - 1/ratio, 1 - 1/math.Sqrt(ratio)
}

package measure

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options are the settings of Compute.
type Options struct {
	// HeightM is the hitter's standing height, m. Default 0 = unknown; lengths
	// are then given in stature only. When known, each length is given a
	// second time in metres under its id + "_m".
	HeightM float64
	// Sex chooses the body segment table for the centre of mass: "male",
	// "female", or "" (default) for the mean of both. The choice moves the
	// centre of mass by about 0.01 stature.
	Sex string
	// BatLengthM, BatMassKg, BatBalance and BatInertia describe the bat where
	// nothing better is known; common practice, no source: 0.84 m (33 inches),
	// 0.85 kg, its centre of mass at 0.62 of the length from the knob, and a
	// moment of inertia of 0.165 kg m2 about a point 6 inches from the knob (9000
	// oz in2, the middle of what adults' bats have). A longer, heavier bat or one
	// with its mass nearer the tip has more inertia.
	BatLengthM, BatMassKg, BatBalance, BatInertia float64
	// SweetSpotM is the distance of the barrel's sweet spot from the tip, m.
	// Default 0.15 (common practice, no source). Larger = nearer to the hands,
	// so smaller distances.
	SweetSpotM float64
	// ReferenceDistance is the distance of the sweet spot from the body's axis
	// that swing_inertia_ratio compares with, statures. Default 0.25: the barrel
	// just behind the rear shoulder (common practice, no source). Larger =
	// smaller ratios.
	ReferenceDistance float64
	// BodyMassKg is the hitter's mass, kg, for the arms' part of the inertia.
	// Default 0 = 22 kg/m2 times the height squared.
	BodyMassKg float64
	// Draws is the number of Monte Carlo draws. Default 400: sigma is then
	// itself good to about 4 %. More is slower in proportion.
	Draws int
	// Seed starts the random numbers. Default 1. Results change with it by a
	// small part of their sigma.
	Seed uint64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{
		BatLengthM: 0.84, BatMassKg: 0.85, BatBalance: 0.62, BatInertia: 0.165, SweetSpotM: 0.15,
		ReferenceDistance: 0.25, Draws: 400, Seed: 1,
	}
}

// Validate returns an error of kind usage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(hint, format string, a ...any) error {
		return &swing.Error{Op: "measure.Options", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...), Hint: hint}
	}
	switch {
	case !(o.HeightM == 0 || (o.HeightM >= 0.8 && o.HeightM <= 2.5)):
		return bad("give the height in metres, such as 1.78, or leave it out",
			"the hitter's height is %g m; it must lie between 0.8 and 2.5", o.HeightM)
	case o.Sex != "" && o.Sex != "male" && o.Sex != "female":
		return bad("leave it out to use the mean of both", "the body table is %q; it must be male or female", o.Sex)
	case !(o.BatLengthM >= 0.4 && o.BatLengthM <= 1.1):
		return bad("give it in metres, such as 0.84", "the bat's length is %g m; it must lie between 0.4 and 1.1", o.BatLengthM)
	case !(o.BatMassKg >= 0.2 && o.BatMassKg <= 2):
		return bad("give it in kilograms, such as 0.85", "the bat's mass is %g kg; it must lie between 0.2 and 2", o.BatMassKg)
	case !(o.BatBalance >= 0.4 && o.BatBalance <= 0.9):
		return bad("give it as a share of the length from the knob, such as 0.62", "the bat's balance point is %g; it must lie between 0.4 and 0.9", o.BatBalance)
	case !(o.bat().Inertia > 0 && o.bat().Inertia < 0.2*o.BatMassKg*o.BatLengthM*o.BatLengthM):
		return bad("give the moment of inertia about a point 6 inches from the knob, kg m2, such as 0.165",
			"the bat's moment of inertia of %g kg m2 does not fit its mass, length and balance point", o.BatInertia)
	case !(o.SweetSpotM >= 0 && o.SweetSpotM <= 0.5*o.BatLengthM):
		return bad("give it in metres from the tip, such as 0.15", "the sweet spot is %g m from the tip; it must lie in the barrel's half of the bat", o.SweetSpotM)
	case !(o.ReferenceDistance > 0 && o.ReferenceDistance <= 0.6):
		return bad("give it in statures, such as 0.25", "the reference distance is %g statures; it must lie between 0 and 0.6", o.ReferenceDistance)
	case !(o.BodyMassKg == 0 || (o.BodyMassKg >= 15 && o.BodyMassKg <= 200)):
		return bad("give it in kilograms, or leave it out", "the hitter's mass is %g kg; it must lie between 15 and 200", o.BodyMassKg)
	case o.Draws < 50 || o.Draws > 20000:
		return bad("", "the number of draws is %d; it must lie between 50 and 20000", o.Draws)
	}
	return nil
}

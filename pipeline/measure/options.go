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
	// Draws is the number of Monte Carlo draws. Default 400: sigma is then
	// itself good to about 4 %. More is slower in proportion.
	Draws int
	// Seed starts the random numbers. Default 1. Results change with it by a
	// small part of their sigma.
	Seed uint64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options { return Options{Draws: 400, Seed: 1} }

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
	case o.Draws < 50 || o.Draws > 20000:
		return bad("", "the number of draws is %d; it must lie between 50 and 20000", o.Draws)
	}
	return nil
}

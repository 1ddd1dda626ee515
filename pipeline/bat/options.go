package bat

import (
	"fmt"
	"math"
)

// Options steer the search.
type Options struct {
	// Reach is half the side of the square round the hands that is searched,
	// torso lengths. Default 2.2: a bat's tip is up to 1.9 torsos from the
	// hands of a child. Larger = longer bats, less exact.
	Reach float64
	// MaxAbsent is the probability that there is no bat from which a frame
	// says so. Default 0.5. Larger = more sights, more of them wrong.
	MaxAbsent float64
	// MinMass is the probability that the likeliest place of the tip must
	// hold. Default 0.5. Larger = fewer sights, fewer of them wrong.
	MinMass float64
	// MinShare is the share of frames with a bat under which a swing counts
	// as one without: a stray sight in the hands of a pitcher is no bat.
	// Default 0.25, of the frames up to the fastest hands.
	MinShare float64
	// MaxSigma is the direction error, degrees, from which a sight says
	// nothing. Default 30.
	MaxSigma float64
	// LengthM is the bat's length, m. Default 0 = not known; with the
	// hitter's height it gives the length in the picture.
	LengthM float64
	// HeightM is the hitter's height, m. Default 0 = not known.
	HeightM float64
}

// DefaultOptions returns the defaults described at Options.
func DefaultOptions() Options {
	return Options{Reach: 2.2, MaxAbsent: 0.5, MinMass: 0.5, MinShare: 0.25, MaxSigma: 30}
}

// Validate reports the first setting that makes no sense.
func (o Options) Validate() error {
	for _, v := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"reach", o.Reach, 0.5, 6},
		{"max absent", o.MaxAbsent, 0, 1},
		{"min mass", o.MinMass, 0, 1},
		{"min share", o.MinShare, 0, 1},
		{"max sigma", o.MaxSigma, 1, 180},
		{"length", o.LengthM, 0, 1.5},
		{"height", o.HeightM, 0, 2.6},
	} {
		if math.IsNaN(v.v) || v.v < v.lo || v.v > v.hi {
			return fmt.Errorf("bat: %s is %g, it must lie in %g..%g", v.name, v.v, v.lo, v.hi)
		}
	}
	return nil
}

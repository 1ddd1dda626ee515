package fuse

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options are the settings of Swings.
type Options struct {
	// Draws is the number of disturbed adjustments that uncertainty is taken
	// from. Default 40: sigma is then good to a tenth. More = steadier, slower.
	Draws int
	// Seed of the random numbers: equal input gives equal output. Default 1.
	Seed uint64
	// Alike is how much of the motion of heights in one clip must be found in
	// the other for both to show one swing, share of its variance. Default
	// 0.85; two swings of one hitter share less. Larger = fewer
	// wrong pairs, more that are missed.
	Alike float64
	// MaxDistance is the largest difference of two events between the clips,
	// after setting the clocks, in standard deviations. Default 3: one of
	// five normal errors is beyond it in a hundredth of all pairs.
	MaxDistance float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{Draws: 40, Seed: 1, Alike: 0.85, MaxDistance: 3}
}

// Validate returns an error of kind usage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(format string, a ...any) error {
		return &swing.Error{Op: "fuse.Options", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...)}
	}
	switch {
	case o.Draws < 10 || o.Draws > 1000:
		return bad("the number of draws is %d; it must lie between 10 and 1000", o.Draws)
	case !(o.Alike >= 0.3 && o.Alike <= 0.99):
		return bad("the share of motion in common is %g; it must lie between 0.3 and 0.99", o.Alike)
	case !(o.MaxDistance >= 2 && o.MaxDistance <= 20):
		return bad("the distance of events is %g sigmas; it must lie between 2 and 20", o.MaxDistance)
	}
	return nil
}

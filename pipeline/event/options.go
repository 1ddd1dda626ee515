package event

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options are the settings of Detect.
type Options struct {
	// Bats is the side the hitter bats from; "" decides by the motion.
	Bats swing.Bats
	// View is where the camera stands; "" decides by the picture.
	View swing.View
	// MinHandSpeed is the lowest peak speed of the hands relative to the hips,
	// seen in the picture, that can be a swing, stature/s. Default 1.6: adults
	// reach 4 to 5 and children 3, of which the rear view shows at least half;
	// waggles and walking stay below 1.
	MinHandSpeed float64
	// MaxHandsApart is the largest median distance of the hands during the
	// last 0.2 s before peak speed, stature. Default 0.16: on a bat they are
	// 0.05 apart, the rest is error of the network under blur.
	MaxHandsApart float64
	// MinSweep is the shortest way of the hands past the body around peak
	// speed, stature. Default 0.3: a swing takes them from behind the rear
	// shoulder round to the front, about half a stature, a throw-in of the
	// hands or a check of the grip much less.
	MinSweep float64
	// Level is how near the ankle must be to its lowest level at plant,
	// stature. Default 0.006 (1 cm for an adult), by definition of plant.
	Level float64
	// Speed is how slow the ankle must be at plant, stature/s. Default 0.29
	// (0.5 m/s for an adult), by definition of plant.
	Speed float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{MinHandSpeed: 1.6, MaxHandsApart: 0.16, MinSweep: 0.3, Level: 0.006, Speed: 0.29}
}

// Validate returns an error of kind usage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(format string, a ...any) error {
		return &swing.Error{Op: "event.Options", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...)}
	}
	switch {
	case o.Bats != "" && o.Bats != swing.Right && o.Bats != swing.Left:
		return bad("batting side is %q; it must be R, L or empty", o.Bats)
	case o.View != "" && o.View != swing.OpenSide && o.View != swing.Rear:
		return bad("view is %q; it must be open-side, rear or empty", o.View)
	case !(o.MinHandSpeed > 0):
		return bad("lowest hand speed is %g; it must be above 0", o.MinHandSpeed)
	case !(o.MaxHandsApart > 0):
		return bad("largest distance of the hands is %g; it must be above 0", o.MaxHandsApart)
	case !(o.MinSweep >= 0):
		return bad("shortest sweep is %g; it must not be negative", o.MinSweep)
	case !(o.Level > 0 && o.Level < 0.1):
		return bad("plant level is %g; it must lie between 0 and 0.1 stature", o.Level)
	case !(o.Speed > 0 && o.Speed < 5):
		return bad("plant speed is %g; it must lie between 0 and 5 stature/s", o.Speed)
	}
	return nil
}

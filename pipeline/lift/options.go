package lift

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options are the settings of Path.
type Options struct {
	// CameraYaw is how far the camera stands off its place, degrees: 0 = square
	// to the line plate-pitcher (open-side) or on that line (rear), + =
	// counter-clockwise seen from above, for a right-handed hitter; for a
	// left-handed one the mirror image. Used when CameraYawSigma is set.
	CameraYaw float64
	// CameraYawSigma is the one-sigma error of CameraYaw, degrees, 1 to 10.
	// Default 0 = the camera's place is not known; the network then guesses it
	// from the feet.
	CameraYawSigma float64
	// WidenOpen and WidenRear multiply all intervals, open-side and from
	// behind, on top of what widen.go says of single angles. Default 1. Larger =
	// more honest and less said.
	WidenOpen, WidenRear float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options { return Options{WidenOpen: 1, WidenRear: 1} }

// Validate returns an error of kind usage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(format string, a ...any) error {
		return &swing.Error{Op: "lift.Options", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...)}
	}
	switch {
	case !(o.CameraYawSigma == 0 || (o.CameraYawSigma >= 1 && o.CameraYawSigma <= 10)):
		return bad("the error of the camera's yaw is %g degrees; it must lie between 1 and 10, or be 0 when the yaw is not known", o.CameraYawSigma)
	case !(o.CameraYaw >= -60 && o.CameraYaw <= 60):
		return bad("the camera's yaw is %g degrees; it must lie between -60 and 60", o.CameraYaw)
	case !(o.WidenOpen >= 1 && o.WidenOpen <= 5) || !(o.WidenRear >= 1 && o.WidenRear <= 5):
		return bad("intervals are widened %g and %g times; both must lie between 1 and 5", o.WidenOpen, o.WidenRear)
	}
	return nil
}

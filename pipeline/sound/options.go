package sound

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options are the settings of Listen.
type Options struct {
	// Distance is the way from the hitter to the microphone, m. Default 0:
	// from the hitter's height in the picture. Set it when the microphone is
	// not at the camera.
	Distance float64
	// Focal is the assumed focal length in long sides of the picture.
	// Default 0.8, a lens of about 28 mm in 35 mm terms, as phones have
	// (common practice, no source). Longer puts the hitter farther away.
	Focal float64
	// Celsius is the temperature of the air, degrees. Default 20; ten more
	// make sound 1.7 % faster, 0.2 ms over five metres.
	Celsius float64
	// MaxRate is the rate, per second, up to which sounds like a crack are
	// reported: what a clip holds more often by itself says nothing. Default
	// 2. Higher reports fainter sounds; the event stage weighs each by its
	// rate anyway.
	MaxRate float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{Focal: 0.8, Celsius: 20, MaxRate: 2}
}

// Validate returns an error of kind usage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(format string, a ...any) error {
		return &swing.Error{Op: "sound.Options", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...)}
	}
	switch {
	case !(o.Distance >= 0 && o.Distance <= 200):
		return bad("distance of the microphone is %g m; it must lie between 0 and 200", o.Distance)
	case !(o.Focal >= 0.2 && o.Focal <= 20):
		return bad("focal length is %g long sides; it must lie between 0.2 and 20", o.Focal)
	case !(o.Celsius >= -40 && o.Celsius <= 60):
		return bad("temperature is %g degrees; it must lie between -40 and 60", o.Celsius)
	case !(o.MaxRate > 0 && o.MaxRate <= 50):
		return bad("highest rate of cracks is %g a second; it must lie between 0 and 50", o.MaxRate)
	}
	return nil
}

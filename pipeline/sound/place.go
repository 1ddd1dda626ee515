package sound

import "math"

// Place is what is known of where the hitter stands; the zero value knows
// nothing.
type Place struct {
	Stature  float64 // hitter's standing height in the picture, px
	LongSide float64 // long side of the picture, px
	HeightM  float64 // hitter's body height, m; 0 = not known
}

const (
	// usualHeight stands in for a height that was not given, m, and
	// heightSpread is its one-sigma error as a share: from a child of 1.4 to
	// an adult of 1.9 m (common practice, no source).
	usualHeight, heightSpread = 1.70, 0.12
	// statureSpread is the error of the height in the picture, as a share.
	statureSpread = 0.05
	// focalSpread is how much lenses differ from the assumed one, as a share:
	// phones' main cameras have 24 to 30 mm in 35 mm terms and crop a tenth
	// to a third for steadying and slow motion (common practice, no source).
	focalSpread = 0.15
	// usualDistance and its error stand in when nothing is known, m: a
	// hitter fills the picture at 4 to 10 m.
	usualDistance, usualSpread = 6.5, 2.0
	// givenSpread is the error of a distance that was given, as a share.
	givenSpread = 0.05
	// stepSpread is how much the ball's and the microphone's place differ
	// from hitter and lens, m.
	stepSpread = 0.4
	// clockSpread is how far sound and picture of a phone are apart, s, one
	// sigma: buffers of the microphone, and the time in which a rolling
	// shutter reads the rows from the top to the hitter (common practice, no
	// source).
	clockSpread = 0.003
)

// SpeedOfSound returns the speed of sound in air, m/s, at a temperature in
// degrees Celsius: that of an ideal gas, c = sqrt(gamma R T / M) = 331.3
// sqrt(1 + celsius/273.15) (Kinsler, Frey, Coppens, Sanders, Fundamentals of
// Acoustics; value from memory); 343.2 at 20 degrees. Moisture adds 0.4 % at
// most.
func SpeedOfSound(celsius float64) float64 { return 331.3 * math.Sqrt(1+celsius/273.15) }

// delay returns how long sound takes from the hitter to the microphone, and
// the one-sigma error of that and of the clip's clocks, s. The distance is
// that of a pinhole camera: focal length times height over height in the
// picture.
func (p Place) delay(o Options) (s, sigma float64) {
	d, sd := usualDistance, usualSpread
	switch {
	case o.Distance > 0:
		d, sd = o.Distance, givenSpread*o.Distance
	case p.Stature > 0 && p.LongSide > 0:
		h, share := p.HeightM, statureSpread
		if !(h > 0) {
			h, share = usualHeight, math.Hypot(statureSpread, heightSpread)
		}
		d = o.Focal * p.LongSide * h / p.Stature
		sd = math.Hypot(d*math.Hypot(share, focalSpread), stepSpread)
	}
	c := SpeedOfSound(o.Celsius)
	return d / c, math.Hypot(sd/c, clockSpread)
}

package camera

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options steer the search for camera motion. The zero value of a field means
// its default.
type Options struct {
	// MaxSide bounds the long side of the picture that is searched, px.
	// Pictures are halved until they fit. Default 480: corners are placed to
	// a few hundredths of its pixels, a tenth of a pixel at 720p, far below
	// what the networks place joints to. Higher is slower and more exact.
	MaxSide int
	// Focal is the assumed focal length in long sides of the picture.
	// Default 0.8, a lens of about 28 mm in 35 mm terms, as phones have
	// (common practice, no source). It decides only how much more the edges
	// of the picture move than its middle when the camera turns.
	Focal float64
	// Corners is the largest number of background corners followed. Default
	// 80: the error of the fit falls with the square root of it, and the time
	// grows with it.
	Corners int
	// MinCorners is the smallest number of corners that must agree. Default
	// 12, three times the unknowns of a view.
	MinCorners int
	// Still is the motion, in long sides of the picture, below which the
	// camera counts as still. Default 0.0008, one pixel at 720p: less than
	// the networks' noise, and about what flicker and compression of a
	// tripod clip feign.
	Still float64
	// Interval is the least time between frames that are looked at, s; those
	// between are interpolated. Default 0.012: every frame at 60 a second,
	// every third at 240. Hands shake at up to 12 Hz (physiological tremor,
	// from memory), which 60 views a second describe well.
	Interval float64
}

// DefaultOptions returns the defaults described at Options.
func DefaultOptions() Options {
	return Options{MaxSide: 480, Focal: 0.8, Corners: 80, MinCorners: 12, Still: 0.0008, Interval: 0.012}
}

// Validate reports the first setting that makes no sense.
func (o Options) Validate() error {
	switch {
	case o.MaxSide < 0 || (o.MaxSide > 0 && o.MaxSide < 64):
		return fmt.Errorf("camera max side is %d px, it must be 64 or more", o.MaxSide)
	case o.Focal < 0 || (o.Focal > 0 && o.Focal < 0.2):
		return fmt.Errorf("camera focal is %g, it must be 0.2 or more", o.Focal)
	case o.Corners < 0 || o.MinCorners < 0:
		return fmt.Errorf("a number of corners is negative")
	case o.MinCorners > 0 && o.MinCorners < 6:
		return fmt.Errorf("camera min corners is %d, it must be 6 or more", o.MinCorners)
	case o.Interval < 0 || o.Interval > 0.2:
		return fmt.Errorf("camera interval is %g s, it must be 0 to 0.2", o.Interval)
	case o.Still < 0:
		return fmt.Errorf("camera still is %g, it must not be negative", o.Still)
	}
	return nil
}

// withDefaults fills zero fields.
func (o Options) withDefaults() Options {
	d := DefaultOptions()
	if o.MaxSide == 0 {
		o.MaxSide = d.MaxSide
	}
	if o.Focal == 0 {
		o.Focal = d.Focal
	}
	if o.Corners == 0 {
		o.Corners = d.Corners
	}
	if o.MinCorners == 0 {
		o.MinCorners = d.MinCorners
	}
	if o.Interval == 0 {
		o.Interval = d.Interval
	}
	if o.Still == 0 {
		o.Still = d.Still
	}
	return o
}

// fail builds the one error an exported function returns.
func fail(op string, frame int, kind swing.Kind, msg string, cause error) *swing.Error {
	return &swing.Error{Op: op, Frame: frame, Kind: kind, Msg: msg, Err: cause}
}

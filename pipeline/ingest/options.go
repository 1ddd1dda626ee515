package ingest

import (
	"fmt"
	"math"
	"time"

	"plantframe/pipeline/swing"
)

// Options are the limits and programs used to read clips. The zero value of a
// field means its default.
type Options struct {
	// FFmpeg and FFprobe name the programs; a bare name is looked up in PATH.
	// Defaults "ffmpeg" and "ffprobe".
	FFmpeg, FFprobe string
	// MaxPixels is the largest picture that is decoded, px (width x height).
	// Default 7680*4320: 8K, the largest that phones and cameras write. One
	// such picture is 100 MB; raise it only with the memory for four.
	MaxPixels int
	// MinFrames is the smallest number of frames that a clip must hold.
	// Default 10: the time from first ground contact to the hit is about
	// five frames at 30 fps, and a smoothing filter needs as many around it.
	MinFrames int
	// ProbeTimeout limits the time a description may take. Default 60 s,
	// enough to read an hour of film from a slow disk.
	ProbeTimeout time.Duration
	// StallTimeout limits the wait for one picture. Default 60 s: decoding
	// starts at a key picture, which may lie hundreds of pictures earlier.
	StallTimeout time.Duration
}

// DefaultOptions returns the defaults described at Options.
func DefaultOptions() Options {
	return Options{
		FFmpeg:       "ffmpeg",
		FFprobe:      "ffprobe",
		MaxPixels:    7680 * 4320,
		MinFrames:    10,
		ProbeTimeout: time.Minute,
		StallTimeout: time.Minute,
	}
}

// Validate reports the first setting that makes no sense.
func (o Options) Validate() error {
	switch {
	case o.MaxPixels < 0:
		return fmt.Errorf("max pixels is %d, it must be positive", o.MaxPixels)
	case o.MinFrames < 0:
		return fmt.Errorf("min frames is %d, it must be positive", o.MinFrames)
	case o.ProbeTimeout < 0 || o.StallTimeout < 0:
		return fmt.Errorf("a time limit is negative")
	}
	return nil
}

// withDefaults fills zero fields.
func (o Options) withDefaults() Options {
	d := DefaultOptions()
	if o.FFmpeg == "" {
		o.FFmpeg = d.FFmpeg
	}
	if o.FFprobe == "" {
		o.FFprobe = d.FFprobe
	}
	if o.MaxPixels == 0 {
		o.MaxPixels = d.MaxPixels
	}
	if o.MinFrames == 0 {
		o.MinFrames = d.MinFrames
	}
	if o.ProbeTimeout == 0 {
		o.ProbeTimeout = d.ProbeTimeout
	}
	if o.StallTimeout == 0 {
		o.StallTimeout = d.StallTimeout
	}
	return o
}

// OpenOptions say which part of a clip is decoded and how large.
type OpenOptions struct {
	// MaxSide is the long side of delivered pictures, px. Smaller pictures
	// are delivered as they are. 0, the default, delivers full size.
	MaxSide int
	// From and To bound the presentation times delivered, s: From <= t < To.
	// To = 0, the default, means the end. Times and indices are the same as
	// in a decode of the whole clip.
	From, To float64
	// Threads is the number of threads that ffmpeg decodes with. 0, the
	// default, lets ffmpeg use every core.
	Threads int
	// Want says which frames are delivered, by their index in the container's
	// list, when the clip has one (Clip.List) with times for all; the others are
	// decoded and dropped at once, which spares most of their cost. nil, the
	// default, wants all. It may be ignored, and in a clip with pictures that
	// cannot be decoded other frames come: leave it nil for a damaged clip.
	Want func(index int) bool
	// Options are the limits and programs; its zero value is DefaultOptions.
	Options Options
}

// Validate reports the first setting that makes no sense.
func (o OpenOptions) Validate() error {
	switch {
	case o.MaxSide < 0 || (o.MaxSide > 0 && o.MaxSide < 16):
		return fmt.Errorf("max side is %d px, it must be 16 or more, or 0 for full size", o.MaxSide)
	case math.IsNaN(o.From) || math.IsInf(o.From, 0) || math.IsNaN(o.To) || math.IsInf(o.To, 0):
		return fmt.Errorf("the time window is not a number")
	case o.To != 0 && o.To <= o.From:
		return fmt.Errorf("the time window ends at %g s, before it starts at %g s", o.To, o.From)
	case o.Threads < 0:
		return fmt.Errorf("threads is %d, it must be positive, or 0 for all cores", o.Threads)
	}
	return o.Options.Validate()
}

// fail builds the one error an exported function returns.
func fail(op, clip string, kind swing.Kind, msg, hint string, cause error) *swing.Error {
	return &swing.Error{Op: op, Clip: clip, Frame: -1, Kind: kind, Msg: msg, Hint: hint, Err: cause}
}

package pipeline

import (
	"fmt"
	"math"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/camera"
	"plantframe/pipeline/event"
	"plantframe/pipeline/fuse"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/lift"
	"plantframe/pipeline/measure"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/sound"
	"plantframe/pipeline/track"
)

// Options are the settings of all stages.
type Options struct {
	Ingest  ingest.Options
	Camera  camera.Options
	Pose    pose.Options
	Track   track.Options
	Bat     bat.Options
	Sound   sound.Options
	Event   event.Options
	Lift    lift.Options
	Measure measure.Options
	Judge   judge.Options
	Fuse    fuse.Options
	// DecodeSide is the long side, px, of the pictures that the large network
	// and the camera stage work on. Default 1920: a hitter who fills half of
	// it covers the network's 256 px crop three times over; 0 = full size.
	DecodeSide int
	// ScanSide is the long side, px, of the pictures of the coarse pass.
	// Default 960. Smaller = faster, distant hitters are lost.
	ScanSide int
	// PoseRate is how many frames a second the large network looks at, Hz, in
	// a clip that has 1.6 times as many or more; round the landing and the
	// swing it looks at all. Default 60; 0 = every frame everywhere.
	PoseRate float64
	// DecodeThreads is the number of threads ffmpeg decodes with. Default 1;
	// 0 = all cores. Decoding runs beside the networks.
	DecodeThreads int
}

// DefaultOptions returns the defaults of all stages.
func DefaultOptions() Options {
	return Options{
		Ingest:        ingest.DefaultOptions(),
		Camera:        camera.DefaultOptions(),
		Pose:          pose.DefaultOptions(),
		Track:         track.DefaultOptions(),
		Bat:           bat.DefaultOptions(),
		Sound:         sound.DefaultOptions(),
		Event:         event.DefaultOptions(),
		Lift:          lift.DefaultOptions(),
		Measure:       measure.DefaultOptions(),
		Judge:         judge.DefaultOptions(),
		Fuse:          fuse.DefaultOptions(),
		DecodeSide:    1920,
		ScanSide:      960,
		PoseRate:      60,
		DecodeThreads: 1,
	}
}

// Validate reports the first setting of any stage that makes no sense.
func (o Options) Validate() error {
	for _, s := range []struct {
		name string
		opts interface{ Validate() error }
	}{
		{"ingest", o.Ingest},
		{"camera", o.Camera},
		{"pose", o.Pose},
		{"track", o.Track},
		{"bat", o.Bat},
		{"sound", o.Sound},
		{"event", o.Event},
		{"lift", o.Lift},
		{"measure", o.Measure},
		{"judge", o.Judge},
		{"fuse", o.Fuse},
	} {
		if err := s.opts.Validate(); err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
	}
	switch {
	case o.DecodeSide < 0 || (o.DecodeSide > 0 && o.DecodeSide < 256):
		return fmt.Errorf("decode side is %d px, it must be 256 or more, or 0 for full size", o.DecodeSide)
	case o.ScanSide < 0 || (o.ScanSide > 0 && o.ScanSide < 256):
		return fmt.Errorf("scan side is %d px, it must be 256 or more, or 0 for full size", o.ScanSide)
	case math.IsNaN(o.PoseRate) || o.PoseRate < 0 || (o.PoseRate > 0 && o.PoseRate < 25) || o.PoseRate > 1000:
		return fmt.Errorf("pose rate is %g Hz, it must lie in 25..1000, or be 0 for every frame", o.PoseRate)
	case o.DecodeThreads < 0:
		return fmt.Errorf("decode threads is %d, it must be positive, or 0 for all cores", o.DecodeThreads)
	}
	return nil
}

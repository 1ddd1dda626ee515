package render

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Options are the settings of Draw.
type Options struct {
	// Scale is how many pixels of the upright full-size picture one pixel of
	// the delivered frames spans, along either side. Default 1.
	Scale float64
	// LeadIn and LeadOut are shown before stance and after finish, s.
	// Defaults 0.3 and 0.4. Larger: a longer video.
	LeadIn, LeadOut float64
	// SlowBefore begins the slow part before touch, s; default 0.06, three to
	// four frames of a 60 fps clip, so that the foot is seen coming down.
	SlowBefore float64
	// SlowAfter ends the slow part after plant, s; default 0.1. Contact is
	// kept inside when it follows plant within MaxToContact.
	SlowAfter float64
	// MaxToContact is the longest time from plant to contact that the slow
	// part is stretched over, s. Default 0.35, about twice the time a hitter
	// takes (common practice, no source); 0 never stretches.
	MaxToContact float64
	// SlowFactor is how many times longer the slow part takes than it took.
	// Default 4; 1 shows all at true speed.
	SlowFactor float64
	// Hold is how long the plant frame stands still, s. Default 1.
	Hold float64
	// MinFPS and MaxFPS bound the frame rate of the video, 1/s. It is the
	// lowest that shows every frame of the slow part, but not under about
	// MinFPS: a source of 60 frames/s gives 30, one of 240 gives 60. Encoding
	// is most of the cost of drawing, and each frame costs alike. Defaults 30,
	// at which true speed looks smooth, and 60, which phones and browsers play
	// at any size drawn here. Raise MinFPS to 60 for smoother true speed at
	// twice the cost.
	MinFPS, MaxFPS float64
	// MinSide is the short side, px, below which frames are enlarged before
	// drawing, because text of a readable share of the picture has too few
	// pixels otherwise. Default 480; 0 never enlarges.
	MinSide int
	// Preset and CRF are libx264's speed and quality settings. Defaults
	// "ultrafast" and 23. A lower CRF gives sharper pictures and larger files.
	Preset string
	CRF    int
	// Threads of the encoder; 0 lets it choose. Default 0.
	Threads int
	// FFmpeg is the encoder program. Default "ffmpeg", found on the PATH.
	FFmpeg string
}

// DefaultOptions returns the settings used when nothing is asked for.
func DefaultOptions() Options {
	return Options{
		Scale:        1,
		LeadIn:       0.3,
		LeadOut:      0.4,
		SlowBefore:   0.06,
		SlowAfter:    0.1,
		MaxToContact: 0.35,
		SlowFactor:   4,
		Hold:         1,
		MinFPS:       30,
		MaxFPS:       60,
		MinSide:      480,
		Preset:       "ultrafast",
		CRF:          23,
		FFmpeg:       "ffmpeg",
	}
}

// Validate returns a *swing.Error of KindUsage that names the first wrong
// setting.
func (o Options) Validate() error {
	bad := ""
	in := func(name string, v, lo, hi float64) {
		if bad == "" && (math.IsNaN(v) || v < lo || v > hi) {
			bad = fmt.Sprintf("render.%s is %v, it must lie between %v and %v", name, v, lo, hi)
		}
	}
	in("scale", o.Scale, 1e-3, 1e3)
	in("lead_in", o.LeadIn, 0, 10)
	in("lead_out", o.LeadOut, 0, 10)
	in("slow_before", o.SlowBefore, 0, 1)
	in("slow_after", o.SlowAfter, 0, 1)
	in("max_to_contact", o.MaxToContact, 0, 2)
	in("slow_factor", o.SlowFactor, 1, 20)
	in("hold", o.Hold, 0, 10)
	in("max_fps", o.MaxFPS, 10, 240)
	in("min_fps", o.MinFPS, 10, o.MaxFPS)
	in("min_side", float64(o.MinSide), 0, 4320)
	in("crf", float64(o.CRF), 0, 51)
	in("threads", float64(o.Threads), 0, 64)
	if bad == "" && o.Preset == "" {
		bad = "render.preset is empty"
	}
	if bad == "" && o.FFmpeg == "" {
		bad = "render.ffmpeg is empty"
	}
	if bad == "" {
		return nil
	}
	return &swing.Error{Op: "render.Options.Validate", Frame: -1, Kind: swing.KindUsage, Msg: bad, Hint: "correct the setting or leave it out"}
}

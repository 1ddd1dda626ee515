package swing

import "time"

// Clip is one video file as the probe describes it.
type Clip struct {
	Path     string  // as given by the user
	Name     string  // base name without extension; names the output folder
	SHA256   string  // of the file's bytes, lower-case hex
	Width    int     // px, upright
	Height   int     // px, upright
	Frames   int     // frames announced by the container; 0 = unknown
	Duration float64 // s; 0 = unknown
	FPS      float64 // average frames per second, for display only
	Variable bool    // frame spacing is not constant
	Rotation int     // degrees the decoder turns the stored picture, clockwise
	Codec    string  // such as "h264"
	PixFmt   string  // such as "yuv420p"
	Transfer string  // transfer characteristic, such as "bt709" or "arib-std-b67"
	Audio    bool    // has an audio track
	// Made is when the recording was made, by the container: some phones write its
	// beginning, some its end, programs that cut it their own time. Zero = not told.
	Made     time.Time `json:"-"`
	Warnings []Warning
	// List is the container's own list of pictures; nil = not read. It is not part
	// of a result: it spares those who decode the clip from asking for it again.
	List *FrameList `json:"-"`
}

// FrameList is what a container says of its pictures, nothing decoded. It is
// only read once it is made.
type FrameList struct {
	Times []float64 // presentation times, s, non-decreasing, without hidden pictures
	Keys  []float64 // s, increasing: where decoding can start, hidden pictures too
	Whole bool      // every picture has a time; if not, Times only count
	Count int       // pictures, hidden ones too
}

// Frame is one decoded picture. Pix is lent: it is valid until the next frame
// is asked for.
type Frame struct {
	Index  int     // counts decoded frames of the clip from 0
	Time   float64 // presentation time, s
	Width  int     // px
	Height int     // px
	Pix    []byte  // blue, green, red; 3*Width bytes a row, rows without gaps
}

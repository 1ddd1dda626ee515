package ingest

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// deliveredSize returns the size of delivered pictures and how many upright
// full-size px one delivered px spans. Pictures are never enlarged.
func deliveredSize(width, height, maxSide int) (w, h int, scale float64) {
	long := max(width, height)
	if maxSide == 0 || long <= maxSide {
		return width, height, 1
	}
	scale = float64(long) / float64(maxSide)
	w = max(1, int(math.Round(float64(width)/scale)))
	h = max(1, int(math.Round(float64(height)/scale)))
	return w, h, scale
}

// filters writes ffmpeg's filter chain: cut, pick (see choose), shrink, change to
// bytes of blue, green and red, and tell the time of every frame on descriptor 3.
// ffmpeg itself turns the picture upright before the chain.
func filters(w, h int, pick string, o OpenOptions) string {
	// All times in microseconds: the printed decimals of ffmpeg have six
	// digits only, which is too coarse after a hundred seconds.
	chain := []string{"settb=1/1000000"}
	if trim := trimFilter(o.From, o.To); trim != "" {
		chain = append(chain, trim)
	}
	if pick != "" {
		chain = append(chain, "select='"+pick+"'")
	}
	chain = append(chain, fmt.Sprintf("scale=%d:%d:flags=bicubic", w, h))
	// The metadata filter prints only frames that carry some.
	chain = append(chain, "format=bgr24", "metadata=mode=add:key=k:value=1",
		`metadata=mode=print:file=pipe\\:3:direct=1`)
	return strings.Join(chain, ",")
}

// trimFilter keeps from <= t < to.
func trimFilter(from, to float64) string {
	var parts []string
	if from > 0 {
		parts = append(parts, "start="+micro(from))
	}
	if to > 0 {
		parts = append(parts, "end="+micro(to))
	}
	if len(parts) == 0 {
		return ""
	}
	return "trim=" + strings.Join(parts, ":")
}

// micro writes a time with six decimals, the resolution of frame times.
func micro(s float64) string { return strconv.FormatFloat(s, 'f', 6, 64) }

// arguments returns ffmpeg's command line for a clip. seek is where decoding
// starts, s, below zero for the beginning; pick is as in filters.
func arguments(c swing.Clip, w, h int, seek float64, pick string, o OpenOptions) []string {
	args := []string{"-hide_banner", "-nostdin", "-v", "repeat+error", "-copyts"}
	if o.Threads > 0 {
		n := strconv.Itoa(o.Threads)
		args = append(args, "-filter_threads", n, "-threads", n)
	}
	// The header may lie about the size: the decoder refuses too. Coded
	// pictures are padded to whole blocks, hence the eighth more.
	args = append(args, "-max_pixels", strconv.Itoa(o.Options.MaxPixels/8*9))
	if c.Rotation%90 != 0 {
		args = append(args, "-noautorotate")
	}
	if c.Transfer == "" && c.Height > 576 {
		// Nothing tells the colour matrix: above standard definition it is
		// BT.709 (what players assume; common practice, no source). A matrix
		// named in the coded pictures still wins.
		args = append(args, "-colorspace", "bt709")
	}
	if seek > 0 {
		args = append(args, "-noaccurate_seek", "-seek_timestamp", "1", "-ss", micro(seek))
	}
	args = append(args, input(c.Path)...)
	return append(args,
		"-noautoscale", "-map", "0:V:0", "-fps_mode", "passthrough",
		"-vf", filters(w, h, pick, o),
		// A fine clock for the encoder, else uneven frame spacing is
		// reported as damage.
		"-enc_time_base", "1/1000000", "-f", "rawvideo", "-pix_fmt", "bgr24", "pipe:1")
}

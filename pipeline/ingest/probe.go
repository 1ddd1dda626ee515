package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"plantframe/pipeline/swing"
)

// Probe describes the clip at path without decoding it: size and rotation of
// the upright picture, frame times, colour, sound, and the checksum of the
// file. Sizes are those of upright pictures with square pixels.
//
// Warnings of the clip tell what will limit a result: "cut-off" (the file
// ends early), "low-frame-rate", "interlaced", "odd-rotation".
//
// Errors: KindMissing (no file, no ffprobe), KindUnreadable (not a video that
// can be decoded), KindTooShort, KindTooLarge, KindUsage (bad options), and
// the context's error.
func Probe(ctx context.Context, path string, o Options) (swing.Clip, error) {
	const op = "ingest.Probe"
	if err := o.Validate(); err != nil {
		return swing.Clip{}, fail(op, path, swing.KindUsage, err.Error(), "", nil)
	}
	o = o.withDefaults()
	st, err := os.Stat(path)
	switch {
	case err != nil:
		return swing.Clip{}, statError(op, path, err)
	case st.IsDir():
		return swing.Clip{}, fail(op, path, swing.KindUsage, "this is a folder, not a clip", "name a file in it", nil)
	case !st.Mode().IsRegular():
		return swing.Clip{}, fail(op, path, swing.KindUnreadable, "this is not an ordinary file", "copy the clip to a disk first", nil)
	case st.Size() == 0:
		return swing.Clip{}, fail(op, path, swing.KindUnreadable, "the file is empty", "copy it from the phone again", nil)
	}

	limited, cancel := context.WithTimeout(ctx, o.ProbeTimeout)
	defer cancel()
	c := swing.Clip{Path: path, Name: strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))}
	// Checksum and description read the file at the same time; the second
	// reader finds it in the system's cache.
	g, gctx := errgroup.WithContext(limited)
	g.Go(func() (err error) {
		c.SHA256, err = checksum(gctx, path)
		return err
	})
	var s stream
	var table timetable
	g.Go(func() error {
		d, err := describe(gctx, path, o)
		if err != nil {
			return err
		}
		s, err = chooseStream(&c, d, o)
		c.Made = madeAt(d.Format.Tags.Made)
		return err
	})
	g.Go(func() (err error) {
		table, err = packets(gctx, path, o)
		return err
	})
	if err := g.Wait(); err != nil {
		return swing.Clip{}, probeError(op, ctx, path, o, err)
	}
	setTimes(&c, s, table)
	c.List = table.list()
	if at, cut := cutOff(path); cut {
		c.Warnings = append(c.Warnings, cutOffWarning(at, st.Size(), s, table))
	}
	if c.Frames < o.MinFrames {
		return swing.Clip{}, tooShort(op, path, c.Frames, o.MinFrames)
	}
	return c, nil
}

// madeAt reads when the container says it was made; zero for what no phone writes, such
// as the zero of its calendar.
func madeAt(text string) time.Time {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil || t.Year() < 2000 {
		return time.Time{}
	}
	return t
}

// tooShort is the error for a clip with n frames where least are wanted.
func tooShort(op, path string, n, least int) *swing.Error {
	text := fmt.Sprintf("the clip holds %d frames, at least %d are needed", n, least)
	if n == 1 {
		text = fmt.Sprintf("the file holds one picture, at least %d frames are needed", least)
	}
	return fail(op, path, swing.KindTooShort, text, "film the whole swing, from the stance to the finish", nil)
}

// probeError sorts the ways in which a description fails.
func probeError(op string, ctx context.Context, path string, o Options, err error) error {
	var refused *errProbe
	var known *swing.Error
	switch {
	case ctx.Err() != nil:
		return fail(op, path, swing.KindInternal, "stopped", "", ctx.Err())
	case errors.Is(err, context.DeadlineExceeded):
		return fail(op, path, swing.KindUnreadable, fmt.Sprintf("looking at the file took more than %v", o.ProbeTimeout),
			"copy the file to a local disk, or raise the time limit", nil)
	case errors.As(err, &known):
		known.Op, known.Clip = op, path
		return known
	case errors.As(err, &refused):
		return refusal(op, path, refused.lines)
	case errors.Is(err, os.ErrPermission) || errors.Is(err, os.ErrNotExist) && isPathError(err, path):
		return statError(op, path, err)
	}
	return missingProgram(op, path, o.FFprobe, err)
}

func isPathError(err error, path string) bool {
	var pe *os.PathError
	return errors.As(err, &pe) && pe.Path == path
}

// checksum returns the SHA-256 of a file in hex.
func checksum(ctx context.Context, path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	buf := make([]byte, 1<<20)
	for {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		n, err := f.Read(buf)
		h.Write(buf[:n])
		if err == io.EOF {
			return hex.EncodeToString(h.Sum(nil)), nil
		}
		if err != nil {
			return "", err
		}
	}
}

// chooseStream finds the moving picture among the streams and fills what the
// clip says of it. The error is a *swing.Error without operation and path.
func chooseStream(c *swing.Clip, d description, o Options) (stream, error) {
	refuse := func(kind swing.Kind, msg, hint string) (stream, error) {
		return stream{}, fail("", "", kind, msg, hint, nil)
	}
	var cover bool
	var s *stream
	for i := range d.Streams {
		switch t := &d.Streams[i]; {
		case t.Type == "audio":
			c.Audio = true
		case t.Type == "video" && t.Disposition.AttachedPic != 0:
			cover = true
		case t.Type == "video" && s == nil:
			s = t
		}
	}
	switch {
	case s == nil && cover:
		return refuse(swing.KindUnreadable, "the file holds sound and a cover picture, no video", "choose the video file")
	case s == nil && c.Audio:
		return refuse(swing.KindUnreadable, "the file holds sound only, no video", "choose the video file")
	case s == nil:
		return refuse(swing.KindUnreadable, "the file holds no video", "choose a video file")
	case s.Codec == "" || s.Codec == "unknown" || s.Codec == "none":
		return refuse(swing.KindUnreadable, "the video is coded in a way that ffmpeg does not know", "save it as H.264 or HEVC")
	case s.Width <= 0 || s.Height <= 0:
		return refuse(swing.KindUnreadable, "the video has no picture size, its header is damaged", "copy it from the phone again")
	case tooManyPixels(s.Width, s.Height, o.MaxPixels):
		return refuse(swing.KindTooLarge, fmt.Sprintf("the picture is %d x %d px, more than the %.1f million px that are allowed",
			s.Width, s.Height, float64(o.MaxPixels)/1e6), "save the clip in 4K or less")
	}
	c.Codec, c.PixFmt, c.Transfer = s.Codec, s.PixFmt, s.Transfer
	if c.Transfer == "unknown" || c.Transfer == "reserved" {
		c.Transfer = ""
	}
	c.Width, c.Height = squarePixels(s.Width, s.Height, ratio(s.Aspect))
	if tooManyPixels(c.Width, c.Height, o.MaxPixels) {
		return refuse(swing.KindTooLarge, fmt.Sprintf("the picture is %d x %d px once its pixels are square, more than the %.1f million px that are allowed",
			c.Width, c.Height, float64(o.MaxPixels)/1e6), "save the clip with square pixels")
	}
	c.Rotation = clockwise(*s)
	switch c.Rotation {
	case 90, 270:
		c.Width, c.Height = c.Height, c.Width
	case 0, 180:
	default:
		c.Warnings = append(c.Warnings, swing.Warning{
			Code: "odd-rotation",
			Text: fmt.Sprintf("The file asks for a turn by %d degrees; the picture is left as it was stored.", c.Rotation),
		})
	}
	if f := s.FieldOrder; f != "" && f != "progressive" && f != "unknown" {
		c.Warnings = append(c.Warnings, swing.Warning{
			Code: "interlaced",
			Text: "The video is interlaced: moving edges are combed and times are true to half a frame only. Film progressive.",
		})
	}
	return *s, nil
}

func tooManyPixels(w, h, most int) bool { return int64(w)*int64(h) > int64(most) }

// squarePixels returns the picture size after its pixels were made square by
// stretching the shorter way, so that nothing is lost. aspect is width to
// height of a stored pixel, 0 = unknown. A pixel more than four times as long
// as wide exists in no camera; such a header is taken for damaged.
func squarePixels(w, h int, aspect float64) (int, int) {
	switch {
	case aspect == 0 || aspect > 4 || aspect < 0.25:
		return w, h
	case aspect >= 1:
		return int(math.Round(float64(w) * aspect)), h
	}
	return w, int(math.Round(float64(h) / aspect))
}

// clockwise returns the turn, degrees clockwise in [0, 360), that makes the
// stored picture upright. Turns within a degree of a right angle are taken
// for it, as ffmpeg does.
func clockwise(s stream) int {
	for _, d := range s.SideData {
		if d.Rotation == nil {
			continue
		}
		deg := math.Mod(-*d.Rotation, 360)
		if deg < 0 {
			deg += 360
		}
		if right := math.Round(deg/90) * 90; math.Abs(deg-right) <= 1 {
			deg = right
		}
		return int(math.Round(deg)) % 360
	}
	return 0
}

// Below slowRate a plant cannot be placed well enough to measure at it: the
// shoulders turn 20 degrees within a thirtieth of a second.
const slowRate = 25.0 // frames per second

// setTimes fills what follows from the frame times.
func setTimes(c *swing.Clip, s stream, t timetable) {
	c.Frames = len(t.times)
	if !t.whole {
		c.Frames = t.listed
	}
	if c.Frames == 0 {
		c.Frames, _ = strconv.Atoi(s.Frames)
	}
	c.FPS, c.Duration = ratio(s.AvgRate), seconds(s.Duration)
	if n := len(t.times); t.whole && n > 1 && t.times[n-1] > t.times[0] {
		span := t.times[n-1] - t.times[0]
		c.FPS = float64(n-1) / span
		c.Duration = span + 1/c.FPS
		c.Variable = variable(t.times, ratio(s.TimeBase))
	}
	if c.FPS > 0 && c.FPS < slowRate {
		c.Warnings = append(c.Warnings, swing.Warning{
			Code: "low-frame-rate",
			Text: fmt.Sprintf("The clip has %.3g frames a second: times are true to about %.0f ms only. Film with 60 or more, best 120 to 240.",
				c.FPS, 500/c.FPS),
		})
	}
}

// variable tells whether frame spacing is uneven: one gap differs from the
// middle one by more than a tenth and more than the rounding of the clip's
// own clock (tick, s).
func variable(times []float64, tick float64) bool {
	gaps := make([]float64, len(times)-1)
	for i := range gaps {
		gaps[i] = times[i+1] - times[i]
	}
	slices.Sort(gaps)
	mid := gaps[len(gaps)/2]
	allow := max(mid/10, 1.01*tick)
	return gaps[len(gaps)-1]-mid > allow || mid-gaps[0] > allow
}

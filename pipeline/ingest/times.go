package ingest

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// noTime marks a picture that ffmpeg gives no time for, microseconds.
const noTime = math.MinInt64

// readTimes reads what ffmpeg's metadata filter prints,
//
//	frame:12   pts:200000  pts_time:0.2
//	k=1
//
// and sends the microseconds of every frame until r ends.
func readTimes(ctx context.Context, r io.Reader, out chan<- int64) {
	defer close(out)
	sc := bufio.NewScanner(r)
	for sc.Scan() {
		line := sc.Bytes()
		if !bytes.HasPrefix(line, []byte("frame:")) {
			continue
		}
		select {
		case out <- parseTime(line):
		case <-ctx.Done():
			return
		}
	}
}

// parseTime returns the number after " pts:", or noTime.
func parseTime(line []byte) int64 {
	_, rest, ok := bytes.Cut(line, []byte(" pts:"))
	if !ok {
		return noTime
	}
	if end := bytes.IndexByte(rest, ' '); end >= 0 {
		rest = rest[:end]
	}
	v, err := strconv.ParseInt(string(rest), 10, 64)
	if err != nil {
		return noTime
	}
	return v
}

// clock turns the times that arrive into strictly increasing times and the
// indices that belong to them.
type clock struct {
	path    string
	table   *timetable // nil = count frames
	gap     float64    // s, used where a time is missing
	next    int        // smallest index the next frame may have
	last    float64    // time of the frame before, s
	started bool
	made    int // frames whose time was missing and put between
	dropped int // frames that did not come after the one before
}

// begin sets the clock by the container's list of frames. A list without
// trustworthy times is not used: such a clip is always decoded from its
// beginning and its frames are counted.
func (c *clock) begin(t *timetable, fps, from float64) {
	if t.whole && len(t.times) > 0 {
		c.table = t
		c.next = t.index(from)
	}
	if c.gap = 1.0 / 30; fps > 0 {
		c.gap = 1 / fps
	}
}

// place returns index and time of the next frame; ok is false when the frame
// must be left out, since it lies before or at the one before it.
func (c *clock) place(micros int64) (index int, at float64, ok bool) {
	at = float64(micros) / 1e6
	if micros == noTime {
		c.made++
		at = 0
		if c.started {
			at = c.last + c.gap
		}
	}
	if c.started && at <= c.last {
		c.dropped++
		return 0, 0, false
	}
	index = c.next
	if c.table != nil {
		index = max(index, c.table.index(at))
	}
	c.next, c.last, c.started = index+1, at, true
	return index, at, true
}

// report collects the warnings of a decode that went through. n counts
// decoded frames.
func (r *Reader) report(n int, c *clock) {
	warn := func(code, format string, args ...any) {
		r.warnings = append(r.warnings, swing.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	count, lines := r.said.lines()
	switch {
	case count > 0:
		warn("damaged", "The clip is damaged: the decoder complained %d times, first: %s.", count, strings.TrimRight(lines[0], "."))
	case r.waitErr != nil:
		warn("damaged", "The decoder stopped early: %v.", r.waitErr)
	}
	if want := r.announced(); n < want {
		warn("frames-missing", "%d of %d frames could not be decoded.", want-n, want)
	}
	if r.partial {
		warn("frame-cut", "The last picture came incomplete and is left out.")
	}
	if c.made > 0 || c.dropped > 0 {
		warn("times-repaired", "%d frames had no time of their own and %d frames with a time that does not increase were left out.", c.made, c.dropped)
	}
}

// announced returns how many frames the container lists for the window; 0 =
// unknown.
func (r *Reader) announced() int {
	switch {
	case r.pick != "":
		return r.picked
	case !r.table.whole || len(r.table.times) == 0:
		if r.o.From == 0 && r.o.To == 0 {
			return r.clip.Frames
		}
		return 0
	case r.o.To == 0:
		return len(r.table.times) - r.table.index(r.o.From)
	}
	return r.table.index(r.o.To) - r.table.index(r.o.From)
}

package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"plantframe/pipeline/swing"
)

// ringSize is the number of pictures in flight: one lent to the consumer, one
// being filled, one ready in between.
const ringSize = 3

// Reader decodes one clip once.
type Reader struct {
	clip   swing.Clip
	o      OpenOptions
	w, h   int
	scale  float64
	ctx    context.Context
	cancel context.CancelCauseFunc

	cmd          *exec.Cmd
	pics, ticks  *os.File // read ends: pictures, times
	said         complaints
	table        timetable
	tableReady   chan struct{}
	pick         string   // filter expression of the wanted frames, "" for all
	picked       int      // how many they are
	tone         *toneMap // nil for ordinary pictures
	toneReady    chan struct{}
	free         chan []byte
	filled       chan picture
	background   sync.WaitGroup
	waitErr      error // of ffmpeg, valid after background
	readErr      error // of the picture pipe, valid after filled is closed
	partial      bool  // the last picture came incomplete
	warnings     []swing.Warning
	begun, ended bool
}

// picture is one decoded frame on its way to the consumer.
type picture struct {
	pix  []byte
	time int64 // microseconds, or noTime
}

var (
	errClosed = errors.New("closed")
	errStall  = errors.New("no picture arrived in time")
)

// Open starts to decode a clip that Probe described. The caller ranges over
// Frames once and then calls Close, which it must do in every case.
//
// Errors: KindUsage (bad options), KindMissing (no ffmpeg, no file),
// KindTooLarge, KindUnreadable, and the context's error. What only shows while
// decoding comes out of Frames.
func Open(ctx context.Context, clip swing.Clip, o OpenOptions) (*Reader, error) {
	const op = "ingest.Open"
	if err := o.Validate(); err != nil {
		return nil, fail(op, clip.Path, swing.KindUsage, err.Error(), "", nil)
	}
	o.Options = o.Options.withDefaults()
	if clip.Width <= 0 || clip.Height <= 0 {
		return nil, fail(op, clip.Path, swing.KindUsage, "the clip has not been probed", "", nil)
	}
	if tooManyPixels(clip.Width, clip.Height, o.Options.MaxPixels) {
		return nil, fail(op, clip.Path, swing.KindTooLarge, fmt.Sprintf("the picture is %d x %d px, more than the %.1f million px that are allowed",
			clip.Width, clip.Height, float64(o.Options.MaxPixels)/1e6), "save the clip in 4K or less", nil)
	}
	if _, err := os.Stat(clip.Path); err != nil {
		return nil, statError(op, clip.Path, err)
	}
	r := &Reader{clip: clip, o: o, tableReady: make(chan struct{})}
	r.ctx, r.cancel = context.WithCancelCause(ctx)
	r.w, r.h, r.scale = deliveredSize(clip.Width, clip.Height, o.MaxSide)
	switch {
	case clip.List != nil:
		r.table = tableOf(clip.List)
		close(r.tableReady)
	case o.From > 0:
		// A window starts at the last key picture before it; its indices
		// need the number of frames before it.
		if err := r.listFrames(); err != nil {
			r.cancel(errClosed)
			return nil, probeError(op, ctx, clip.Path, o.Options, err)
		}
	default:
		// The list is only needed once the first picture is there: read it
		// while ffmpeg starts. Without it frames are simply counted.
		r.background.Go(func() { _ = r.listFrames() })
	}
	seek := -1.0
	if o.From > 0 {
		seek = r.table.seekPoint(o.From)
	}
	if clip.List != nil {
		r.pick, r.picked = choose(&r.table, o)
	}
	r.toneReady = make(chan struct{})
	r.background.Go(func() {
		defer close(r.toneReady)
		if isHDR(clip.Transfer) {
			r.tone = newToneMap(clip.Transfer) // while ffmpeg starts
		}
	})
	if err := r.start(seek); err != nil {
		r.cancel(errClosed)
		r.background.Wait()
		return nil, missingProgram(op, clip.Path, o.Options.FFmpeg, err)
	}
	return r, nil
}

// listFrames reads the timetable and announces that it is there.
func (r *Reader) listFrames() error {
	defer close(r.tableReady)
	limited, cancel := context.WithTimeout(r.ctx, r.o.Options.ProbeTimeout)
	defer cancel()
	t, err := packets(limited, r.clip.Path, r.o.Options)
	if err == nil {
		r.table = t
	}
	return err
}

// seekPoint returns the time of the last key frame at or before from, or -1
// when decoding has to start at the beginning.
func (tt *timetable) seekPoint(from float64) float64 {
	if !tt.whole {
		return -1
	}
	at := -1.0
	for _, k := range tt.keys {
		if k > from {
			break
		}
		at = k
	}
	return at
}

// start runs ffmpeg and the goroutines that listen to it.
func (r *Reader) start(seek float64) error {
	var ends []*os.File
	closeAll := func() {
		for _, f := range ends {
			_ = f.Close()
		}
	}
	pipe := func() (*os.File, *os.File, error) {
		in, out, err := os.Pipe()
		if err == nil {
			ends = append(ends, in, out)
		}
		return in, out, err
	}
	picsIn, picsOut, err1 := pipe()
	ticksIn, ticksOut, err2 := pipe()
	saidIn, saidOut, err3 := pipe()
	if err := errors.Join(err1, err2, err3); err != nil {
		closeAll()
		return err
	}
	widen(picsIn)
	r.cmd = command(r.ctx, r.o.Options.FFmpeg, arguments(r.clip, r.w, r.h, seek, r.pick, r.o)...)
	r.cmd.Stdout, r.cmd.Stderr, r.cmd.ExtraFiles = picsOut, saidOut, []*os.File{ticksOut}
	if err := r.cmd.Start(); err != nil {
		closeAll()
		return err
	}
	for _, f := range []*os.File{picsOut, ticksOut, saidOut} {
		_ = f.Close()
	}
	r.pics, r.ticks = picsIn, ticksIn
	r.free, r.filled = make(chan []byte, ringSize), make(chan picture, ringSize)
	for range ringSize {
		r.free <- nil // filled in when first used
	}
	times := make(chan int64, 64)
	r.background.Go(func() { defer saidIn.Close(); r.said.read(saidIn) })
	r.background.Go(func() { defer ticksIn.Close(); readTimes(r.ctx, ticksIn, times) })
	r.background.Go(func() { defer picsIn.Close(); r.readPictures(times) })
	r.background.Go(func() { r.waitErr = r.cmd.Wait() })
	return nil
}

// readPictures moves pictures from the pipe into the ring until the pipe ends.
func (r *Reader) readPictures(times <-chan int64) {
	defer close(r.filled)
	for {
		var buf []byte
		select {
		case buf = <-r.free:
		case <-r.ctx.Done():
			return
		}
		if buf == nil {
			buf = make([]byte, 3*r.w*r.h)
		}
		_ = r.pics.SetReadDeadline(time.Now().Add(r.o.Options.StallTimeout))
		_, err := io.ReadFull(r.pics, buf)
		switch {
		case errors.Is(err, io.EOF):
			return
		case errors.Is(err, io.ErrUnexpectedEOF):
			r.partial = true
			return
		case errors.Is(err, os.ErrDeadlineExceeded):
			r.readErr = errStall
			r.cancel(errStall)
			return
		case err != nil:
			r.readErr = err
			r.cancel(err)
			return
		}
		if <-r.toneReady; r.tone != nil {
			r.tone.apply(buf)
		}
		at, ok := int64(noTime), true
		select {
		case at, ok = <-times:
		case <-r.ctx.Done():
			return
		}
		if !ok {
			at = noTime
		}
		select {
		case r.filled <- picture{buf, at}:
		case <-r.ctx.Done():
			return
		}
	}
}

// Scale returns the number of upright full-size px that one delivered px
// spans, 1 or more.
func (r *Reader) Scale() float64 { return r.scale }

// Frames yields the frames of the window in order of presentation. It can be
// ranged over once. A frame's Pix is valid until the next iteration. Index
// counts the frames of the whole clip by the container's list, so that it is
// the same in every decode of the clip, whatever the window and the damage;
// frames that cannot be decoded leave a hole.
//
// The last pair may carry an error: KindUnreadable (nothing could be decoded,
// or ffmpeg stalled), KindTooShort, or the context's error.
func (r *Reader) Frames() iter.Seq2[swing.Frame, error] {
	return func(yield func(swing.Frame, error) bool) {
		const op = "ingest.Frames"
		if r.begun {
			yield(swing.Frame{}, fail(op, r.clip.Path, swing.KindInternal, "the frames of a reader can be read once only", "", nil))
			return
		}
		r.begun = true
		clock := clock{path: r.clip.Path}
		n := 0
		for p := range r.filled {
			if n == 0 {
				<-r.tableReady
				clock.begin(&r.table, r.clip.FPS, r.o.From)
			}
			n++
			index, at, ok := clock.place(p.time)
			if ok && !yield(swing.Frame{Index: index, Time: at, Width: r.w, Height: r.h, Pix: p.pix}, nil) {
				r.finish()
				return
			}
			r.free <- p.pix
		}
		r.waitForEnd()
		if err := r.verdict(op, n); err != nil {
			yield(swing.Frame{}, err)
			return
		}
		r.report(n, &clock)
	}
}

// waitForEnd waits for everything that was started after the last picture. A
// program that closed its pipe but does not end is killed after the usual
// limit.
func (r *Reader) waitForEnd() {
	t := time.AfterFunc(r.o.Options.StallTimeout, func() { r.cancel(errStall) })
	r.background.Wait()
	t.Stop()
}

// finish stops ffmpeg and waits for everything that was started.
func (r *Reader) finish() {
	if r.ended {
		return
	}
	r.ended = true
	r.cancel(errClosed)
	r.background.Wait()
}

// Close stops decoding and frees what was in use. It may be called at any
// time, and more than once, from the goroutine that uses the reader.
func (r *Reader) Close() error {
	r.finish()
	return nil
}

// Warnings returns what went wrong without stopping the decode: "damaged",
// "frames-missing", "frame-cut", "times-repaired". Valid after the loop over
// Frames.
func (r *Reader) Warnings() []swing.Warning { return r.warnings }

// verdict tells whether a finished decode failed altogether. n counts decoded
// frames.
func (r *Reader) verdict(op string, n int) error {
	_, lines := r.said.lines()
	var why error
	if len(lines) > 0 {
		why = errors.New(strings.ReplaceAll(lines[0], "file:"+r.clip.Path+": ", ""))
	}
	cause := context.Cause(r.ctx)
	switch {
	case errors.Is(cause, errStall):
		return fail(op, r.clip.Path, swing.KindUnreadable, fmt.Sprintf("decoding stood still for %v and was stopped", r.o.Options.StallTimeout),
			"save the clip again as H.264", nil)
	case errors.Is(cause, errClosed):
		return nil
	case r.readErr != nil:
		return fail(op, r.clip.Path, swing.KindUnreadable, "the pictures cannot be read", "try again", r.readErr)
	case cause != nil:
		return fail(op, r.clip.Path, swing.KindInternal, "stopped", "", cause)
	case n == 0 && (r.o.From > 0 || r.o.To > 0) && r.waitErr == nil:
		return fail(op, r.clip.Path, swing.KindTooShort, fmt.Sprintf("the clip has no frame between %.3f and %.3f s", r.o.From, r.o.To), "", why)
	case n == 0:
		return fail(op, r.clip.Path, swing.KindUnreadable, "not one picture can be decoded", "copy it from the phone again", why)
	case n < r.o.Options.MinFrames && r.o.From <= 0 && r.o.To == 0 && r.pick == "":
		return tooShort(op, r.clip.Path, n, r.o.Options.MinFrames)
	}
	return nil
}

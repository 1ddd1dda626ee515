package ingest

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"plantframe/pipeline/swing"
)

// SoundRate is the rate of the samples that ReadSound delivers, Hz. A sample
// is 21 microseconds, far below what an instant of a swing is known to, and
// phones record at this rate or at 44100.
const SoundRate = 48000

// SoundOptions say which part of a clip's audio track is read.
type SoundOptions struct {
	// From and To bound the presentation times delivered, s. To = 0, the
	// default, means the end.
	From, To float64
	// MaxSeconds is the longest stretch that is read, s; what lies behind it
	// is left out with a warning. Default 600: 115 MB of samples.
	MaxSeconds float64
	// Options are the limits and programs; its zero value is DefaultOptions.
	Options Options
}

// defaultMaxSeconds is the default of SoundOptions.MaxSeconds, s.
const defaultMaxSeconds = 600

// Validate reports the first setting that makes no sense.
func (o SoundOptions) Validate() error {
	switch {
	case !(o.MaxSeconds >= 0 && o.MaxSeconds <= 3600):
		return fmt.Errorf("the longest sound is %g s, it must lie between 0 and 3600", o.MaxSeconds)
	}
	return OpenOptions{From: o.From, To: o.To, Options: o.Options}.Validate()
}

// ReadSound reads the first audio track of a clip that Probe described, mixed
// down to one channel at SoundRate. Start and all times are presentation times
// on the same clock as those of the frames: edit lists, start offsets and the
// coder's priming are accounted for, because the time of every decoded piece
// is read, not assumed.
//
// A clip without an audio track gives a Sound without samples and no error. A
// track that is damaged or cannot be decoded is a warning ("sound-damaged",
// "sound-unreadable", "sound-cut"), and what could be read is returned.
//
// Errors: KindUsage (bad options), KindMissing (no ffmpeg, no file), and the
// context's error.
func ReadSound(ctx context.Context, clip swing.Clip, o SoundOptions) (swing.Sound, []swing.Warning, error) {
	const op = "ingest.ReadSound"
	if err := o.Validate(); err != nil {
		return swing.Sound{}, nil, fail(op, clip.Path, swing.KindUsage, err.Error(), "", nil)
	}
	o.Options = o.Options.withDefaults()
	if o.MaxSeconds == 0 {
		o.MaxSeconds = defaultMaxSeconds
	}
	if !clip.Audio {
		return swing.Sound{Rate: SoundRate}, nil, nil
	}
	if _, err := os.Stat(clip.Path); err != nil {
		return swing.Sound{}, nil, statError(op, clip.Path, err)
	}
	inner, cancel := context.WithCancelCause(ctx)
	defer cancel(errClosed)
	l := listener{o: o, ctx: inner, cancel: cancel, strip: strip{most: int(o.MaxSeconds * SoundRate)}}
	err := l.run(clip)
	switch {
	case ctx.Err() != nil:
		return swing.Sound{}, nil, fail(op, clip.Path, swing.KindInternal, "stopped", "", ctx.Err())
	case err != nil:
		return swing.Sound{}, nil, missingProgram(op, clip.Path, o.Options.FFmpeg, err)
	}
	return l.strip.sound(), l.warnings(clip), nil
}

// listener runs ffmpeg over an audio track.
type listener struct {
	o       SoundOptions
	ctx     context.Context
	cancel  context.CancelCauseFunc
	strip   strip
	said    complaints
	waitErr error
}

// soundArguments returns ffmpeg's command line: decode one track, mix and
// resample it, and print time and length of every piece on descriptor 3.
func soundArguments(path string, o SoundOptions) []string {
	args := []string{"-hide_banner", "-nostdin", "-v", "repeat+error", "-copyts", "-threads", "1"}
	chain := "aformat=sample_fmts=flt:sample_rates=" + strconv.Itoa(SoundRate) + ":channel_layouts=mono"
	if seek := o.From - seekMargin; seek > 0 {
		// The nearest point before it that the container can jump to; the
		// filter cuts exactly.
		args = append(args, "-noaccurate_seek", "-seek_timestamp", "1", "-ss", micro(seek))
	}
	if trim := trimFilter(o.From, o.To); trim != "" {
		chain += ",a" + trim
	}
	chain += ",astats=metadata=1:reset=1:measure_perchannel=none:measure_overall=Number_of_samples" +
		`,ametadata=mode=print:file=pipe\\:3:direct=1`
	args = append(args, input(path)...)
	return append(args, "-map", "0:a:0", "-vn", "-sn", "-dn", "-af", chain, "-c:a", "pcm_f32le", "-f", "f32le", "pipe:1")
}

// seekMargin is how much earlier than wanted decoding starts, s: audio coders
// need a piece or two (some 0.05 s) before they are right.
const seekMargin = 1.0

// run reads the whole track. The error is that of a program that does not
// start; everything else is told by waitErr and said.
func (l *listener) run(clip swing.Clip) error {
	cmd := command(l.ctx, l.o.Options.FFmpeg, soundArguments(clip.Path, l.o)...)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	stderr, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	ticksIn, ticksOut, err := os.Pipe()
	if err != nil {
		return err
	}
	defer ticksIn.Close()
	cmd.ExtraFiles = []*os.File{ticksOut}
	err = cmd.Start()
	_ = ticksOut.Close()
	if err != nil {
		return err
	}
	var alive atomic.Int64 // pieces so far, for the watch on a stalled program
	var wg sync.WaitGroup
	pieces := make(chan piece, 64)
	wg.Go(func() { l.said.read(stderr) })
	wg.Go(func() { readPieces(l.ctx, ticksIn, pieces) })
	stopWatch := l.watch(&alive)
	if !l.take(stdout, pieces, &alive) {
		l.cancel(errClosed) // ends a program that has more than was wanted
	}
	_, _ = io.Copy(io.Discard, stdout)
	wg.Wait()
	stopWatch()
	l.waitErr = cmd.Wait()
	return nil
}

// watch stops the program when no piece arrives for StallTimeout. The
// returned function ends the watch.
func (l *listener) watch(alive *atomic.Int64) (stop func()) {
	done := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		tick := time.NewTicker(l.o.Options.StallTimeout)
		defer tick.Stop()
		last := int64(-1)
		for {
			select {
			case <-done:
				return
			case <-tick.C:
			}
			n := alive.Load()
			if n == last {
				l.cancel(errStall)
				return
			}
			last = n
		}
	})
	return func() { close(done); wg.Wait() }
}

// take reads the samples that belong to the announced pieces; false when it
// stopped before the last one.
func (l *listener) take(r io.Reader, pieces <-chan piece, alive *atomic.Int64) bool {
	var buf []byte
	for p := range pieces {
		alive.Add(1)
		if need := 4 * p.n; cap(buf) < need {
			buf = make([]byte, need)
		}
		buf = buf[:4*p.n]
		n, err := io.ReadFull(r, buf)
		if !l.strip.add(p.at, buf[:n-n%4]) || err != nil {
			return false
		}
	}
	return true
}

// warnings says what went wrong without stopping.
func (l *listener) warnings(clip swing.Clip) []swing.Warning {
	var out []swing.Warning
	warn := func(code, format string, args ...any) {
		out = append(out, swing.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	count, lines := l.said.lines()
	reason := ""
	if count > 0 {
		reason = ", first: " + strings.TrimRight(strings.ReplaceAll(lines[0], "file:"+clip.Path+": ", ""), ".")
	}
	switch cause := context.Cause(l.ctx); {
	case errors.Is(cause, errStall):
		warn("sound-damaged", "Decoding the sound stood still for %v and was stopped.", l.o.Options.StallTimeout)
	case len(l.strip.samples) == 0 && (count > 0 || l.waitErr != nil):
		warn("sound-unreadable", "The clip has a sound track that cannot be decoded%s.", reason)
	case count > 0:
		warn("sound-damaged", "The sound is damaged: the decoder complained %d times%s.", count, reason)
	}
	if l.strip.full {
		warn("sound-cut", "Only the first %g s of the sound were read.", l.o.MaxSeconds)
	}
	if n := len(l.strip.gaps); n > 0 {
		warn("sound-gaps", "The sound has %d gaps.", n)
	}
	return out
}

// floats turns little-endian bytes into samples; what is no number is silence.
func floats(dst []float32, b []byte) []float32 {
	for ; len(b) >= 4; b = b[4:] {
		v := math.Float32frombits(binary.LittleEndian.Uint32(b))
		if v != v || v > 16 || v < -16 {
			v = 0
		}
		dst = append(dst, v)
	}
	return dst
}

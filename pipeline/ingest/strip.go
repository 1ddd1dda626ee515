package ingest

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// piece is one decoded stretch of sound: its place on the clip's clock and its
// length, samples.
type piece struct {
	at int64 // samples from time 0, or noTime
	n  int
}

// readPieces reads what ffmpeg's filters print,
//
//	frame:12   pts:13824   pts_time:0.288
//	lavfi.astats.Overall.Number_of_samples=1024.000000
//
// and sends one piece per pair of lines until r ends.
func readPieces(ctx context.Context, r io.Reader, out chan<- piece) {
	defer close(out)
	sc := bufio.NewScanner(r)
	at := int64(noTime)
	for sc.Scan() {
		line := sc.Bytes()
		if bytes.HasPrefix(line, []byte("frame:")) {
			at = parseTime(line)
			continue
		}
		_, count, ok := strings.Cut(string(line), "Number_of_samples=")
		n, err := strconv.ParseFloat(count, 64)
		if !ok || err != nil || !(n >= 0 && n <= maxPiece) {
			continue
		}
		select {
		case out <- piece{at, int(n)}:
		case <-ctx.Done():
			return
		}
	}
}

// maxPiece bounds a piece, samples: 20 s. Coders deliver some thousand.
const maxPiece = 1 << 20

// strip puts pieces of sound end to end at their own times.
type strip struct {
	most    int // samples that are kept at most
	begin   int64
	begun   bool
	samples []float32
	off     []float64 // how far the first contiguous pieces are from where they should be, samples
	gaps    [][2]int  // indices of samples that no piece held
	full    bool      // something was left out
}

const (
	// jitter is how far the time of a piece may be from the end of the one
	// before and still follow it, samples (1.5 ms): Matroska writes times in
	// whole milliseconds, and an even stream must not be torn for that.
	jitter = SoundRate * 3 / 2000
	// settle is the number of pieces over which such rounding is averaged.
	settle = 64
)

// add puts the samples of b at their time; false when the strip is full.
// Samples whose time has passed already are left out.
func (s *strip) add(at int64, b []byte) bool {
	end := s.begin + int64(len(s.samples))
	if at == noTime {
		at = end
	}
	if !s.begun {
		s.begun, s.begin, end = true, at, at
	}
	switch d := at - end; {
	case d > jitter:
		if d > int64(s.most-len(s.samples)) {
			s.full = true
			return false
		}
		s.gaps = append(s.gaps, [2]int{len(s.samples), len(s.samples) + int(d)})
		s.samples = append(s.samples, make([]float32, d)...)
	case d < -jitter:
		b = b[min(int64(len(b)), -4*d):]
	case len(s.gaps) == 0 && len(s.off) < settle:
		s.off = append(s.off, float64(d))
	}
	if room := 4 * (s.most - len(s.samples)); len(b) > room {
		b, s.full = b[:room], true
	}
	s.samples = floats(s.samples, b)
	return !s.full
}

// sound returns what was put together.
func (s *strip) sound() swing.Sound {
	out := swing.Sound{Rate: SoundRate, Samples: s.samples}
	if !s.begun {
		return out
	}
	out.Start = float64(s.begin) / SoundRate
	if len(s.off) > 0 {
		// The first time was rounded like all others; their middle is not.
		sum := 0.0
		for _, d := range s.off {
			sum += d
		}
		out.Start += sum / float64(len(s.off)) / SoundRate
	}
	for _, g := range s.gaps {
		out.Gaps = append(out.Gaps, [2]float64{out.Start + float64(g[0])/SoundRate, out.Start + float64(g[1])/SoundRate})
	}
	return out
}

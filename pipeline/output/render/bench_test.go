package render

import (
	"context"
	"math/rand/v2"
	"syscall"
	"testing"
	"time"

	"plantframe/pipeline/swing"
)

// noisyFrames stand for a phone's pictures: a still, textured background with
// fresh sensor noise in each of a ring of eight, and a body-sized block that
// moves.
func noisyFrames(w, h int) [][]byte {
	r := rand.New(rand.NewPCG(1, 2))
	ground := make([]byte, 3*w*h)
	for y := range h {
		for x := range w {
			v := 60 + (x*7/(1+y/40))%60 + r.IntN(30)
			for k := range 3 {
				ground[3*(y*w+x)+k] = byte(v + 20*k)
			}
		}
	}
	ring := make([][]byte, 8)
	for i := range ring {
		p := make([]byte, len(ground))
		for k, v := range ground {
			p[k] = v + byte(r.IntN(5)) // about 1.4 grey levels
		}
		for y := h / 3; y < h*4/5; y++ {
			for x := w*4/10 + 6*i; x < w*5/10+6*i; x++ {
				p[3*(y*w+x)] = byte(180 + (x+y)%40)
			}
		}
		ring[i] = p
	}
	return ring
}

// BenchmarkDraw draws a clip of 4 s at 60 fps and 1280x720, all of it shown.
// Besides the wall time it reports the processor time of this process and of
// the encoder, which other work on the machine does not change.
func BenchmarkDraw(b *testing.B) {
	const w, h = 1280, 720
	ring := noisyFrames(w, h)
	m := steadyClip(w, h, 60, 4)
	a := analysisOf(m, 2, map[swing.EventName]float64{
		swing.Stance: 0.3, swing.Load: 1.2, swing.Lift: 1.5, swing.Touch: 2,
		swing.Plant: 2.04, swing.Contact: 2.2, swing.Finish: 3.6,
	})
	frames := func(yield func(swing.Frame, error) bool) {
		for i, t := range m.times {
			if !yield(swing.Frame{Index: i, Time: t, Width: w, Height: h, Pix: ring[i%8]}, nil) {
				return
			}
		}
	}
	b.ResetTimer()
	start := cpu()
	for b.Loop() {
		if err := Draw(context.Background(), frames, a, b.TempDir(), DefaultOptions(), nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64((cpu()-start).Milliseconds())/float64(b.N), "cpu-ms/op")
}

// cpu is the processor time of this process and of children that ended.
func cpu() time.Duration {
	var sum time.Duration
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if err := syscall.Getrusage(who, &u); err == nil {
			sum += time.Duration(u.Utime.Nano() + u.Stime.Nano())
		}
	}
	return sum
}

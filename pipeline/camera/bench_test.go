package camera

import (
	"syscall"
	"testing"
	"time"

	"plantframe/pipeline/swing"
)

// BenchmarkAdd measures one 720p frame of a shaking camera.
func BenchmarkAdd(b *testing.B) {
	for _, size := range [][2]int{{1280, 720}, {1920, 1080}} {
		b.Run(name(size), func(b *testing.B) {
			scene := newScene(1, 3000)
			fo, err := New(Options{})
			if err != nil {
				b.Fatal(err)
			}
			defer fo.Close()
			var frames []swing.Frame
			for i := range 8 {
				v := firstView().turned(step{0.002 * float64(i%3), 0.001 * float64(i%4), 0, 0})
				frames = append(frames, scene.frame(size[0], size[1], i, v, nil))
			}
			box := []swing.Box{{X0: 0.4 * float64(size[0]), X1: 0.6 * float64(size[0]), Y0: 0.2 * float64(size[1]), Y1: 0.9 * float64(size[1])}}
			b.ReportAllocs()
			b.ResetTimer()
			before := cpuTime(b)
			for i := range b.N {
				if err := fo.Add(frames[i%len(frames)], box); err != nil {
					b.Fatal(err)
				}
			}
			// Processor time too: the wall clock of a busy machine says little.
			b.ReportMetric((cpuTime(b)-before).Seconds()*1e3/float64(b.N), "cpu-ms/op")
		})
	}
}

// cpuTime returns the processor time this process has used.
func cpuTime(tb testing.TB) time.Duration {
	tb.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

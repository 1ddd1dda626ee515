package ingest

import (
	"context"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// BenchmarkDecode reads whole clips. frames/s is wall time; cpu-ms/frame counts
// the processor time of this process and of ffmpeg, which says more on a busy
// machine.
func BenchmarkDecode(b *testing.B) {
	dir := b.TempDir()
	for _, c := range []struct {
		name, size string
		frames     string
		side       int
	}{
		{"720p", "1280x720", "240", 0},
		{"1080p", "1920x1080", "120", 0},
		{"1080p to 1280", "1920x1080", "120", 1280},
		{"4K to 1920", "3840x2160", "60", 1920},
		{"4K to 640", "3840x2160", "60", 640},
	} {
		path := h264(b, filepath.Join(dir, c.name+".mp4"), "testsrc2=r=60:s="+c.size, "-frames:v", c.frames)
		clip := probe(b, path)
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			before := cpuTime(b)
			start := time.Now()
			for range b.N {
				r, err := Open(context.Background(), clip, OpenOptions{MaxSide: c.side})
				if err != nil {
					b.Fatal(err)
				}
				n += drain(b, r)
				if err := r.Close(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)/time.Since(start).Seconds(), "frames/s")
			b.ReportMetric((cpuTime(b)-before).Seconds()*1e3/float64(n), "cpu-ms/frame")
		})
	}
}

// BenchmarkProbe describes one clip.
func BenchmarkProbe(b *testing.B) {
	path := h264(b, filepath.Join(b.TempDir(), "a.mp4"), "testsrc2=r=60:s=1280x720:d=4")
	for range b.N {
		probe(b, path)
	}
}

// cpuTime returns the processor time of this process and its ended children.
func cpuTime(tb testing.TB) time.Duration {
	tb.Helper()
	var sum int64
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if err := syscall.Getrusage(who, &u); err != nil {
			tb.Fatal(err)
		}
		sum += u.Utime.Nano() + u.Stime.Nano()
	}
	return time.Duration(sum)
}

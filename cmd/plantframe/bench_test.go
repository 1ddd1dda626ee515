package main

import (
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
	"plantframe/models"
	"plantframe/pipeline"
)

// Benchmarks of whole analyses with the installed networks. scripts/bench runs
// them; go test alone does not.
var (
	benchClip    = flag.String("clip", "../../testdata/clips/open-right.mp4", "clip for the benchmarks")
	benchQuality = flag.String("quality", "full", "quality for the benchmarks")
)

// analyzeOnce runs the command with real workers on clips and returns the wall
// time and the workers, still open.
func analyzeOnce(b *testing.B, jobs, threads int, clips ...string) (time.Duration, []*analyst) {
	b.Helper()
	var workers []*analyst
	var errs strings.Builder
	a := &app{
		stdout: io.Discard, stderr: &errs,
		newWorker: func(s config.Settings, threads int, artifacts pipeline.Artifacts) (worker, error) {
			w, err := openWorker(s, threads, artifacts)
			if err != nil {
				return nil, err
			}
			workers = append(workers, w.(*analyst))
			return keepOpen{w}, nil
		},
		terminal: func(io.Writer) (bool, int) { return false, 0 },
	}
	s := config.Default()
	s.Out, s.NoCache, s.Jobs, s.Threads, s.Quality = b.TempDir(), true, jobs, threads, *benchQuality
	start := time.Now()
	if err := a.analyzeClips(b.Context(), s, clips, nil, nil); err != nil {
		b.Fatal(err)
	}
	took := time.Since(start)
	if a.code != exitDone {
		b.Fatalf("exit code %d: %s", a.code, errs.String())
	}
	return took, workers
}

// keepOpen is a worker whose networks outlive the run.
type keepOpen struct{ worker }

func (keepOpen) Close() error { return nil }

// alone runs each network of a worker as often as its estimator did: in the
// worker's own way, frames at once in its lanes.
func alone(b *testing.B, w *analyst) time.Duration {
	b.Helper()
	runs := runsOf(w)
	start := time.Now()
	for id, twins := range w.sessions {
		var group errgroup.Group
		for k, s := range twins {
			group.Go(func() error {
				for range (runs[id] + k) / len(twins) {
					if err := s.Run(); err != nil {
						return err
					}
				}
				return nil
			})
		}
		if err := group.Wait(); err != nil {
			b.Fatal(err)
		}
	}
	took := time.Since(start)
	for id, n := range runs {
		b.Logf("%s ran %d times", id, n)
	}
	return took
}

// oneByOne runs each network as often as alone does, but one run after
// another, with all threads in each.
func oneByOne(b *testing.B, w *analyst) time.Duration {
	b.Helper()
	var took time.Duration
	for id, n := range runsOf(w) {
		m, err := models.Lookup(id)
		if err != nil {
			b.Fatal(err)
		}
		s, err := w.store.Open(m, models.SessionOptions{Threads: w.threads})
		if err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		for range n {
			if err := s.Run(); err != nil {
				b.Fatal(err)
			}
		}
		took += time.Since(start)
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
	return took
}

func runsOf(w *analyst) map[string]int {
	runs := w.estimator.Runs()
	name, looks := w.bat.Runs()
	runs[name] = looks
	return runs
}

// cpuTime returns the processor time that this process and its finished children
// have taken. Unlike wall time it hardly depends on other load.
func cpuTime(b *testing.B) time.Duration {
	b.Helper()
	var sum time.Duration
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if err := syscall.Getrusage(who, &u); err != nil {
			b.Fatal(err)
		}
		sum += time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	return sum
}

// BenchmarkAnalyze compares a whole analysis, pictures and video included,
// with its networks alone: the same sessions, the same number of runs, the
// same threads. Opening the networks counts as analysis. one-by-one is the same
// number of runs one after another with all threads in each.
func BenchmarkAnalyze(b *testing.B) {
	var whole, networks, serial, wholeCPU, networksCPU time.Duration
	for b.Loop() {
		before := cpuTime(b)
		took, workers := analyzeOnce(b, 1, 0, *benchClip)
		whole += took
		middle := cpuTime(b)
		wholeCPU += middle - before
		for _, w := range workers {
			networks += alone(b, w)
			networksCPU += cpuTime(b) - middle
			serial += oneByOne(b, w)
			if err := w.Close(); err != nil {
				b.Fatal(err)
			}
		}
	}
	n := float64(b.N)
	b.ReportMetric(whole.Seconds()/n, "analyze-s")
	b.ReportMetric(networks.Seconds()/n, "networks-s")
	b.ReportMetric(whole.Seconds()/networks.Seconds(), "times-networks")
	b.ReportMetric(serial.Seconds()/n, "one-by-one-s")
	b.ReportMetric(whole.Seconds()/serial.Seconds(), "times-one-by-one")
	b.ReportMetric(wholeCPU.Seconds()/n, "analyze-cpu-s")
	b.ReportMetric(networksCPU.Seconds()/n, "networks-cpu-s")
}

// BenchmarkTwoClips compares two clips at once with one after the other, one
// thread each, and with all threads for one clip at a time.
func BenchmarkTwoClips(b *testing.B) {
	data, err := os.ReadFile(*benchClip)
	if err != nil {
		b.Fatal(err)
	}
	// The same swing twice with different bytes: readers pass over what
	// follows the last box of a file.
	second := filepath.Join(b.TempDir(), "second.mp4")
	if err := os.WriteFile(second, append(data, "\x00\x00\x00\x08free"...), 0o600); err != nil {
		b.Fatal(err)
	}
	var after, wide, together time.Duration
	for b.Loop() {
		for _, c := range []struct {
			sum           *time.Duration
			jobs, threads int
		}{{&after, 1, 1}, {&wide, 1, 0}, {&together, 2, 1}} {
			took, workers := analyzeOnce(b, c.jobs, c.threads, *benchClip, second)
			*c.sum += took
			for _, w := range workers {
				if err := w.Close(); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
	n := float64(b.N)
	b.ReportMetric(after.Seconds()/n, "one-thread-after-another-s")
	b.ReportMetric(wide.Seconds()/n, "all-threads-after-another-s")
	b.ReportMetric(together.Seconds()/n, "at-once-s")
	b.ReportMetric(after.Seconds()/together.Seconds(), "times-faster-at-once")
}

// BenchmarkScreen proves that the bar costs nothing beside a frame.
func BenchmarkScreen(b *testing.B) {
	s := ui.NewScreen(io.Discard, ui.ScreenOptions{Terminal: true, Width: 100, Shares: stageShares()})
	s.Begin(1, nil)
	c := s.Clip("clip")
	c.Stage("pose", b.N)
	for b.Loop() {
		c.Add(1)
	}
}

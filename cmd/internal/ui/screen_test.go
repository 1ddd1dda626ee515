package ui_test

import (
	"bytes"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"plantframe/cmd/internal/ui"
)

// ticker is a clock that tests move.
type ticker struct {
	mu sync.Mutex
	t  time.Time
}

func (c *ticker) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *ticker) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

var shares = []ui.Share{{"look", 1}, {"follow", 3}}

func screen(buf *bytes.Buffer, o ui.ScreenOptions) (*ui.Screen, *slog.Logger, *ticker) {
	c := &ticker{t: time.Unix(1000, 0)}
	o.Now, o.Shares = c.now, shares
	s := ui.NewScreen(buf, o)
	return s, slog.New(slog.NewTextHandler(s, nil)), c
}

// A pipe gets a line every ten per cent, no bar and no control characters.
func TestScreenLogsWithoutTerminal(t *testing.T) {
	var buf bytes.Buffer
	s, log, clock := screen(&buf, ui.ScreenOptions{})
	s.Begin(2, log)
	for i := range 2 {
		c := s.Clip(fmt.Sprintf("clip%d", i))
		for _, stage := range []string{"look", "follow"} {
			c.Stage(stage, 100)
			for range 100 {
				clock.pass(50 * time.Millisecond)
				c.Add(1)
			}
		}
		c.Done()
	}
	s.End()
	out := buf.String()
	if strings.ContainsAny(out, "\r\x1b") {
		t.Errorf("control characters in a pipe: %q", out)
	}
	if n := strings.Count(out, "msg=progress"); n != 9 { // 10 % to 90 %
		t.Errorf("%d progress lines, want 9:\n%s", n, out)
	}
	// The first clip is half of the run and took 10 s of 20 s.
	for _, want := range []string{"percent=50 clips_done=0 clips=2 frames_per_s=20.0 left=0:10", "percent=90 clips_done=1"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// The bar shows the stage, the speed and the time left, and is not drawn more
// often than the throttle says.
func TestScreenBar(t *testing.T) {
	var buf bytes.Buffer
	s, log, clock := screen(&buf, ui.ScreenOptions{Terminal: true, Width: 100})
	s.Begin(1, log)
	c := s.Clip("swing")
	c.Stage("follow", 1000)
	buf.Reset()
	for range 500 {
		clock.pass(10 * time.Millisecond)
		c.Add(1)
	}
	drawn := strings.Count(buf.String(), "swing: follow")
	if drawn < 10 || drawn > 90 { // 5 s at 100 ms, and once more where the per cent moved
		t.Errorf("drawn %d times in 5 s with a throttle of 100 ms", drawn)
	}
	// follow is 3/4 of the work, half done, and look was left out: 62.5 % in
	// 5 s, so 3 s remain.
	for _, want := range []string{"62%", "100 frames/s", "0:03 left"} {
		if !strings.Contains(buf.String(), want) {
			t.Errorf("the bar does not show %q", want)
		}
	}
	buf.Reset()
	log.Warn("something")
	if !strings.HasPrefix(buf.String(), "\x1b[2K\r") || !strings.HasSuffix(buf.String(), "\n") {
		t.Errorf("a log line tears the bar: %q", buf.String())
	}
	buf.Reset()
	s.End()
	log.Info("after")
	if strings.Contains(buf.String(), "[=") {
		t.Error("the bar is still there after End")
	}
}

// A stage that comes again, for the second swing of a clip, moves the bar on
// and never back.
func TestScreenStageAgain(t *testing.T) {
	var buf bytes.Buffer
	s, log, clock := screen(&buf, ui.ScreenOptions{})
	s.Begin(1, log)
	c := s.Clip("swing")
	for range 3 {
		c.Stage("follow", 100)
		for range 100 {
			clock.pass(10 * time.Millisecond)
			c.Add(1)
		}
	}
	c.Done()
	last := 0
	for line := range strings.Lines(buf.String()) {
		var percent int
		_, after, _ := strings.Cut(line, "percent=")
		if _, err := fmt.Sscan(after, &percent); err != nil || percent <= last {
			t.Errorf("after %d %%: %s", last, line)
		}
		last = percent
	}
	if last != 90 {
		t.Errorf("the last line says %d %%", last)
	}
}

// No line of the bar may be wider than the terminal, or it leaves rubbish.
func TestScreenBarFits(t *testing.T) {
	for _, width := range []int{40, 60, 80, 120} {
		var buf bytes.Buffer
		s, log, clock := screen(&buf, ui.ScreenOptions{Terminal: true, Width: width})
		s.Begin(120, log)
		c := s.Clip(strings.Repeat("スイング", 20))
		c.Stage("follow", 100)
		for range 90 {
			clock.pass(time.Second)
			c.Add(1)
		}
		for _, line := range strings.FieldsFunc(buf.String(), func(r rune) bool { return r == '\r' }) {
			line = strings.ReplaceAll(strings.ReplaceAll(line, "\x1b[2K", ""), "\x1b[0K", "")
			if n := ui.Columns(strings.TrimRight(line, " ")); n >= width {
				t.Fatalf("%d columns on a terminal of %d: %q", n, width, line)
			}
		}
	}
}

// Clips of several workers report at once; -race watches.
func TestScreenConcurrent(t *testing.T) {
	for _, terminal := range []bool{true, false} {
		var buf bytes.Buffer
		s, log, _ := screen(&buf, ui.ScreenOptions{Terminal: terminal})
		s.Begin(4, log)
		var wg sync.WaitGroup
		for i := range 4 {
			wg.Go(func() {
				c := s.Clip(fmt.Sprint(i))
				for _, stage := range []string{"look", "follow"} {
					c.Stage(stage, 50)
					for range 50 {
						c.Add(1)
						log.Debug("frame")
					}
				}
				log.Info("clip done")
				c.Done()
			})
		}
		wg.Wait()
		s.End()
		if n := strings.Count(buf.String(), "clip done"); n != 4 {
			t.Errorf("terminal %v: %d of 4 lines arrived", terminal, n)
		}
	}
}

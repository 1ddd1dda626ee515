package ui

import (
	"fmt"
	"strings"
)

// barSteps is the bar's own scale: fine enough that a 1 % step of a long run
// moves it.
const barSteps = 1000

// barWidth is the length of the bar proper, columns; percentBox is what is
// printed before it (a blank, "100%", a blank, two brackets and a blank).
const (
	barWidth   = 24
	percentBox = 11
)

// show brings the bar up to date, or logs the next step. s.mu is held.
func (s *Screen) show() {
	if s.bar != nil {
		s.draw(false)
		return
	}
	percent := int(100 * s.state.fraction())
	step := percent / s.o.LogStep * s.o.LogStep
	if s.log == nil || step <= s.told || step >= 100 {
		return
	}
	s.told = step
	args := []any{"percent", step, "clips_done", s.state.finished(), "clips", s.state.total}
	if s.state.rate > 0 {
		args = append(args, "frames_per_s", fmt.Sprintf("%.1f", s.state.rate))
	}
	if d, ok := s.state.left(s.o.Now()); ok {
		args = append(args, "left", clock(d))
	}
	// The handler may write through s: let go of the lock meanwhile.
	log := s.log
	s.mu.Unlock()
	log.Info("progress", args...)
	s.mu.Lock()
}

// draw paints the bar when the last painting is old enough. s.mu is held.
func (s *Screen) draw(force bool) {
	now := s.o.Now()
	if !force && now.Sub(s.drawn) < s.o.Throttle {
		return
	}
	s.drawn = now
	// The last step would end the bar; End takes it away instead.
	_ = s.bar.Set64(min(barSteps-1, int64(barSteps*s.state.fraction())))
	s.bar.Describe(s.describe()) // paints
}

// describe is the text beside the bar: which clip, which stage, how fast, how
// long, cut to the terminal's width.
func (s *Screen) describe() string {
	var name, rest []string
	r := &s.state
	if r.total > 1 {
		rest = append(rest, fmt.Sprintf("%d/%d clips", r.finished(), r.total))
	}
	if c := r.last; c != nil {
		name = append(name, Plain(c.name))
		if c.stage != "" {
			rest = append(rest, c.stage)
		}
	}
	switch {
	case r.rate >= 10:
		rest = append(rest, fmt.Sprintf("%.0f frames/s", r.rate))
	case r.rate >= 0.1:
		rest = append(rest, fmt.Sprintf("%.1f frames/s", r.rate))
	}
	if d, ok := r.left(s.o.Now()); ok {
		rest = append(rest, clock(d)+" left")
	}
	tail := strings.Join(rest, ", ")
	room := s.o.Width - 1 - percentBox - barWidth - Columns(tail) - 2
	text := tail
	if len(name) > 0 && room >= 6 {
		text = Cut(name[0], min(room, 30))
		if tail != "" {
			text += ": " + tail
		}
	}
	return Cut(text, max(1, s.o.Width-1-percentBox-barWidth))
}

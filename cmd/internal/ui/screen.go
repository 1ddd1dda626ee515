package ui

import (
	"io"
	"log/slog"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
)

// ScreenOptions say how a Screen looks.
type ScreenOptions struct {
	// Terminal draws a bar; without it progress is logged.
	Terminal bool
	// Width is the terminal's width, columns. Default 80.
	Width int
	// LogStep is the distance of two progress lines where there is no bar,
	// per cent of the whole run. Default 10. Larger = fewer lines.
	LogStep int
	// Throttle is the shortest time between two drawings of the bar.
	// Default 100 ms: a frame may come every 5 ms, an eye does not.
	Throttle time.Duration
	// Shares tells which part of a clip's time each stage takes, in the order
	// of the stages. They need not sum to 1. A stage may be left out by a
	// clip; one that is not listed moves no bar.
	Shares []Share
	// Now is the clock; tests hand in their own. Default time.Now.
	Now func() time.Time
}

// Share is a stage's part of the time of a clip.
type Share struct {
	Stage string
	Part  float64
}

// DefaultScreenOptions returns the defaults described at ScreenOptions.
func DefaultScreenOptions() ScreenOptions {
	return ScreenOptions{Width: 80, LogStep: 10, Throttle: 100 * time.Millisecond, Now: time.Now}
}

// Screen is the one writer to standard error: the bar and all log lines go
// through it, so that neither tears the other. It is safe for concurrent use.
type Screen struct {
	o ScreenOptions

	mu    sync.Mutex
	w     io.Writer
	log   *slog.Logger // progress lines where there is no bar
	bar   *progressbar.ProgressBar
	state run
	drawn time.Time
	told  int // last per cent logged
}

// NewScreen returns a Screen that writes to w. It shows nothing until Begin.
func NewScreen(w io.Writer, o ScreenOptions) *Screen {
	d := DefaultScreenOptions()
	if o.Width <= 0 {
		o.Width = d.Width
	}
	if o.LogStep <= 0 {
		o.LogStep = d.LogStep
	}
	if o.Throttle <= 0 {
		o.Throttle = d.Throttle
	}
	if o.Now == nil {
		o.Now = d.Now
	}
	return &Screen{o: o, w: w}
}

// Write puts whole lines above the bar. It makes Screen the writer of a log
// handler.
func (s *Screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.bar != nil {
		_ = s.bar.Clear()
		s.drawn = time.Time{} // draw again at the next chance
	}
	return s.w.Write(p)
}

// Begin starts a run of n clips. log takes the progress lines where there is
// no bar; it may be nil for silence.
func (s *Screen) Begin(n int, log *slog.Logger) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.log = log
	s.told = 0
	s.state = newRun(n, s.o.Shares, s.o.Now())
	if !s.o.Terminal {
		return
	}
	s.bar = progressbar.NewOptions64(barSteps,
		progressbar.OptionSetWriter(s.w),
		progressbar.OptionUseANSICodes(true),
		progressbar.OptionClearOnFinish(),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionSetElapsedTime(false),
		progressbar.OptionSetWidth(barWidth),
		progressbar.OptionShowDescriptionAtLineEnd(), // the bar stays put while the text changes
		progressbar.OptionSetTheme(progressbar.Theme{Saucer: "=", SaucerHead: ">", SaucerPadding: " ", BarStart: "[", BarEnd: "]"}),
	)
	s.draw(true)
}

// End takes the bar away. Log lines may still be written.
func (s *Screen) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.bar != nil {
		_ = s.bar.Clear()
		s.bar = nil
	}
}

// Clip starts the progress of one clip; name is shown while it is the one that
// moves.
func (s *Screen) Clip(name string) *Clip {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := &Clip{screen: s, name: name}
	s.state.clips = append(s.state.clips, c)
	return c
}

package ui

import "plantframe/pipeline/swing"

// Clip is the progress of one clip. It implements swing.Progress and may be
// used while other clips of the same Screen move.
type Clip struct {
	screen *Screen
	name   string

	// The rest is guarded by screen.mu.
	stage string
	units int     // of the stage; 0 = unknown
	at    int     // units done of the stage
	best  float64 // farthest fraction shown
	done  bool
}

var _ swing.Progress = (*Clip)(nil)

// Stage begins a stage of total units, frames as a rule; 0 = unknown. The same
// stage again, for another part of the clip, adds to its units. Stages that
// were left out count as done.
func (c *Clip) Stage(name string, total int) {
	s := c.screen
	s.mu.Lock()
	defer s.mu.Unlock()
	if name == c.stage {
		c.units += total
	} else {
		c.stage, c.units, c.at = name, total, 0
	}
	s.state.last = c
	s.show()
}

// Add reports n more units of the stage done.
func (c *Clip) Add(n int) {
	s := c.screen
	s.mu.Lock()
	defer s.mu.Unlock()
	c.at += n
	s.state.last = c
	s.state.count(n, s.o.Now())
	s.show()
}

// Done ends the clip, well or not. Calling it again changes nothing.
func (c *Clip) Done() {
	s := c.screen
	s.mu.Lock()
	defer s.mu.Unlock()
	c.done = true
	s.show()
}

// fraction returns how much of the clip is done, 0 to 1. It never falls.
func (c *Clip) fraction() float64 {
	if c.done {
		return 1
	}
	if before, part, ok := c.screen.state.share(c.stage); ok {
		f := before
		if c.units > 0 {
			f += part * min(1, float64(c.at)/float64(c.units))
		}
		c.best = max(c.best, f)
	}
	return c.best
}

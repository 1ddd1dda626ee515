package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// strip is the band at the top or bottom edge: event, time, frame number,
// whose swing it is, and a line of time with a mark at each event.
type strip struct {
	st    *style
	sec   *section
	rect  rect
	top   bool
	lines int // 1, or 2 where one is too narrow
}

// newStrip places the band at the edge that the hitter leaves more room at.
func newStrip(st *style, sec *section, hitter rect) strip {
	s := strip{st: st, sec: sec, lines: 1}
	widest := 0.0
	for n, e := range sec.s.Events {
		widest = math.Max(widest, s.bannerWidth(n, e))
	}
	gap := 1.5 * st.name.size
	all := widest + gap + st.name.width(whose(sec)) + gap + st.value.width(frameTime(0, 1000)) + 2*st.margin
	if all > st.w {
		s.lines = 2
	}
	height := math.Round(1.5 * st.title.size)
	if s.lines == 2 {
		height += st.rowHeight()
	}
	// A hitter's hands and bat reach above the head at stance, by about a
	// quarter of the standing height (common practice, no source).
	above := hitter.y0 - 0.25*hitter.h()
	s.top = above > st.h-hitter.y1
	s.rect = rect{0, 0, st.w, height}
	if !s.top {
		s.rect = rect{0, st.h - height, st.w, st.h}
	}
	return s
}

func (s *strip) bannerWidth(name swing.EventName, e swing.Event) float64 {
	return s.st.title.width(string(name)) + 0.5*s.st.title.size + s.st.value.width(eventTime(e)) + s.st.title.size
}

// now is what the band says of one frame.
type now struct {
	t     float64
	frame int
	event swing.EventName // "" when none is on
	slow  float64         // how many times slower than it was; 0 or 1: not
}

func (s *strip) draw(c *canvas, n now) {
	st, col := s.st, s.st.colour
	s.ground(c)
	base := s.rect.y0 + math.Round((1.5*st.title.size+st.title.height)/2)
	if e, ok := s.sec.s.Events[n.event]; ok {
		s.banner(c, base, n.event, e)
	}
	clock, side := frameTime(n.t, n.frame), whose(s.sec)
	if n.slow > 1 {
		side = slower(n.slow)
	}
	x := st.w - st.margin - st.value.width(clock)
	gap := 1.5 * st.name.size
	switch {
	case s.lines == 2:
		base += st.rowHeight()
		if st.margin+st.name.width(side)+gap > x {
			side = which(s.sec) // a narrow picture with several swings
		}
		st.name.put(c, st.margin, base, side, col.quiet, 1)
	default:
		st.name.put(c, x-gap-st.name.width(side), base, side, col.quiet, 1)
	}
	st.value.put(c, x, base, clock, col.text, 1)
	s.timeline(c, n)
}

func (s *strip) ground(c *canvas) { c.plate(s.rect, 0, s.st.colour.dark, 0.66) }

// banner draws the event's term on a light plate, its time beside it.
func (s *strip) banner(c *canvas, base float64, name swing.EventName, e swing.Event) {
	st, col := s.st, s.st.colour
	pad := 0.26 * st.title.size
	x := st.margin
	w := st.title.width(string(name))
	side := 0.35 * st.title.size
	p := rect{x, base - st.title.height - pad, x + w + 2*side, base + pad}
	c.plate(p, 0.22*st.title.size, col.accent, 1)
	st.title.put(c, x+side, base, string(name), col.dark, 1)
	st.value.put(c, p.x1+0.4*st.title.size, base, eventTime(e), col.text, 1)
}

// timeline draws the section's time along the band's inner edge.
func (s *strip) timeline(c *canvas, n now) {
	st, col := s.st, s.st.colour
	y := s.rect.y0
	if s.top {
		y = s.rect.y1
	}
	thick := math.Max(2, math.Round(2*st.unit))
	at := func(t float64) float64 {
		f := (t - s.sec.start) / (s.sec.end - s.sec.start)
		return st.margin + math.Max(0, math.Min(1, f))*(st.w-2*st.margin)
	}
	bar := func(x0, x1, half float64, col colour, alpha float64) {
		c.tint(rect{x0, y - half, x1, y + half}, col, alpha)
	}
	bar(0, st.w, thick, col.dark, 0.75)
	bar(st.margin, st.w-st.margin, thick/2, col.quiet, 0.55)
	bar(st.margin, at(n.t), thick/2, col.accent, 1)
	for name, e := range s.sec.s.Events {
		x, half, mark := at(e.Time), 2.2*thick, col.text
		if name == n.event {
			half, mark = 3.2*thick, col.accent
		}
		c.tint(rect{x - thick, y - half - 1, x + thick, y + half + 1}, col.dark, 0.75)
		c.tint(rect{x - thick/2, y - half, x + thick/2, y + half}, mark, 1)
	}
	p := swing.Point{X: at(n.t), Y: y}
	c.disc(p, 2.6*thick, col.dark, 0.75)
	c.disc(p, 1.9*thick, col.accent, 1)
}

// closing fills the band with the caution instead.
func (s *strip) closing(c *canvas) {
	st, col := s.st, s.st.colour
	lines := st.value.wrap(caution(), st.w-2*st.margin)
	need := float64(len(lines)) * st.rowHeight()
	r := s.rect
	if room := need + 0.6*st.name.size; r.h() < room {
		if s.top {
			r.y1 = r.y0 + room
		} else {
			r.y0 = r.y1 - room
		}
	}
	c.plate(r, 0, col.dark, 1)
	y := r.y0 + (r.h()-need)/2 + (st.rowHeight()+st.value.height)/2
	for _, l := range lines {
		st.value.put(c, (st.w-st.value.width(l))/2, y, l, col.text, 1)
		y += st.rowHeight()
	}
}

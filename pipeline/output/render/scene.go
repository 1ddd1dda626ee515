package render

import (
	"math"

	"plantframe/pipeline/swing"
)

// scene draws the frames of one section.
type scene struct {
	st    *style
	sec   *section
	k     float64 // canvas px per full-size px
	pace  pacer
	hold  int // video frames that plant stands still
	strip strip

	plantAt int // frame index on which plant is shown; -1 until it came
	panel   panel
	panelOK bool
	tagged  rect                     // of the number last drawn beside the bat; empty without one
	done    map[swing.EventName]bool // stills that are made or given up
}

// bannerTime is how long an event stays named, s of video.
const bannerTime = 0.35

func newScene(st *style, sec *section, k, fps, hold float64) *scene {
	sc := newTiming(sec, fps, hold)
	sc.st, sc.k = st, k
	sc.strip = newStrip(st, sec, sc.reach(sec.start, sec.end))
	return sc
}

// newTiming makes a scene that can tell when frames are shown, not draw them.
func newTiming(sec *section, fps, hold float64) *scene {
	return &scene{
		sec: sec, plantAt: -1,
		pace: pacer{sec: sec, fps: fps},
		hold: int(math.Round(hold * fps)),
		done: map[swing.EventName]bool{},
	}
}

// reach returns the rectangle that the hitter's points fill between two
// source times, canvas px; empty (far outside) when there are none.
func (sc *scene) reach(from, to float64) rect {
	r := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	t := &sc.sec.s.Track
	for i, at := range t.Times {
		if at < from || at > to || i >= len(t.Points) {
			continue
		}
		for _, p := range t.Points[i] {
			if !known(p) {
				continue
			}
			x, y := p.X*sc.k, p.Y*sc.k
			r = rect{math.Min(r.x0, x), math.Min(r.y0, y), math.Max(r.x1, x), math.Max(r.y1, y)}
		}
	}
	if r.x0 > r.x1 {
		x, y := sc.st.w/2, sc.st.h/2
		return rect{x, y, x, y}
	}
	return r
}

// frames says how often the frame before and this one are shown, and notes
// when plant comes.
func (sc *scene) frames(f swing.Frame) (before, times int) {
	plant, ok := sc.sec.s.Events[swing.Plant]
	isPlant := ok && sc.plantAt < 0 && f.Index >= plant.Frame && near(f, plant)
	before, times = sc.pace.step(f.Time, isPlant)
	if isPlant {
		sc.plantAt = f.Index
		times += sc.hold
	}
	return before, times
}

// near guards against naming a frame for an event whose own frame is lost.
func near(f swing.Frame, e swing.Event) bool { return math.Abs(f.Time-e.Time) <= 0.1 }

// dueStills returns the events whose still is to be taken from f: its own
// frame, or the first one after it when that is lost.
func (sc *scene) dueStills(f swing.Frame) []swing.EventName {
	var out []swing.EventName
	for _, name := range stillEvents() {
		e, ok := sc.sec.s.Events[name]
		if !ok || sc.done[name] || f.Index < e.Frame {
			continue
		}
		sc.done[name] = true
		if near(f, e) {
			out = append(out, name)
		}
	}
	return out
}

// still draws the picture of one event.
func (sc *scene) still(c *canvas, f swing.Frame, ev swing.EventName) {
	drawn := sc.figure(c, f, true, ev)
	if p, ok := sc.list(f, ev, drawn, f.Time); ok {
		p.draw(c)
	}
	sc.strip.draw(c, now{t: f.Time, frame: f.Index, event: ev})
}

// compose draws one picture of the video.
func (sc *scene) compose(c *canvas, f swing.Frame) {
	slow := sc.sec.inSlow(f.Time)
	var at swing.EventName // whose numbers stand in the picture
	if f.Index == sc.plantAt {
		at = swing.Plant
	}
	drawn := sc.figure(c, f, slow || f.Index == sc.plantAt, at)
	if f.Index == sc.plantAt {
		// The list of plant stays on while the swing goes on.
		until := f.Time
		if !math.IsInf(sc.sec.slow1, 1) {
			until = math.Max(until, sc.sec.slow1)
		}
		sc.panel, sc.panelOK = sc.list(f, swing.Plant, drawn, until)
	}
	if sc.panelOK && (slow || f.Index == sc.plantAt) {
		sc.panel.draw(c)
	}
	n := now{t: f.Time, frame: f.Index, event: sc.current(f)}
	if slow {
		n.slow = sc.sec.factor
	}
	sc.strip.draw(c, n)
}

// figure draws the hitter and the bat, with the lines of the launch position when
// it is on show, and with the numbers of event ev unless that is "".
func (sc *scene) figure(c *canvas, f swing.Frame, launch bool, ev swing.EventName) map[line]bool {
	fig, ok := figureAt(sc.sec, f.Index, sc.k, sc.st.unit)
	if !ok {
		return nil
	}
	fig.skeleton(c, sc.st.colour)
	if !launch {
		fig.thinBat(c, sc.st.colour)
		return nil
	}
	fig.hands = trail(sc.sec, f.Index, sc.k)
	drawn := fig.launch(c, sc.st.colour)
	sc.tagged = rect{}
	if g, ok := sc.batTag(&fig, ev); ok {
		g.draw(c, sc.st)
		sc.tagged = g.rect
	}
	return drawn
}

// list makes the panel of ev for frame f, to stay on until a source time.
func (sc *scene) list(f swing.Frame, ev swing.EventName, drawn map[line]bool, until float64) (panel, bool) {
	hitter := sc.withBat(sc.reach(f.Time-1e-6, until+1e-6), ev, f.Time, until)
	if sc.tagged.area() > 0 {
		hitter = hitter.or(sc.tagged)
	}
	free := rect{0, 0, sc.st.w, sc.strip.rect.y0}
	if sc.strip.top {
		free = rect{0, sc.strip.rect.y1, sc.st.w, sc.st.h}
	}
	return newPanel(sc.st, "at "+string(ev), panelRows(sc.sec.s, ev, drawn), free, hitter)
}

// withBat widens the hitter's rectangle by where the bat is: until plant it
// reaches about a sixth of the standing height over the head and a fifth
// beyond the hands; later it comes round to the pitcher's or the plate's side,
// which for a right-handed hitter is the right one in both views, and reaches
// four tenths beyond (common practice, no source). Where the bat is seen nearly all
// the time from one source time to another, its own places are taken instead.
func (sc *scene) withBat(r rect, ev swing.EventName, from, to float64) rect {
	if b, ok := sc.batReach(from, to); ok {
		return r.or(b)
	}
	left, right, over := r.h()/5, r.h()/5, r.h()/6
	if (ev == swing.Plant && to > from) || ev == swing.Contact {
		if sc.sec.s.Bats == swing.Left {
			left = 0.4 * r.h()
		} else {
			right = 0.4 * r.h()
		}
	}
	return rect{r.x0 - left, r.y0 - over, r.x1 + right, r.y1}
}

// batReach returns the rectangle that the bat fills between two source times; ok is
// false unless it is seen in nine frames of ten.
func (sc *scene) batReach(from, to float64) (r rect, ok bool) {
	s := sc.sec.s
	all, seen := 0, 0
	for i, t := range s.Track.Times {
		if t < from-1e-6 || t > to+1e-6 {
			continue
		}
		all++
		b, ok := batMarkAt(s, i, sc.k)
		if !ok {
			continue
		}
		m := 4*sc.st.unit + b.reach
		at := rect{
			math.Min(b.knob.X, b.tip.X) - m, math.Min(b.knob.Y, b.tip.Y) - m,
			math.Max(b.knob.X, b.tip.X) + m, math.Max(b.knob.Y, b.tip.Y) + m,
		}
		if seen++; seen == 1 {
			r = at
		} else {
			r = r.or(at)
		}
	}
	return r, seen > 0 && 10*seen >= 9*all
}

// current returns the event that is named while f is shown.
func (sc *scene) current(f swing.Frame) swing.EventName {
	var name swing.EventName
	latest := math.MinInt
	for _, n := range swing.EventNames() {
		e, ok := sc.sec.s.Events[n]
		if !ok || e.Frame > f.Index || e.Frame < latest {
			continue
		}
		if sc.sec.clock(f.Time)-sc.sec.clock(e.Time) <= bannerTime {
			name, latest = n, e.Frame
		}
	}
	return name
}

package fuse

import (
	"fmt"
	"math"
	"math/rand/v2"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Method is what Measure.Method says of a measure from two views.
const Method = "two-views"

// limit says when a number stops being useful, as in package measure.
type limit struct{ weak, none float64 }

var (
	turnLimit  = limit{12, 15}
	bendLimit  = limit{12, 25}
	timeLimit  = limit{30, 90}
	reachLimit = limit{0.03, 0.08}
)

// At contact a body turns by some ten degrees in the error of the clocks alone, and
// lead hip, lead shoulder and elbow are hidden from both sides in turn: only the knee,
// which is still, is read there.
var (
	turnEvents = []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant}
	kneeEvents = []swing.EventName{swing.Stance, swing.Touch, swing.Plant, swing.Contact}
	batEvents  = []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant, swing.SwingStart, swing.Contact}
)

// solution is the whole result: the best course and those of the draws.
type solution struct {
	best   course
	draws  []course
	events map[swing.EventName]swing.Event // open clock
	first  float64                         // s, of the instants
	last   float64
	seed   uint64
	sw     *swing.Swing // open side, for frames
}

// measures reads all measures at the events.
func (s *solution) measures() []swing.Measure {
	var out []swing.Measure
	for _, m := range []struct {
		id     string
		angle  int
		events []swing.EventName
		limit  limit
	}{
		{"shoulder_turn", shoulderTurn, turnEvents, turnLimit},
		{"hip_turn", hipTurn, turnEvents, turnLimit},
		{"separation", separation, turnEvents, turnLimit},
		{"lead_elbow_flexion", leadElbow, turnEvents, bendLimit},
		{"rear_elbow_flexion", rearElbow, turnEvents, bendLimit},
		{"front_knee_flexion", leadKnee, kneeEvents, bendLimit},
	} {
		for _, e := range m.events {
			out = append(out, s.at(m.id, "deg", e, m.limit, func(c *course, t float64) (float64, bool) { return degrees(c.angles[m.angle].At(t)), true }))
		}
	}
	if stance, ok := s.known(swing.Stance); ok {
		for _, e := range turnEvents[1:] {
			out = append(out, s.at("shoulder_turn_since_stance", "deg", e, turnLimit, func(c *course, t float64) (float64, bool) {
				a := c.angles[shoulderTurn]
				return degrees(a.At(t) - a.At(stance.Time)), true
			}))
		}
	}
	out = append(out, s.peak()...)
	if s.best.reach != nil {
		for _, e := range batEvents {
			out = append(out, s.at("barrel_distance", "stature", e, reachLimit, s.reach))
		}
	}
	return out
}

// known returns an event that lies within the instants.
func (s *solution) known(e swing.EventName) (swing.Event, bool) {
	ev, ok := s.events[e]
	return ev, ok && ev.Time >= s.first-1e-6 && ev.Time <= s.last+1e-6
}

// at reads a value at an event: of the best course, and its spread over the draws, in
// which the event moves by its own sigma.
func (s *solution) at(id, unit string, e swing.EventName, l limit, value func(c *course, t float64) (float64, bool)) swing.Measure {
	m := swing.Measure{ID: id, Event: e, Unit: unit, Method: Method}
	no := func(format string, a ...any) swing.Measure {
		m.Status, m.Reason = swing.NotMeasurable, fmt.Sprintf(format, a...)
		return m
	}
	ev, ok := s.known(e)
	if !ok {
		if _, found := s.events[e]; !found {
			return no("%s was not found in this swing", e)
		}
		return no("%s lies too far from plant", e)
	}
	v, ok := value(&s.best, ev.Time)
	if !ok {
		return no("the bat is not seen in both views at %s", e)
	}
	r := rand.New(rand.NewPCG(s.seed, uint64(len(e))))
	var all []float64
	for i := range s.draws {
		t := min(s.last, max(s.first, ev.Time+ev.Sigma*r.NormFloat64()))
		if x, ok := value(&s.draws[i], t); ok {
			all = append(all, x)
		}
	}
	if len(all) < len(s.draws)/2 {
		return no("the bat is not seen in both views at %s", e)
	}
	return graded(m, v, spread(v, all), l, s.frames(ev.Time))
}

// graded fills in a value with its status.
func graded(m swing.Measure, v, sigma float64, l limit, frames []int) swing.Measure {
	switch {
	case math.IsNaN(v) || math.IsNaN(sigma) || sigma > l.none:
		m.Status, m.Reason = swing.NotMeasurable, "both views together leave it open"
		return m
	case sigma > l.weak:
		m.Status, m.Reason = swing.Weak, "both views together leave much of it open"
	default:
		m.Status = swing.Measured
	}
	m.Value, m.Sigma, m.Frames = &v, &sigma, frames
	m.Words = swing.InWords(m.ID, v, sigma)
	return m
}

// frames returns the frame of the open side's clip next to a time.
func (s *solution) frames(t float64) []int {
	if i := signal.Nearest(s.sw.Track.Times, t); i >= 0 {
		return []int{s.sw.Track.Frames[i]}
	}
	return nil
}

// reach returns the barrel's distance; false where the bat is not seen nearby.
func (s *solution) reach(c *course, t float64) (float64, bool) {
	if c.reach == nil || !c.near(t) {
		return 0, false
	}
	return c.reach.At(t), true
}

// peak finds the largest coil between load and the middle of plant and contact, as in
// package measure.
func (s *solution) peak() []swing.Measure {
	value := swing.Measure{ID: "separation_peak", Unit: "deg", Method: Method}
	when := swing.Measure{ID: "separation_peak_time", Unit: "ms", Method: Method}
	load, ok := s.known(swing.Load)
	plant, okP := s.known(swing.Plant)
	contact, okC := s.events[swing.Contact]
	if !ok || !okP || !okC {
		return nil
	}
	lowest := func(c *course) (v, at float64) {
		v = math.Inf(1)
		for t := load.Time; t <= (plant.Time+contact.Time)/2; t += 0.01 {
			if x := degrees(c.angles[separation].At(t)); x < v {
				v, at = x, t
			}
		}
		return v, at
	}
	v, at := lowest(&s.best)
	if math.IsInf(v, 0) {
		return nil
	}
	var vs, ats []float64
	for i := range s.draws {
		x, t := lowest(&s.draws[i])
		vs, ats = append(vs, x), append(ats, 1000*t)
	}
	return []swing.Measure{
		graded(value, v, spread(v, vs), turnLimit, s.frames(at)),
		graded(when, 1000*(at-plant.Time), math.Hypot(spread(1000*at, ats), 1000*plant.Sigma), timeLimit, s.frames(at)),
	}
}

package fuse

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Steps of the adjustment.
const (
	firstSteps = 8
	nextSteps  = 6
	rounds     = 3 // of finding what hides what, and adjusting again
	drawSteps  = 3
	// leastCross is how much the directions of the cameras must differ for
	// their lines of sight to cut, degrees.
	leastCross = 35.0
	// leastInstants are needed for a fusion.
	leastInstants = 15
	// mostCost bounds what is left of each instant's squares; about 20 are
	// usual: 17 points of two coordinates from two views, of which three are
	// free. Common practice: three times as much is another body.
	mostCost = 60.0
)

// Swings puts two views of one swing together. a and b may come in any order; the
// results are for a's and b's clip in the same order, each on its own clock and
// without Partner, which the caller knows. It reads Bats, View, Events, Track, Bat,
// Turns and the picture's size.
//
// When both are not the same swing, or the cameras stand so that space cannot be told,
// the results are nil and the match says why. Errors are the context's, or *swing.Error
// of kind usage.
func Swings(ctx context.Context, a, b *swing.Swing, o Options) (Match, *swing.TwoViews, *swing.TwoViews, error) {
	m, err := Views(a, b, o)
	if err != nil || !m.Same {
		return m, nil, nil, err
	}
	open, rear := a, b
	if a.View == swing.Rear {
		open, rear = b, a
	}
	vo, vr := newView(open), newView(rear)
	events := bothEvents(open, rear, clock{offset: m.Offset, sigma: m.Sigma})
	times, stance := grid(vo, vr, m.Offset, events)
	refuse := func(format string, x ...any) (Match, *swing.TwoViews, *swing.TwoViews, error) {
		m.Same, m.Reason = false, fmt.Sprintf(format, x...)
		return m, nil, nil, nil
	}
	if len(times) < leastInstants {
		return refuse("too little of the swing is in both clips")
	}
	bu := newBundle(vo, vr, times, clock{offset: m.Offset, sigma: m.Sigma})
	bu.stance = stance
	s, ok, err := bu.adjust(ctx, events[swing.Plant].Time)
	if err != nil {
		return m, nil, nil, err
	}
	if !ok {
		return refuse("hips are not seen in both clips")
	}
	if cross := degrees(math.Abs(around(s.cameras[0].heading - s.cameras[1].heading))); cross < leastCross || cross > 180-leastCross {
		return refuse("both cameras look along nearly one line (%.0f degrees apart): where lines of sight do not cross, depth is not seen", cross)
	}
	if left := bu.left / (float64(len(times)) * bu.share); left > mostCost {
		return refuse("no body in space fits both pictures")
	}
	if gap, ok := bu.batApart(s, events[swing.Plant].Time); ok && gap > mostApart {
		return refuse("the barrel is not at one place in both")
	}
	events = bothEvents(open, rear, clock{offset: s.offset, sigma: m.Sigma})
	sol := &solution{best: bu.read(s, nil), events: events, first: times[0], last: times[len(times)-1], seed: o.Seed, sw: open}
	yaws, err := bu.draw(ctx, s, sol, o)
	if err != nil {
		return m, nil, nil, err
	}
	m.Offset = s.offset
	m.Sigma = spread(s.offset, yaws[2])
	out := sol.result(bu, s, yaws, m)
	mine, other := out, onClock(out, s.offset, open, rear)
	if a.View == swing.Rear {
		mine, other = other, mine
	}
	return m, mine, other, nil
}

// adjust finds the best state. ok is false when the hips are nowhere seen in both.
func (b *bundle) adjust(ctx context.Context, plant float64) (*state, bool, error) {
	reference := -1
	for i, t := range b.times {
		all := true
		for v := range b.views {
			all = all && b.points[i][v][hips].ok && b.points[i][v][hips+1].ok
		}
		if all && (reference < 0 || math.Abs(t-plant) < math.Abs(b.times[reference]-plant)) {
			reference = i
		}
	}
	if reference < 0 {
		return nil, false, nil
	}
	s := b.start(reference)
	var m normal
	b.left = b.solve(s, nil, firstSteps, &m)
	for range rounds {
		if err := ctx.Err(); err != nil {
			return nil, false, err
		}
		b.hide(s)
		b.look(s.offset)
		b.left = b.solve(s, nil, nextSteps, &m)
	}
	return s, true, nil
}

// draw adds the courses of disturbed adjustments to the solution, and returns the yaws
// of both cameras and the offsets in them.
func (b *bundle) draw(ctx context.Context, s *state, sol *solution, o Options) (yaws [3][]float64, err error) {
	r := rand.New(rand.NewPCG(o.Seed, 0x2f0e5))
	var m normal
	for range o.Draws {
		if err := ctx.Err(); err != nil {
			return yaws, err
		}
		d := b.disturb(r)
		t := s.clone()
		b.solve(t, d, drawSteps, &m)
		sol.draws = append(sol.draws, b.read(t, d))
		for v := range b.views {
			yaws[v] = append(yaws[v], degrees(t.cameras[v].heading))
		}
		yaws[2] = append(yaws[2], t.offset)
	}
	return yaws, nil
}

// bothEvents are the events of both views on the open side's clock, the mean of both by
// their certainty, and with the larger of that sigma and half their difference.
func bothEvents(open, rear *swing.Swing, c clock) map[swing.EventName]swing.Event {
	out := map[swing.EventName]swing.Event{}
	for _, name := range swing.EventNames() {
		a, okA := open.Events[name]
		b, okB := rear.Events[name]
		b.Time, b.Sigma = b.Time-c.offset, math.Hypot(max(b.Sigma, leastSigma), c.sigma)
		switch {
		case okA && okB && name != swing.Stance && name != swing.Load:
			wa, wb := 1/math.Pow(max(a.Sigma, leastSigma), 2), 1/(b.Sigma*b.Sigma)
			e := a
			e.Time, e.Sigma = (wa*a.Time+wb*b.Time)/(wa+wb), 1/math.Sqrt(wa+wb)
			// Two that differ by more than they say are not as sure as they say.
			e.Sigma = max(e.Sigma, math.Abs(a.Time-b.Time)*math.Sqrt(wa*wb)/(wa+wb))
			e.Method = Method
			out[name] = e
		case okA: // the open side shows stance and load better
			out[name] = a
		case okB:
			b.Frame = -1
			out[name] = b
		}
	}
	for name, e := range out {
		if i := signal.Nearest(open.Track.Times, e.Time); i >= 0 {
			e.Frame = open.Track.Frames[i]
			out[name] = e
		}
	}
	return out
}

// turnStep is the spacing of the turns in the result, s.
const turnStep = 0.01

// result puts a solution into the vocabulary, on the open side's clock.
func (s *solution) result(b *bundle, st *state, yaws [3][]float64, m Match) *swing.TwoViews {
	out := &swing.TwoViews{Offset: m.Offset, OffsetSigma: m.Sigma, Alike: m.Alike, Events: s.events, Measures: s.measures()}
	for v := range b.views {
		c := &st.cameras[v]
		yaw := degrees(c.heading)
		sigma := spread(yaw, yaws[v])
		if v == rearView {
			yaw += 90
		}
		out.Cameras[v] = swing.ViewCamera{Yaw: yaw, YawSigma: sigma, Tilt: degrees(c.tilt), Distance: math.Exp(c.focal - c.size)}
	}
	out.Body.Times = b.times
	for i := range b.times {
		var row [swing.NumSpace]*swing.Place
		for k, p := range st.body[i] {
			row[k] = &swing.Place{X: p[0], Y: p[1], Z: p[2]}
		}
		for k, p := range s.best.bat[i] {
			if p != nil {
				row[swing.KnobAt+k] = &swing.Place{X: p[0], Y: p[1], Z: p[2]}
			}
		}
		out.Body.Points = append(out.Body.Points, row)
	}
	out.Turns = s.turns(b.stance >= 0)
	return out
}

// turns gives the turns as quantiles of normal errors at even times.
func (s *solution) turns(stance bool) swing.TurnPath {
	var p swing.TurnPath
	n := int((s.last-s.first)/turnStep) + 1
	begin := s.events[swing.Stance].Time
	p.Stance = stance
	add := func(a swing.Turn, value func(c *course) float64) {
		v := value(&s.best)
		all := make([]float64, len(s.draws))
		for i := range s.draws {
			all[i] = value(&s.draws[i])
		}
		sd := spread(v, all)
		p.Angles[a] = append(p.Angles[a], swing.Quantiles{v - 1.645*sd, v - sd, v, v + sd, v + 1.645*sd})
	}
	for i := range n {
		t := s.first + float64(i)*turnStep
		p.Times = append(p.Times, t)
		for a, k := range map[swing.Turn]int{
			swing.ShoulderTurn: shoulderTurn, swing.HipTurn: hipTurn, swing.Separation: separation,
			swing.LeadElbowFlexion: leadElbow, swing.RearElbowFlexion: rearElbow, swing.LeadKneeFlexion: leadKnee, swing.RearKneeFlexion: rearKnee,
		} {
			add(a, func(c *course) float64 { return degrees(c.angles[k].At(t)) })
		}
		if stance {
			for a, k := range map[swing.Turn]int{swing.ShoulderTurnSinceStance: shoulderTurn, swing.HipTurnSinceStance: hipTurn, swing.SeparationSinceStance: separation} {
				add(a, func(c *course) float64 { return degrees(c.angles[k].At(t) - c.angles[k].At(begin)) })
			}
		}
	}
	return p
}

// onClock returns the result on the rear view's clock, with that clip's frames.
func onClock(v *swing.TwoViews, offset float64, open, rear *swing.Swing) *swing.TwoViews {
	out := *v
	out.Offset = -v.Offset
	out.Cameras[0], out.Cameras[1] = v.Cameras[1], v.Cameras[0]
	out.Events = map[swing.EventName]swing.Event{}
	for name, e := range v.Events {
		e.Time += offset
		if i := signal.Nearest(rear.Track.Times, e.Time); i >= 0 {
			e.Frame = rear.Track.Frames[i]
		}
		out.Events[name] = e
	}
	out.Measures = append([]swing.Measure(nil), v.Measures...)
	for i := range out.Measures {
		m := &out.Measures[i]
		if len(m.Frames) == 0 {
			continue
		}
		k := slices.Index(open.Track.Frames, m.Frames[0])
		if r := signal.Nearest(rear.Track.Times, open.Track.Times[k]+offset); r >= 0 {
			m.Frames = []int{rear.Track.Frames[r]}
		}
	}
	shift := func(times []float64) []float64 {
		s := make([]float64, len(times))
		for i, t := range times {
			s[i] = t + offset
		}
		return s
	}
	out.Body.Times, out.Turns.Times = shift(v.Body.Times), shift(v.Turns.Times)
	return &out
}

package event

import (
	"fmt"
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Detect finds the swings of a track in time order. Each has Window, Bats,
// View with their sources and confidences, the events found, its slice of the
// track and warnings about what is missing or doubtful. A track without a
// swing gives none and a warning with code no-swing that says what was seen
// instead.
//
// Errors: kind usage for wrong options, kind too-short for a track of fewer
// than ten frames, kind internal for a track whose slices do not fit together.
func Detect(t swing.Track, o Options) ([]swing.Swing, []swing.Warning, error) {
	fail := func(kind swing.Kind, msg, hint string) ([]swing.Swing, []swing.Warning, error) {
		return nil, nil, &swing.Error{Op: "event.Detect", Frame: -1, Kind: kind, Msg: msg, Hint: hint}
	}
	if err := o.Validate(); err != nil {
		return nil, nil, err
	}
	n := t.Len()
	if n < 10 {
		return fail(swing.KindTooShort, fmt.Sprintf("the track has %d frames only", n), "film the whole swing, at 60 frames a second or more")
	}
	if len(t.Points) != n || len(t.Fast) != n || len(t.Raw) != n || len(t.Frames) != n || len(t.Steady) != n || !(t.Stature > 0) {
		return fail(swing.KindInternal, "the track's slices do not fit together", "")
	}
	b := newBody(&t, o)
	all := b.candidates(o)
	var peaks []candidate
	for _, c := range all {
		if c.reason == "" {
			peaks = append(peaks, c)
		}
	}
	if len(peaks) == 0 {
		return nil, []swing.Warning{b.noSwing(all)}, nil
	}
	var out []swing.Swing
	for k, c := range peaks {
		// Neighbouring swings share the time between them; the wait before a
		// swing is the longer part.
		lo, hi := t.Times[0], t.Times[n-1]
		if k > 0 {
			lo = t.Times[peaks[k-1].peak] + swingApart/2
		}
		if k+1 < len(peaks) {
			hi = t.Times[c.peak] + 0.4*(t.Times[peaks[k+1].peak]-t.Times[c.peak])
		}
		s := b.one(&t, c, lo, hi, o)
		s.Index = k
		out = append(out, s)
	}
	return out, nil, nil
}

// noSwing says what the fastest burst was instead of a swing.
func (b *body) noSwing(all []candidate) swing.Warning {
	why := "the hands never moved fast"
	best := -1.0
	for _, c := range all {
		if c.speed > best && c.reason != afterSwing {
			best, why = c.speed, c.reason
		}
	}
	return swing.Warning{Code: "no-swing", Text: "no swing found: " + why}
}

// one describes the swing around a burst; it lies within [lo, hi].
func (b *body) one(t *swing.Track, c candidate, lo, hi float64, o Options) swing.Swing {
	s := swing.Swing{Events: map[swing.EventName]swing.Event{}}
	warn := func(code, format string, a ...any) {
		s.Warnings = append(s.Warnings, swing.Warning{Code: code, Text: fmt.Sprintf(format, a...)})
	}
	peak := b.bestPeak(c)
	b.decideSides(&s, peak, o, warn)

	contact := b.contact(peak)
	contact.t = math.Max(lo, math.Min(hi, contact.t))
	b.put(&s, swing.Contact, contact)
	f, seen := b.frontFoot(lo, contact.t)
	if !seen {
		warn("plant-missing", "the front foot was not seen; its events are missing")
	} else {
		b.footEvents(&s, f, peak, contact, warn)
	}
	b.bodyEvents(&s, f, lo, hi, contact, warn)

	from, to := b.window(s, lo, hi, contact.t)
	s.Window = [2]float64{t.Times[from], t.Times[to-1]}
	s.Track = slice(t, from, to)
	if b.dt > 1/45.0 {
		warn("low-rate", "%.0f frames a second: one frame of a turning body is 15 degrees or more; film at 120 or 240", 1/b.dt)
	}
	return s
}

// decideSides sets batting side and view of the swing and of b.
func (b *body) decideSides(s *swing.Swing, peak float64, o Options, warn func(code, format string, a ...any)) {
	const unsure = 0.8
	view, p := b.readView(peak)
	s.View, s.ViewSource, s.ViewConfidence = view, "auto", p
	if o.View != "" {
		s.View, s.ViewSource, s.ViewConfidence = o.View, "user", 1
	} else if p < unsure {
		warn("view-uncertain", "the camera's place was hard to tell; taken as %s (%.0f %%)", view, 100*p)
	}
	bats, q := b.readBats(peak, s.View)
	s.Bats, s.BatsSource, s.BatsConfidence = bats, "auto", q
	switch {
	case o.Bats != "":
		s.Bats, s.BatsSource, s.BatsConfidence = o.Bats, "user", 1
		if bats != o.Bats && q > 0.95 {
			warn("bats-doubtful", "set to bat %s, but the motion looks like %s", o.Bats, bats)
		}
	case q < unsure:
		warn("bats-uncertain", "the batting side was hard to tell; taken as %s (%.0f %%)", bats, 100*q)
	}
	b.bats, b.view = s.Bats, s.View
	b.lead, b.rear = s.Bats.Lead(), s.Bats.Rear()
	b.forward = 0
	if s.View == swing.OpenSide {
		b.forward = 1
		if s.Bats == swing.Left {
			b.forward = -1
		}
	}
}

// footEvents finds lift, touch and plant.
func (b *body) footEvents(s *swing.Swing, f foot, peak float64, contact estimate, warn func(code, format string, a ...any)) {
	if !f.steps && !f.raisesHeel {
		warn("no-stride", "the front foot stays down: no lift and no touch; plant is the start of the hands")
		b.put(s, swing.Plant, before(b.launch(peak), contact))
		return
	}
	plant, ok := b.plant(f, contact.t)
	if !ok {
		warn("plant-missing", "too few frames between the stride and contact to find the plant")
		return
	}
	plant = before(plant, contact)
	b.put(s, swing.Plant, plant)
	if !f.steps {
		warn("no-stride", "only the heel of the front foot rises: no lift and no touch")
		return
	}
	switch touch, ok := b.touch(f, plant, contact.t); {
	case ok:
		b.put(s, swing.Touch, touch)
	default:
		warn("touch-missing", "the network gives no heel and toe; first contact cannot be told from plant")
	}
	if lift, ok := b.leaving(f.points[len(f.points)-1], f.from, f.top); ok && lift.t-f.from > quietTime/2 {
		lift.method = byToeLeaves
		b.put(s, swing.Lift, lift)
	} else {
		warn("lift-missing", "the clip starts when the front foot is already up")
	}
}

// bodyEvents finds load, stance and finish.
func (b *body) bodyEvents(s *swing.Swing, f foot, lo, hi float64, contact estimate, warn func(code, format string, a ...any)) {
	first := contact.t - usualTempo - 0.25 // latest begin of the move
	until := contact.t - usualTempo
	var lift *estimate
	if e, ok := s.Events[swing.Plant]; ok {
		first, until = e.Time-0.15, e.Time
	}
	if e, ok := s.Events[swing.Touch]; ok {
		until = e.Time
	}
	if e, ok := s.Events[swing.Lift]; ok {
		lift = &estimate{t: e.Time, sigma: e.Sigma}
		first = e.Time
	}
	if load, ok := b.load(math.Max(lo, first-0.6), until, lift, f); ok {
		b.put(s, swing.Load, load)
		first = math.Min(first, load.t)
	}
	if stance, ok := b.stance(f, math.Max(lo, first-2), first); ok {
		b.put(s, swing.Stance, stance)
		if stance.method == byStillest {
			warn("stance-doubtful", "the hitter never stands quiet before the swing in this clip")
		}
	} else {
		warn("stance-missing", "the clip starts in the middle of the move")
	}
	if fin, ok := b.finish(contact.t, math.Min(hi, contact.t+1.5)); ok {
		b.put(s, swing.Finish, fin)
	} else {
		warn("finish-missing", "the clip ends before the hands stop")
	}
}

// before keeps an estimate at least a frame's thousandth before another.
func before(e, later estimate) estimate {
	e.t = math.Min(e.t, later.t-0.001)
	return e
}

// put stores an event with its nearest frame.
func (b *body) put(s *swing.Swing, name swing.EventName, e estimate) {
	i := signal.Nearest(b.times, e.t)
	s.Events[name] = swing.Event{Time: e.t, Frame: b.frames[i], Sigma: e.sigma, Method: e.method}
}

// window returns the frames [from, to) that belong to the swing: from a little
// before stance to a little after finish.
func (b *body) window(s swing.Swing, lo, hi, contact float64) (from, to int) {
	t0, t1 := contact-1.0, contact+0.6
	if e, ok := s.Events[swing.Stance]; ok {
		t0 = math.Min(t0, e.Time-0.3)
	}
	if e, ok := s.Events[swing.Lift]; ok {
		t0 = math.Min(t0, e.Time-0.3)
	}
	if e, ok := s.Events[swing.Finish]; ok {
		t1 = math.Max(t1, e.Time+0.2)
	}
	return b.span(math.Max(lo, t0), math.Min(hi, t1))
}

// slice cuts a track to the frames [from, to); Steady leads to the first frame
// of the slice.
func slice(t *swing.Track, from, to int) swing.Track {
	s := *t
	s.Frames, s.Times = t.Frames[from:to], t.Times[from:to]
	s.Points, s.Fast, s.Raw = t.Points[from:to], t.Fast[from:to], t.Raw[from:to]
	s.Steady = make([]swing.Similarity, to-from)
	back := t.Steady[from].Inverse()
	for i := range s.Steady {
		s.Steady[i] = t.Steady[from+i].Then(back)
	}
	return s
}

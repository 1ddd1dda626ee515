package event

import (
	"fmt"
	"math"
	"slices"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Detect finds the swings of a track in time order. Each has Window, Bats,
// View with their sources and confidences, the events found, its slice of the
// track and warnings about what is missing or doubtful. A track without a
// swing gives none and a warning with code no-swing that says what was seen
// instead. ev is what else is known: with the bat over the track swing-start is
// found and contact is timed better, and contact is taken from the sound of the
// hit where one of the cracks is surely it.
//
// Errors: kind usage for wrong options, kind too-short for a track of fewer
// than ten frames, kind internal for a track whose slices do not fit together.
func Detect(t swing.Track, ev Evidence, o Options) ([]swing.Swing, []swing.Warning, error) {
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
	if len(t.Points) != n || len(t.Fast) != n || len(t.Raw) != n || len(t.Frames) != n || len(t.Steady) != n || !(t.Stature > 0) ||
		len(ev.Bat.Sights) != 0 && len(ev.Bat.Sights) != n {
		return fail(swing.KindInternal, "the track's slices do not fit together", "")
	}
	b := newBody(&t, o)
	b.bat, b.cracks = b.newBatView(&t, &ev.Bat), ev.Cracks
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
	at := make([]float64, len(peaks))
	for k, c := range peaks {
		at[k] = b.bestPeak(c)
	}
	sd := b.decideSides(at, o)
	var out []swing.Swing
	for k, c := range peaks {
		// The time between neighbouring swings is shared; the wait before a
		// swing is the longer part.
		lo, hi := t.Times[0], t.Times[n-1]
		if k > 0 {
			lo = border(at[k-1], at[k])
		}
		if k+1 < len(peaks) {
			hi = border(at[k], at[k+1]) - 1e-6
		}
		s := b.one(&t, c, lo, hi, sd)
		s.Index = k
		out = append(out, s)
	}
	return out, nil, nil
}

// border is where the time of one swing ends and that of the next begins.
func border(peak, next float64) float64 { return peak + 0.4*(next-peak) }

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
func (b *body) one(t *swing.Track, c candidate, lo, hi float64, sd sides) swing.Swing {
	s := swing.Swing{
		Bats: sd.bats, BatsSource: sd.batsFrom, BatsConfidence: sd.batsSure,
		View: sd.view, ViewSource: sd.viewFrom, ViewConfidence: sd.viewSure,
		Events: map[swing.EventName]swing.Event{}, Warnings: slices.Clone(sd.warnings),
	}
	warn := func(code, format string, a ...any) {
		s.Warnings = append(s.Warnings, swing.Warning{Code: code, Text: fmt.Sprintf(format, a...)})
	}
	peak := b.bestPeak(c)
	contact := b.meeting(peak)
	contact.t = math.Max(lo, math.Min(hi, contact.t))
	b.put(&s, swing.Contact, contact)
	if start, ok := b.start(contact.t); ok && start.t > lo {
		b.put(&s, swing.SwingStart, before(start, contact))
	}
	f, seen := b.frontFoot(lo, contact.t)
	if !seen {
		warn("plant-missing", "the front foot was not seen; its events are missing")
	} else {
		b.footEvents(&s, f, peak, contact, warn)
	}
	b.bodyEvents(&s, f, lo, hi, contact, warn)

	// Everything that was looked at goes out: the wait before a swing is the
	// steadiest view of the body there is.
	from, to := b.span(lo, hi)
	s.Window = [2]float64{t.Times[from], t.Times[to-1]}
	s.Track = slice(t, from, to)
	if b.dt > 1/45.0 {
		warn("low-rate", "%.0f frames a second: one frame of a turning body is 15 degrees or more; film at 120 or 240", 1/b.dt)
	}
	return s
}

// meeting is when bat and ball meet: from the sound of the hit where it is
// surely heard, else from the bat and the hands together; the method says bat
// when it had a fair share.
func (b *body) meeting(peak float64) estimate {
	e := b.contact(peak)
	if bat, ok := b.batElsewhere(e); ok {
		e = bat // the hands, hidden or mistaken, were timed at something else
	} else if bat, ok := b.batContact(e); ok {
		switch tells := bat.sigma < 1.5*e.sigma; {
		case !agree(e, bat) && bat.sigma < e.sigma:
			e = bat // one of them is mistaken, and the hands are more easily
		default:
			if e = fuse([]estimate{e, bat}); tells {
				e.method = byBat
			}
		}
	}
	if sound, ok := heard(b.cracks, e); ok {
		return sound
	}
	return e
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
	last := f.points[len(f.points)-1]
	if lift, ok := b.leaving(last, b.tapEnd(last, f.from, f.top), f.top); ok && lift.t-f.from > quietTime/2 {
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

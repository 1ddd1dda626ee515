package measure

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"plantframe/pipeline/swing"
)

// work is what all measures of one swing share.
type work struct {
	o        Options
	c        *canon
	d        *draws
	events   map[swing.EventName]swing.Event
	lengths  [numParts]length
	mass     [swing.NumPoints]float64
	from, to float64 // s, span of the track
	cache    map[swing.EventName]*arms

	club          club
	side          float64 // -1 when the picture is mirrored, else 1
	width, height float64 // px, of the picture; 0 = not known
	b             []batNoise
	bats          map[swing.EventName]*batAt
	hands         *handKnots
	turns         *swing.TurnPath
	read          *readings
	size          length // of the bat, once estimated
}

// Compute returns all measures of one swing in the order of Catalogue, each
// with its sigma, status and reason, and warnings about the whole. It reads
// Bats, View, Events, Track, Bat and Turns of sw, and the picture's size.
//
// A measure that the view cannot carry appears once, as not measurable. Errors
// are *swing.Error: kind usage for a wrong setting, kind internal for a track
// that does not fit together.
func Compute(sw swing.Swing, o Options) ([]swing.Measure, []swing.Warning, error) {
	if err := o.Validate(); err != nil {
		return nil, nil, err
	}
	if err := check(&sw); err != nil {
		return nil, nil, err
	}
	w := newWork(sw, o)
	var out []swing.Measure
	for _, d := range catalogue() {
		events := d.Events
		if w.nowhere(&d) {
			events = []swing.EventName{d.mainEvent()}
		}
		for _, e := range events {
			m := w.given(&d, e)
			out = append(out, m)
			if d.Unit == "stature" && o.HeightM > 0 {
				out = append(out, metres(m, o.HeightM))
			}
		}
	}
	return out, few(out, sw.View), nil
}

// nowhere reports whether a measure cannot be had at any event for one and the same
// reason, which is then said once.
func (w *work) nowhere(d *definition) bool {
	return !slices.Contains(d.Views, w.c.view) || (d.bat != nil && len(w.club.times) == 0) || (d.turn != nil && !w.turns.Known()) || (d.height && w.o.HeightM <= 0)
}

// few warns when less than half of what the view can show was readable, with
// the commonest reason.
func few(ms []swing.Measure, v swing.View) []swing.Warning {
	given, all := 0, 0
	why := map[string]int{}
	for _, m := range ms {
		if m.Reason == wrongView(v) || m.Reason == noBatLooked || m.Reason == noHeight || m.Reason == noTurns || m.Unit == "m" {
			continue
		}
		all++
		if m.Value != nil {
			given++
		} else {
			why[m.Reason]++
		}
	}
	if all == 0 || 2*given >= all {
		return nil
	}
	most := slices.MaxFunc(slices.Sorted(maps.Keys(why)), func(a, b string) int { return why[a] - why[b] })
	return []swing.Warning{{
		Code: "few-measures",
		Text: fmt.Sprintf("only %d of %d measures could be read; the commonest reason: %s", given, all, most),
	}}
}

// wrongView is the reason of a measure that the view cannot carry.
func wrongView(v swing.View) string { return fmt.Sprintf("the %s view does not show it", v) }

// check refuses a swing whose parts do not fit together.
func check(sw *swing.Swing) error {
	t := &sw.Track
	bad := func(format string, a ...any) error {
		return &swing.Error{Op: "measure.Compute", Frame: -1, Kind: swing.KindInternal, Msg: fmt.Sprintf(format, a...)}
	}
	switch {
	case t.Len() == 0:
		return bad("the swing has no frames")
	case len(t.Points) != t.Len() || len(t.Frames) != t.Len():
		return bad("the track has %d times, %d frames and %d point sets", t.Len(), len(t.Frames), len(t.Points))
	case !(t.Stature > 0) || math.IsInf(t.Stature, 0):
		return bad("the track has no stature")
	case sw.Bats != swing.Left && sw.Bats != swing.Right:
		return bad("the batting side is %q", sw.Bats)
	case sw.View != swing.OpenSide && sw.View != swing.Rear:
		return bad("the view is %q", sw.View)
	}
	return nil
}

func newWork(sw swing.Swing, o Options) *work {
	w := &work{
		o: o, c: newCanon(sw), events: sw.Events, mass: MassWeights(o.Sex),
		cache: map[swing.EventName]*arms{}, bats: map[swing.EventName]*batAt{},
		club: newClub(&sw), turns: &sw.Turns, side: 1, width: float64(sw.Width), height: float64(sw.Height), b: newBatNoise(o.Draws, o.Seed),
	}
	if sw.Bats == swing.Left {
		w.side = -1
	}
	w.from, w.to = sw.Track.Times[0], sw.Track.Times[sw.Track.Len()-1]
	from, to := w.from, w.to
	if e, ok := sw.Events[swing.Stance]; ok {
		from = max(from, e.Time)
	}
	if e, ok := sw.Events[swing.Contact]; ok {
		to = min(to, e.Time)
	}
	var stature length
	stature, w.lengths = w.c.sizes(from, to, w.to)
	w.c.stature = stature.mean
	w.d = newDraws(o.Draws, o.Seed, sw.Events, w.from, w.to, stature.sigma/stature.mean)
	return w
}

// random returns a generator of its own for one use at one event, so that a
// measure does not depend on which others were computed before it.
func (w *work) random(use uint64, e swing.EventName) *rand.Rand {
	return rand.New(rand.NewPCG(w.o.Seed, use<<8|uint64(slices.Index(swing.EventNames(), e))))
}

// arms samples the arms at e, once.
func (w *work) arms(e swing.EventName) *arms {
	if a := w.cache[e]; a != nil {
		return a
	}
	a, ok := w.sampleArms(e)
	if !ok {
		a = arms{}
	}
	for _, s := range []*sampled{&a.lead, &a.rear} {
		if len(s.value) > 0 {
			s.normalise()
		}
	}
	w.cache[e] = &a
	return &a
}

// given returns one measure at one event, refused where the view does not show
// it.
func (w *work) given(d *definition, e swing.EventName) swing.Measure {
	if !slices.Contains(d.Views, w.c.view) {
		return refused(d, e, wrongView(w.c.view))
	}
	return w.measure(d, e)
}

// measure computes one measure at one event.
func (w *work) measure(d *definition, e swing.EventName) swing.Measure {
	if why := w.barred(d, e); why != "" {
		return refused(d, e, why)
	}
	var value, sigma float64
	var open string
	switch {
	case d.bat != nil:
		value, sigma, open = w.measureBat(d, e)
	case d.turn != nil:
		var why string
		if value, sigma, why = d.turn(w, e); why != "" {
			return refused(d, e, why)
		}
		open = w.guessed(d, e)
	case d.limb != nil:
		s, ok := d.limb(w, e)
		if !ok {
			return refused(d, e, fmt.Sprintf("a joint is not seen at %s", e))
		}
		value, sigma = s.summary()
		value, sigma = w.bend(d, e, value, sigma)
	default:
		value, sigma = w.monteCarlo(d, e)
	}
	lim := limits[d.Unit]
	lim.none = max(lim.none, d.most)
	if d.turn != nil && d.Unit == "deg" {
		lim = turnLimit
	}
	loose := d.loose
	if loose == "" {
		loose = "the body points are too uncertain"
	}
	if math.IsNaN(value) || math.IsInf(value, 0) || math.IsNaN(sigma) || sigma > lim.none {
		why := loose
		if doubt := w.doubt(d, e); doubt != "" {
			why = doubt
		}
		return refused(d, e, why)
	}
	m := swing.Measure{
		ID: d.ID, Event: e, Value: &value, Unit: d.Unit, Sigma: &sigma,
		Status: swing.Measured, Frames: w.frames(d, e), Words: swing.InWords(d.ID, value, sigma),
	}
	switch doubt := w.doubt(d, e); {
	case open != "":
		m.Status, m.Reason = swing.Weak, open
	case doubt != "":
		m.Status, m.Reason = swing.Weak, doubt
	case sigma > lim.weak:
		m.Status, m.Reason = swing.Weak, loose
	}
	return m
}

// monteCarlo returns the undisturbed value and the spread over the draws. For
// a length that noise makes longer, the mean excess of the draws is taken off
// (the bootstrap's estimate of bias, Efron 1979).
func (w *work) monteCarlo(d *definition, e swing.EventName) (value, sigma float64) {
	value = d.value(posture{w, -1}, e)
	var s sampled
	mean := 0.0
	for i := range w.d.n {
		v := d.value(posture{w, i}, e)
		s.add(v, 0)
		mean += v / float64(w.d.n)
	}
	s.normalise()
	_, sigma = s.summary()
	if d.size {
		value = max(0, 2*value-mean)
	}
	return value, sigma
}

// frames lists the frames a measure rests on.
func (w *work) frames(d *definition, e swing.EventName) []int {
	var at []int
	for _, n := range d.eventsAt(e) {
		if d.bat != nil {
			at = append(at, w.batFrames(w.events[n].Time)...)
			continue
		}
		at = append(at, w.c.around(w.events[n].Time)...)
	}
	if e == "" && len(d.joints) > 0 { // a path: all frames between
		slices.Sort(at)
		lo, hi := at[0], at[len(at)-1]
		at = at[:0]
		for i := lo; i <= hi; i++ {
			at = append(at, i)
		}
	}
	slices.Sort(at)
	out := []int{}
	for _, i := range slices.Compact(at) {
		out = append(out, w.c.frames[i])
	}
	return out
}

// mainEvent is the event at which a measure of the wrong view is listed.
func (d *definition) mainEvent() swing.EventName {
	if slices.Contains(d.Events, swing.Plant) {
		return swing.Plant
	}
	return d.Events[0]
}

func refused(d *definition, e swing.EventName, why string) swing.Measure {
	return swing.Measure{
		ID: d.ID, Event: e, Unit: d.Unit, Status: swing.NotMeasurable, Reason: why, Frames: []int{},
	}
}

// metres returns the same measure as a length in metres. The height is taken
// as exact: people know theirs to a centimetre or two, below the rest.
func metres(m swing.Measure, height float64) swing.Measure {
	m.ID, m.Unit = m.ID+"_m", "m"
	if m.Value != nil {
		v, s := *m.Value*height, *m.Sigma*height
		m.Value, m.Sigma = &v, &s
	}
	return m
}

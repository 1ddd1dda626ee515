package progress

import (
	"cmp"
	"math"
	"slices"

	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// Options are the rules of the test for a change.
type Options struct {
	// ChangeSigmas is how many standard deviations a change must have to be called
	// one. Default 2.6, which chance exceeds once in a hundred: some twenty
	// checkpoints are tested at once, and at the usual 2 one of them would be
	// called changed on every page.
	ChangeSigmas float64
	// AssumedShare is the spread from swing to swing that is assumed before any was
	// seen, as a share of the band's half width. Default 0.5: bands are made to hold
	// the swings of many good hitters, one hitter's own differ less (common
	// practice, no source).
	AssumedShare float64
	// AssumedWeight is how many differences between swings the assumption counts
	// for, against those that were seen. Default 2.
	AssumedWeight float64
	// HalfWidth holds the half widths of bands that are open on one side, by
	// checkpoint, in the measure's unit; a checkpoint without one assumes the
	// measurement's own sigma as spread.
	HalfWidth map[string]float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{ChangeSigmas: 2.6, AssumedShare: 0.5, AssumedWeight: 2}
}

// group tells which swings compare: the same checkpoint, seen from the same side,
// of the same batting side.
type group struct {
	id   string
	view swing.View
	bats swing.Bats
}

// reading is one swing's value.
type reading struct {
	day          string
	value, sigma float64
	weak         bool
}

// Trends follows every checkpoint of a history, which must be in the order of days.
// Those that changed come first, the surest before the others; then by title. Swings
// that were analysed without targets count where a later or earlier one names the
// checkpoint.
func Trends(clips []store.ClipRecord, o Options) []swing.Trend {
	trends := map[group]*swing.Trend{}
	readings := map[group][]reading{}
	for _, c := range clips {
		for i := range c.Swings {
			s := &c.Swings[i]
			for _, f := range s.Findings {
				m := measureOf(s, f.Measure, f.Event)
				if m == nil {
					continue
				}
				g := group{f.ID, s.View, s.Bats}
				t := trends[g]
				if t == nil {
					t = &swing.Trend{ID: f.ID, View: s.View, Bats: s.Bats}
					trends[g] = t
				}
				// The latest analysis says what it is called and where its band is.
				t.Title, t.Measure, t.Event, t.Lo, t.Hi = f.Title, f.Measure, f.Event, f.Lo, f.Hi
				t.Unit = m.Unit
			}
		}
	}
	for _, c := range clips {
		for i := range c.Swings {
			for g, t := range trends {
				s := &c.Swings[i]
				if s.View != g.view || s.Bats != g.bats {
					continue
				}
				if r, ok := read(s, t); ok {
					r.day = c.Shot
					readings[g] = append(readings[g], r)
				} else {
					t.Missing++
				}
			}
		}
	}
	out := []swing.Trend{}
	for g, t := range trends {
		if rs := readings[g]; len(rs) > 0 {
			follow(t, rs, o)
			out = append(out, *t)
		}
	}
	slices.SortFunc(out, func(a, b swing.Trend) int {
		return cmp.Or(
			-cmp.Compare(sureness(a), sureness(b)),
			cmp.Compare(a.Title, b.Title), cmp.Compare(a.ID, b.ID), cmp.Compare(a.View, b.View), cmp.Compare(a.Bats, b.Bats))
	})
	return out
}

// sureness ranks changes; everything else is 0.
func sureness(t swing.Trend) float64 {
	if t.Verdict != swing.Changed {
		return 0
	}
	return math.Abs(t.Change) / t.ChangeSigma
}

// read returns the value of a checkpoint in a swing; false when it has none, or one
// that was not fit to be judged.
func read(s *store.SwingRecord, t *swing.Trend) (reading, bool) {
	for i := range s.Findings {
		if s.Findings[i].ID == t.ID && s.Findings[i].Status == swing.NotJudgeable {
			return reading{}, false
		}
	}
	m := measureOf(s, t.Measure, t.Event)
	if m == nil || m.Status == swing.NotMeasurable || m.Value == nil || m.Sigma == nil || m.Unit != t.Unit {
		return reading{}, false
	}
	return reading{value: *m.Value, sigma: *m.Sigma, weak: m.Status == swing.Weak}, true
}

func measureOf(s *store.SwingRecord, id string, e swing.EventName) *swing.Measure {
	for i := range s.Measures {
		if s.Measures[i].ID == id && s.Measures[i].Event == e {
			return &s.Measures[i]
		}
	}
	return nil
}

// follow pools the readings by day and tests the last day against the first.
func follow(t *swing.Trend, rs []reading, o Options) {
	var days [][]reading
	for _, r := range rs {
		if n := len(days); n == 0 || days[n-1][0].day != r.day {
			days = append(days, nil)
		}
		days[len(days)-1] = append(days[len(days)-1], r)
	}
	squares, seen, noise := 0.0, 0, 0.0
	for _, d := range days {
		p := swing.TrendDay{Day: d[0].day, Swings: len(d), Weak: true}
		for _, r := range d {
			p.Value += r.value / float64(len(d))
			p.Sigma += r.sigma / float64(len(d)) // the measurement's part; the spread among swings is added below
			p.Weak = p.Weak && r.weak
			noise += r.sigma / float64(len(rs))
		}
		for _, r := range d {
			squares += (r.value - p.Value) * (r.value - p.Value)
		}
		seen += len(d) - 1
		t.Days = append(t.Days, p)
	}
	assumed := noise
	if half := halfWidth(t, o); half > 0 {
		assumed = o.AssumedShare * half
	}
	t.Spread = math.Sqrt((squares + o.AssumedWeight*assumed*assumed) / (float64(seen) + o.AssumedWeight))
	t.SpreadSwings = seen
	for i := range t.Days {
		d := &t.Days[i]
		d.Sigma = math.Hypot(d.Sigma, t.Spread/math.Sqrt(float64(d.Swings)))
	}
	first, last := t.Days[0], t.Days[len(t.Days)-1]
	if len(t.Days) < 2 {
		t.Verdict = swing.OneDayOnly
		return
	}
	t.Change, t.ChangeSigma = last.Value-first.Value, math.Hypot(first.Sigma, last.Sigma)
	t.Verdict = swing.NoClearChange
	if math.Abs(t.Change) > o.ChangeSigmas*t.ChangeSigma {
		t.Verdict, t.Heading = swing.Changed, heading(t, first.Value, last.Value)
	}
}

func halfWidth(t *swing.Trend, o Options) float64 {
	if t.Lo != nil && t.Hi != nil {
		return (*t.Hi - *t.Lo) / 2
	}
	return o.HalfWidth[t.ID]
}

// heading compares how far both values lie outside the band.
func heading(t *swing.Trend, first, last float64) swing.Heading {
	a, b := outside(t, first), outside(t, last)
	switch {
	case a == 0 && b == 0:
		return swing.Inside
	case b < a:
		return swing.Toward
	}
	return swing.Away
}

func outside(t *swing.Trend, v float64) float64 {
	switch {
	case t.Lo != nil && v < *t.Lo:
		return *t.Lo - v
	case t.Hi != nil && v > *t.Hi:
		return v - *t.Hi
	}
	return 0
}

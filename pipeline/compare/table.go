package compare

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// events compares when each event falls, counted from the aligned instant. Only
// events that one of the swings has are listed; lift, which a hitter without a
// stride lacks, is one of those that can be missing.
func events(c *swing.Comparison, sigmas float64) []swing.EventDifference {
	var out []swing.EventDifference
	for _, name := range swing.EventNames() {
		a, sa, okA := since(&c.A, name, c.Align)
		b, sb, okB := since(&c.B, name, c.Align)
		if name == c.Align || (!okA && !okB) {
			continue
		}
		d := swing.EventDifference{Event: name}
		if okA {
			d.A = &a
		}
		if okB {
			d.B = &b
		}
		switch {
		case !okA:
			d.Verdict, d.Reason = swing.NotComparable, fmt.Sprintf("%s was not found in the hitter's swing", name)
		case !okB:
			d.Verdict, d.Reason = swing.NotComparable, fmt.Sprintf("%s was not found in the reference", name)
		default:
			v, s := a-b, math.Hypot(sa, sb)
			d.Value, d.Sigma, d.Verdict = &v, &s, judge(v, s, sigmas)
		}
		out = append(out, d)
	}
	return out
}

// since returns how long after the aligned instant an event falls, ms, and its
// one-sigma error: that of the event and that of the instant.
func since(p *swing.Party, name, align swing.EventName) (ms, sigma float64, ok bool) {
	e, ok := p.Swing.Events[name]
	if !ok {
		return 0, 0, false
	}
	return 1000 * (e.Time - p.Zero), 1000 * math.Hypot(e.Sigma, p.Swing.Events[align].Sigma), true
}

// judge says whether a difference is beyond its uncertainty. Without an
// uncertainty nothing is beyond it.
func judge(v, sigma, sigmas float64) swing.Verdict {
	if sigma > 0 && math.Abs(v) > sigmas*sigma {
		return swing.Differs
	}
	return swing.NoClearDifference
}

// measures compares what both swings list, in the order of a's measures.
func measures(c *swing.Comparison, sigmas float64) []swing.MeasureDifference {
	type key struct {
		id    string
		event swing.EventName
	}
	of := map[key]swing.Measure{}
	for _, m := range c.B.Swing.Measures {
		of[key{m.ID, m.Event}] = m
	}
	var out []swing.MeasureDifference
	for _, a := range c.A.Swing.Measures {
		b, ok := of[key{a.ID, a.Event}]
		if !ok || a.Unit != b.Unit {
			continue
		}
		out = append(out, difference(a, b, c.SameView, sigmas))
	}
	return out
}

func difference(a, b swing.Measure, sameView bool, sigmas float64) swing.MeasureDifference {
	d := swing.MeasureDifference{ID: a.ID, Event: a.Event, Unit: a.Unit, Verdict: swing.NotComparable}
	okA, okB := has(a), has(b)
	if okA {
		d.A, d.SigmaA = copied(a.Value), copied(a.Sigma)
	}
	if okB {
		d.B, d.SigmaB = copied(b.Value), copied(b.Sigma)
	}
	switch {
	case !okA:
		d.Reason = "not measurable in the hitter's swing: " + a.Reason
		return d
	case !okB:
		d.Reason = "not measurable in the reference: " + b.Reason
		return d
	case !sameView && a.Unit != "ms":
		// Each view has measures of its own kind of error; only times look the
		// same from everywhere.
		d.Reason = "the two swings are seen from different sides"
		return d
	}
	v := *a.Value - *b.Value
	if a.Unit == "deg" {
		v = math.Remainder(v, 360) // a direction of 179 is two degrees from -179
	}
	s := math.Hypot(*a.Sigma, *b.Sigma)
	d.Value, d.Sigma, d.Verdict = &v, &s, judge(v, s, sigmas)
	for _, m := range []swing.Measure{a, b} {
		if m.Status == swing.Weak {
			d.Weak = true
			if d.Reason == "" {
				d.Reason = m.Reason
			}
		}
	}
	return d
}

// has tells whether a measure carries a number.
func has(m swing.Measure) bool {
	finite := func(v *float64) bool { return v != nil && !math.IsNaN(*v) && !math.IsInf(*v, 0) }
	return m.Status != swing.NotMeasurable && finite(m.Value) && finite(m.Sigma)
}

func copied(v *float64) *float64 {
	c := *v
	return &c
}

package judge

import (
	"math"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// verdict is a finding in the making.
type verdict struct {
	swing.Finding
	band   *Band
	side   side
	rank   float64 // severity times weight
	sigmas float64 // outside: distance to the edge in sigmas
	margin float64 // inside: distance to the nearer edge in half widths
	by     *verdict
	note   string // said at the end of the text
}

// Judge compares the measures of sw with the bands of its view. It returns one
// finding per band whose measure the swing has, with a value or without: those
// with a priority first (when nothing is out, at most one that is likely to be), then by status (out, near, in, not measurable) and
// falling severity. The swing is not changed. Errors are *swing.Error of
// KindUsage, for targets or options that make no sense.
func Judge(sw swing.Swing, t Targets, o Options) ([]swing.Finding, error) {
	err := o.Validate()
	if err == nil {
		err = t.Validate()
	}
	if err != nil {
		return nil, &swing.Error{
			Op: "judge.Judge", Frame: -1, Kind: swing.KindUsage,
			Msg: "the targets cannot be used", Hint: "check the targets file", Err: err,
		}
	}
	out := []*verdict{}
	for i := range t.Bands {
		b := &t.Bands[i]
		if m := find(sw.Measures, b.Measure, b.Event, b.Unit); m != nil && b.in(sw.View) {
			out = append(out, weigh(&sw, b, m, t.Phrase, o))
		}
	}
	explain(out, o)
	prioritise(out, o)
	praise(out, o)
	slices.SortStableFunc(out, order)
	findings := make([]swing.Finding, 0, len(out))
	for _, v := range out {
		v.words(&sw, t.Phrase, o)
		findings = append(findings, v.Finding)
	}
	return findings, nil
}

// find returns a measure, nil when there is none.
func find(ms []swing.Measure, id string, e swing.EventName, unit string) *swing.Measure {
	for i := range ms {
		if m := &ms[i]; m.ID == id && m.Event == e && m.Unit == unit {
			return m
		}
	}
	return nil
}

// weigh gives one measure its status and severity.
func weigh(sw *swing.Swing, b *Band, m *swing.Measure, p Phrases, o Options) *verdict {
	v := &verdict{band: b, Finding: swing.Finding{
		ID: b.ID, Measure: b.Measure, Event: b.Event, Status: swing.NotJudgeable,
		Title: b.Text.Title, Origin: b.Origin, Lo: b.Lo, Hi: b.Hi, Drills: []string{},
	}}
	notJudged := func(reason string) *verdict {
		v.Text = fill(p.NotJudged, "title", b.Text.Title, "reason", reason)
		return v
	}
	if m.Status == swing.NotMeasurable || m.Value == nil || m.Sigma == nil || !finite(m.Value) || !(*m.Sigma >= 0) {
		return notJudged(m.Reason)
	}
	begun := notBegun
	if b.Launch {
		var ms float64
		if begun, ms = started(sw, b.Event, o); begun == surelyBegun {
			return notJudged(fill(p.Begun, "ms", number(ms, 0, false), "event", string(b.Event)))
		}
	}
	value, sigma, half := *m.Value, *m.Sigma, b.halfWidth()
	if sigma > half {
		return notJudged(fill(p.Unsure, "value", p.value(value, sigma, b.Unit)))
	}
	away, edge := b.distance(value)
	v.side = edge
	switch {
	case away > o.OutSigmas*sigma:
		v.Status = swing.OutOfBand
	case away > 0, b.depth(value) < sigma:
		v.Status = swing.NearEdge
	default:
		v.Status, v.margin = swing.InBand, b.depth(value)/half
	}
	v.Severity = severity(away, sigma, half)
	if away > 0 {
		v.sigmas = away / max(sigma, 1e-9)
	}
	if begun == unknownStart && v.Status == swing.OutOfBand {
		// The swing may have begun: the number is not that of a launch.
		v.Status, v.Severity = swing.NearEdge, 0
		v.note = p.StartUnknown
	}
	v.rank = v.Severity * b.Weight
	return v
}

// severity is the distance outside in half widths, damped by how sure it is.
func severity(away, sigma, half float64) float64 {
	if away <= 0 {
		return 0
	}
	damp := 1.0
	if sigma > 0 {
		z := away / sigma
		damp = z * z / (1 + z*z)
	}
	return away / half * damp
}

// distance returns how far a value lies outside the band, 0 inside, and on which
// side; inside, the side of the nearer edge is not told.
func (b *Band) distance(v float64) (float64, side) {
	switch {
	case b.Lo != nil && v < *b.Lo:
		return *b.Lo - v, low
	case b.Hi != nil && v > *b.Hi:
		return v - *b.Hi, high
	}
	return 0, inside
}

// depth returns how far a value inside lies from the nearer edge.
func (b *Band) depth(v float64) float64 {
	d := math.Inf(1)
	if b.Lo != nil {
		d = v - *b.Lo
	}
	if b.Hi != nil {
		d = min(d, *b.Hi-v)
	}
	return d
}

// order sorts by priority, status and severity.
func order(a, b *verdict) int {
	rank := func(v *verdict) int {
		if v.Priority > 0 {
			return v.Priority - 10
		}
		return slices.Index([]swing.FindingStatus{swing.OutOfBand, swing.NearEdge, swing.InBand, swing.NotJudgeable}, v.Status)
	}
	if d := rank(a) - rank(b); d != 0 {
		return d
	}
	switch {
	case a.rank > b.rank:
		return -1
	case a.rank < b.rank:
		return 1
	}
	return strings.Compare(a.ID, b.ID)
}

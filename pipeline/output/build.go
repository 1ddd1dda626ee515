package output

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"plantframe/pipeline/swing"
)

// Decimals kept in files. A hundredth of a pixel is far below the noise of
// any network; a microsecond is the finest time that a container's clock of
// 90 kHz can tell apart from its neighbour (11 us).
const (
	pxDecimals    = 2
	timeDecimals  = 6
	scoreDecimals = 3
	// Values differ in size by unit: 0.01 deg or ms and 0.0001 of a body
	// unit are each a hundredth of the best uncertainty to be expected.
	angleDecimals = 2
	ratioDecimals = 4
)

// builder turns an analysis into a document and keeps the first thing that
// cannot be written; where says what is being converted.
type builder struct {
	where string
	err   error
}

func (b *builder) fail(format string, args ...any) {
	if b.err == nil {
		b.err = fmt.Errorf("%s: %s", b.where, fmt.Sprintf(format, args...))
	}
}

// num rounds v to d decimals. A value that JSON cannot hold is an error.
func (b *builder) num(what string, v float64, d int) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		b.fail("%s is %v", what, v)
		return 0
	}
	k := math.Pow10(d)
	r := math.Round(v*k) / k
	if math.IsInf(r, 0) { // v*k overflowed: such a number has no decimals
		return v
	}
	return r + 0 // -0 becomes 0
}

func (b *builder) document(a swing.Analysis) document {
	b.where = "clip"
	frames := a.FramesRead
	if frames == 0 {
		frames = a.Clip.Frames
	}
	d := document{
		Schema: SchemaID,
		Tool: tool{
			Version: a.ToolVersion,
			Models:  list(a.Models),
			Options: a.Options,
		},
		Clip: clip{
			File:         filepath.Base(filepath.ToSlash(a.Clip.Path)),
			SHA256:       a.Clip.SHA256,
			Width:        a.Clip.Width,
			Height:       a.Clip.Height,
			Frames:       frames,
			DurationS:    b.num("duration", a.Clip.Duration, timeDecimals),
			VariableRate: a.Clip.Variable,
			Warnings:     warnings(a.Clip.Warnings, a.Warnings),
		},
		Cautions: Cautions(),
		Swings:   []oneSwing{},
	}
	if d.Tool.Options == nil {
		d.Tool.Options = map[string]any{}
	}
	for i := range a.Swings {
		d.Swings = append(d.Swings, b.swing(&a.Swings[i]))
	}
	if len(d.Swings) == 0 && len(d.Clip.Warnings) == 0 {
		// An empty list must never be all that a reader gets.
		d.Clip.Warnings = []warning{{Code: "no-swing", Text: "no swing was found in this clip", Frames: []int{}}}
	}
	return d
}

func (b *builder) swing(s *swing.Swing) oneSwing {
	b.where = fmt.Sprintf("swing %d", s.Index)
	o := oneSwing{
		Index:          s.Index,
		Bats:           s.Bats,
		BatsSource:     s.BatsSource,
		BatsConfidence: b.num("bats confidence", s.BatsConfidence, scoreDecimals),
		View:           s.View,
		ViewSource:     s.ViewSource,
		ViewConfidence: b.num("view confidence", s.ViewConfidence, scoreDecimals),
		WindowS: [2]float64{
			b.num("window start", s.Window[0], timeDecimals),
			b.num("window end", s.Window[1], timeDecimals),
		},
		Events:   events{},
		Measures: []swing.Measure{},
		Warnings: warnings(s.Warnings),
	}
	known := swing.EventNames()
	for name, e := range s.Events {
		if !slices.Contains(known, name) {
			b.fail("unknown event %q", name)
			continue
		}
		o.Events[name] = b.event(name, e)
	}
	o.Track = b.track(&s.Track)
	o.Bat = b.bat(s)
	o.Turns = b.turns(&s.Turns)
	o.TwoViews = b.twoViews(s.Views)
	for _, m := range s.Measures {
		o.Measures = append(o.Measures, b.measure(m))
	}
	for _, f := range s.Findings {
		o.Findings = append(o.Findings, b.finding(f))
	}
	return o
}

func (b *builder) event(name swing.EventName, e swing.Event) swing.Event {
	e.Time = b.num(string(name)+" time", e.Time, timeDecimals)
	if e.Sigma <= 0 {
		b.fail("%s has no time uncertainty", name)
	}
	// Rounding must not make an uncertainty vanish.
	e.Sigma = math.Max(b.num(string(name)+" sigma", e.Sigma, timeDecimals), 1e-6)
	return e
}

func (b *builder) track(t *swing.Track) track {
	o := track{
		KeypointNames: swing.KeypointNames(),
		Frames:        list(t.Frames),
		TimesS:        make([]float64, 0, len(t.Times)),
		Points:        make([][]*triple, 0, len(t.Points)),
	}
	if len(t.Frames) != len(t.Times) || len(t.Points) != len(t.Times) {
		b.fail("track has %d times, %d frame numbers and %d poses", len(t.Times), len(t.Frames), len(t.Points))
		return o
	}
	for i, at := range t.Times {
		o.TimesS = append(o.TimesS, b.num("track time", at, timeDecimals))
		row := make([]*triple, swing.NumJoints)
		for j := range row {
			p := t.Points[i][j]
			if p.State == swing.Missing {
				continue
			}
			what := swing.Joint(j).String()
			row[j] = &triple{
				b.num(what, p.X, pxDecimals),
				b.num(what, p.Y, pxDecimals),
				b.num(what+" score", p.Score, scoreDecimals),
			}
		}
		o.Points = append(o.Points, row)
	}
	return o
}

func (b *builder) measure(m swing.Measure) swing.Measure {
	what := m.ID
	if m.Event != "" {
		what += " at " + string(m.Event)
	}
	m.Frames = list(m.Frames)
	if m.Status == swing.NotMeasurable {
		// Whatever a stage left in the fields, a reader gets no number.
		m.Value, m.Sigma = nil, nil
		if m.Reason == "" {
			b.fail("%s is not measurable without a reason", what)
		}
		return m
	}
	if m.Value == nil || m.Sigma == nil || *m.Sigma < 0 {
		b.fail("%s has no value with an uncertainty", what)
		return m
	}
	d := ratioDecimals
	if m.Unit == "deg" || m.Unit == "ms" {
		d = angleDecimals
	}
	v, s := b.num(what, *m.Value, d), b.num(what+" sigma", *m.Sigma, d)
	m.Value, m.Sigma = &v, &s
	return m
}

func (b *builder) finding(f swing.Finding) swing.Finding {
	what := "finding " + f.ID
	switch f.Status {
	case swing.InBand, swing.NearEdge, swing.OutOfBand, swing.NotJudgeable:
	default:
		b.fail("%s has the status %q", what, f.Status)
	}
	if f.Text == "" || f.Severity < 0 || f.Priority < 0 {
		b.fail("%s has no text, or a severity or priority below 0", what)
	}
	f.Severity = b.num(what+" severity", f.Severity, ratioDecimals)
	for _, edge := range []**float64{&f.Lo, &f.Hi} {
		if *edge != nil { // the band's own array stays as it is
			v := b.num(what+" band", **edge, ratioDecimals)
			*edge = &v
		}
	}
	f.Drills = list(f.Drills)
	return f
}

func warnings(lists ...[]swing.Warning) []warning {
	out := []warning{}
	for _, l := range lists {
		for _, w := range l {
			out = append(out, warning{Code: w.Code, Text: w.Text, Frames: list(w.Frames)})
		}
	}
	return out
}

// list makes an absent slice an empty one: a reader sees [] and never null.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

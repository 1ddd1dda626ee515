package judge

import (
	"math"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// words writes the sentences of a finding. What was not judged has its text.
func (v *verdict) words(sw *swing.Swing, p Phrases, o Options) {
	b := v.band
	if v.Status == swing.NotJudgeable {
		return
	}
	m := find(sw.Measures, b.Measure, b.Event, b.Unit)
	text := b.Text.In
	if v.side != inside {
		text = map[side]string{low: b.Text.Low, high: b.Text.High}[v.side]
	}
	v.Text = fill(text, "value", p.value(*m.Value, *m.Sigma, b.Unit), "band", p.band(b))
	v.Why = b.Text.Why
	if v.Status == swing.NearEdge {
		v.Text = join(join(v.Text, p.Near), v.note)
	}
	if v.Status != swing.OutOfBand && v.Priority == 0 {
		return
	}
	v.Cue, v.Drills = b.Text.CueHigh, append([]string{}, b.DrillsHigh...)
	if v.side == low {
		v.Cue, v.Drills = b.Text.CueLow, append([]string{}, b.DrillsLow...)
	}
	if v.by != nil {
		v.Text = join(v.Text, fill(p.Explained, "cause", v.root().Title))
	}
	if b.Measure == "barrel_distance" && v.side == high {
		v.Why = join(v.Why, saving(sw, b.Event, p, o))
	}
}

// saving says what the barrel's distance costs in time, "" when that is not known
// or not surely more than nothing.
func saving(sw *swing.Swing, e swing.EventName, p Phrases, o Options) string {
	r := find(sw.Measures, "swing_inertia_ratio", e, "1")
	if r == nil || r.Value == nil || r.Sigma == nil || *r.Value-1 < *r.Sigma {
		return ""
	}
	far := find(sw.Measures, "barrel_distance_m", e, "m")
	part := find(sw.Measures, "barrel_distance", e, "stature")
	ratio := *r.Value
	if far != nil && far.Value != nil && part != nil && part.Value != nil && *part.Value > 0 {
		text := swing.CloserBarrel(*far.Value, *far.Value/(*part.Value)*o.ReferenceDistance, ratio)
		if text != "" {
			return strings.ToUpper(text[:1]) + text[1:] + "."
		}
	}
	if _, time := swing.TurnSaving(ratio); time >= 0.005 {
		return fill(p.Saving, "time", number(100*time, 0, false))
	}
	return ""
}

// value writes a number with its uncertainty and unit.
func (p Phrases) value(v, sigma float64, unit string) string {
	u := p.Units[unit]
	return fill(p.PlusMinus, "value", u.number(v), "sigma", number(u.scaled(sigma), u.Decimals, false), "suffix", u.Suffix)
}

// band writes the edges of a band.
func (p Phrases) band(b *Band) string {
	u := p.Units[b.Unit]
	switch {
	case b.Lo == nil:
		return fill(p.AtMost, "hi", u.number(*b.Hi)+u.Suffix)
	case b.Hi == nil:
		return fill(p.AtLeast, "lo", u.number(*b.Lo)+u.Suffix)
	}
	return fill(p.Between, "lo", u.number(*b.Lo), "hi", u.number(*b.Hi)+u.Suffix)
}

func (u Unit) scaled(v float64) float64 {
	if u.Scale == 0 {
		return v
	}
	return v * u.Scale
}

func (u Unit) number(v float64) string { return number(u.scaled(v), u.Decimals, u.Signed) }

// number writes v with d decimals; -0 is 0.
func number(v float64, d int, signed bool) string {
	k := math.Pow10(d)
	v = math.Round(v*k)/k + 0
	s := strconv.FormatFloat(v, 'f', d, 64)
	if signed && v > 0 {
		s = "+" + s
	}
	return s
}

// fill replaces the marks {name} of a text; pairs are name, text, name, text.
func fill(text string, pairs ...string) string {
	var with []string
	for i := 0; i+1 < len(pairs); i += 2 {
		with = append(with, "{"+pairs[i]+"}", pairs[i+1])
	}
	return strings.NewReplacer(with...).Replace(text)
}

// join puts a blank between two sentences that are both there.
func join(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + " " + b
}

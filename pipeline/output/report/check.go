package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// check is one checkpoint of the list.
type check struct {
	Title, State, Class, Value, Band, Text string
	Bar                                    template.HTML
}

// unitOf turns a unit into what follows the number.
func unitOf(unit string) (suffix string, scale float64) {
	switch unit {
	case "deg":
		return "°", 1
	case "stature":
		return " % of height", 100
	case "m":
		return " cm", 100
	case "ms":
		return " ms", 1
	case "upper_arm":
		return " % of the upper arm", 100
	case "shoulder_width":
		return " % of shoulder width", 100
	case "1":
		return " %", 100
	case "kg_m2":
		return " kg m²", 1
	}
	return " " + unit, 1
}

// number prints x of a unit with as many digits as it deserves.
func number(x float64, scale float64) string {
	x *= scale
	text := fmt.Sprintf("%.0f", x)
	if math.Abs(x) < 9.95 && scale == 1 {
		text = strings.TrimSuffix(fmt.Sprintf("%.1f", x), ".0")
	}
	if strings.Trim(text, "-0.") == "" {
		return "0" // no minus zero
	}
	return strings.ReplaceAll(text, "-", "−")
}

func titleOf(f swing.Finding) string {
	t := f.Title
	if t == "" {
		t = strings.ReplaceAll(f.ID, "-", " ")
	}
	return capital(t)
}

// states are the words and classes of a finding's states.
func stateOf(s swing.FindingStatus) (word, class string) {
	switch s {
	case swing.InBand:
		return "in the band", "in"
	case swing.NearEdge:
		return "near the edge", "near"
	case swing.OutOfBand:
		return "outside", "out"
	}
	return "not measurable", "none"
}

// checks lists what was judged, what was measured but for a reason not judged,
// and the names of what could not be measured.
func checks(s swing.Swing) (out []check, unjudged, unmeasured []string) {
	type group struct {
		names  []string
		reason string
	}
	var groups []group
	for _, f := range s.Findings {
		m := measureOf(s, f.Measure, f.Event)
		if reason, ok := strings.CutPrefix(f.Text, f.Title); ok && f.Title != "" && f.Status == swing.NotJudgeable && m != nil && m.Value != nil && m.Status == swing.Measured {
			i := slices.IndexFunc(groups, func(g group) bool { return g.reason == reason })
			if i < 0 {
				i = len(groups)
				groups = append(groups, group{reason: reason})
			}
			groups[i].names = append(groups[i].names, f.Title)
			continue
		}
		if f.Status == swing.NotJudgeable || m == nil || m.Value == nil || m.Sigma == nil {
			why := ""
			if m != nil && m.Reason != "" {
				why = " (" + m.Reason + ")"
			}
			unmeasured = append(unmeasured, titleOf(f)+why)
			continue
		}
		suffix, scale := unitOf(m.Unit)
		c := check{Title: titleOf(f), Text: f.Text, Value: number(*m.Value, scale) + " ± " + number(*m.Sigma, scale) + suffix}
		c.State, c.Class = stateOf(f.Status)
		c.Band = bandText(f.Lo, f.Hi, m.Unit)
		c.Bar = bar(*m.Value, *m.Sigma, f.Lo, f.Hi, c)
		out = append(out, c)
	}
	for _, g := range groups {
		unjudged = append(unjudged, capital(strings.Join(g.names, "; "))+g.reason)
	}
	return out, unjudged, unmeasured
}

func measureOf(s swing.Swing, id string, e swing.EventName) *swing.Measure {
	for i := range s.Measures {
		if s.Measures[i].ID == id && s.Measures[i].Event == e {
			return &s.Measures[i]
		}
	}
	return nil
}

// bar draws the band, the value and its whisker of one sigma on a line.
func bar(v, sigma float64, lo, hi *float64, c check) template.HTML {
	sc, ok := newScale(v, sigma, lo, hi)
	if !ok {
		return ""
	}
	const w, mid = 300.0, 14.0
	at := func(x float64) float64 { return 6 + (w-12)*sc.at(x) }
	x0, x1 := 6.0, w-6
	if lo != nil {
		x0 = at(*lo)
	}
	if hi != nil {
		x1 = at(*hi)
	}
	var s strings.Builder
	fmt.Fprintf(&s, `<svg viewBox="0 0 %g 28" preserveAspectRatio="xMinYMid" role="img" aria-label="%s">`, w, template.HTMLEscapeString(c.Title+": "+c.Value+", band "+c.Band+", "+c.State))
	fmt.Fprintf(&s, `<line class="axis" x1="4" y1="%g" x2="%g" y2="%g"/>`, mid, w-4, mid)
	fmt.Fprintf(&s, `<rect class="band" x="%.1f" y="%g" width="%.1f" height="16" rx="3"/>`, x0, mid-8, math.Max(1, x1-x0))
	fmt.Fprintf(&s, `<path class="whisker" d="M%.1f %gV%gM%.1f %gV%gM%.1f %gH%.1f"/>`, at(v-sigma), mid-5, mid+5, at(v+sigma), mid-5, mid+5, at(v-sigma), mid, at(v+sigma))
	switch c.Class {
	case "out": // a diamond outside, a circle inside, a square at the edge
		fmt.Fprintf(&s, `<path class="value out" d="M%.1f %gl7 7l-7 7l-7-7z"/>`, at(v), mid-7)
	case "near":
		fmt.Fprintf(&s, `<rect class="value near" x="%.1f" y="%g" width="11" height="11"/>`, at(v)-5.5, mid-5.5)
	default:
		fmt.Fprintf(&s, `<circle class="value in" cx="%.1f" cy="%g" r="6"/>`, at(v), mid)
	}
	s.WriteString(`</svg>`)
	return template.HTML(s.String()) //nolint:gosec // numbers and escaped words
}

// scale is the stretch of values that a bar shows.
type scale struct{ a, b float64 }

// newScale shows the band in the middle with half its width on each side, wider when
// the value lies farther out; false when there is no band.
func newScale(v, sigma float64, lo, hi *float64) (scale, bool) {
	var a, b float64
	switch {
	case lo == nil && hi == nil:
		return scale{}, false
	case lo != nil && hi != nil:
		a, b = *lo-(*hi-*lo)/2, *hi+(*hi-*lo)/2
	case lo != nil:
		w := math.Max(math.Abs(v-*lo), 3*sigma)
		a, b = *lo-w, *lo+1.5*w
	default:
		w := math.Max(math.Abs(v-*hi), 3*sigma)
		a, b = *hi-1.5*w, *hi+w
	}
	a, b = math.Min(a, v-1.3*sigma), math.Max(b, v+1.3*sigma)
	return scale{a, b}, b > a
}

// at is the place of a value, 0..1.
func (s scale) at(x float64) float64 { return math.Min(1, math.Max(0, (x-s.a)/(s.b-s.a))) }

package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"plantframe/pipeline/swing"
)

// trendView is one checkpoint over the days.
type trendView struct {
	Title, State, Class, Value, Band, Note string
	Plot                                   template.HTML
}

// newTrend words and draws a trend; title is put before its own.
func newTrend(t swing.Trend, title string) trendView {
	suffix, scale := unitOf(t.Unit)
	v := trendView{Title: title + titleOf(swing.Finding{ID: t.ID, Title: t.Title}), State: string(t.Verdict), Class: "none", Band: bandText(t.Lo, t.Hi, t.Unit)}
	if t.Verdict == swing.Changed {
		v.State += ", " + string(t.Heading)
		v.Class = map[swing.Heading]string{swing.Toward: "in", swing.Away: "out"}[t.Heading]
	}
	first, last := t.Days[0], t.Days[len(t.Days)-1]
	v.Value = number(last.Value, scale) + " ± " + number(last.Sigma, scale) + suffix
	if t.Verdict != swing.OneDayOnly {
		v.Value = number(first.Value, scale) + " → " + v.Value + "; change " + signed(t.Change, scale) + " ± " + number(t.ChangeSigma, scale) + suffix
	}
	var notes []string
	if t.Verdict != swing.OneDayOnly && t.SpreadSwings == 0 {
		notes = append(notes, "One swing a day: how much swings differ is assumed.")
	}
	if first.Weak || last.Weak {
		notes = append(notes, "A weak measure: take it with care.")
	}
	if t.Missing > 0 {
		notes = append(notes, fmt.Sprintf("Not measurable in %s.", count(t.Missing, "swing")))
	}
	v.Note = strings.Join(notes, " ")
	v.Plot = trendPlot(t, v)
	return v
}

// signed prints a difference with its sign.
func signed(x, scale float64) string {
	s := number(x, scale)
	if x > 0 && s != "0" {
		return "+" + s
	}
	return s
}

// bandText says a band in words; "" when there is none.
func bandText(lo, hi *float64, unit string) string {
	suffix, scale := unitOf(unit)
	switch {
	case lo != nil && hi != nil:
		return number(*lo, scale) + " to " + number(*hi, scale) + suffix
	case lo != nil:
		return "from " + number(*lo, scale) + suffix
	case hi != nil:
		return "up to " + number(*hi, scale) + suffix
	}
	return ""
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// dayOf reads a day; the zero time when it is none.
func dayOf(day string) time.Time {
	t, _ := time.Parse(time.DateOnly, day)
	return t
}

// dayText writes a day as people do.
func dayText(day string) string {
	t := dayOf(day)
	if t.IsZero() {
		return day
	}
	return t.Format("2 Jan 2006")
}

// trendPlot draws the days on a line of time, with the band behind them.
func trendPlot(t swing.Trend, v trendView) template.HTML {
	const w, top, bottom, left, right = 300.0, 8.0, 84.0, 10.0, 10.0
	a, b := math.Inf(1), math.Inf(-1)
	for _, d := range t.Days {
		a, b = min(a, d.Value-1.2*d.Sigma), max(b, d.Value+1.2*d.Sigma)
	}
	// Of a closed band both edges are shown; of an open one the edge and some of
	// its inside.
	if t.Lo != nil {
		a, b = min(a, *t.Lo), max(b, *t.Lo)
	}
	if t.Hi != nil {
		a, b = min(a, *t.Hi), max(b, *t.Hi)
	}
	room := max(0.08*(b-a), 1e-9)
	a, b = a-room, b+room
	y := func(x float64) float64 { return bottom - (bottom-top)*(x-a)/(b-a) }
	from, to := dayOf(t.Days[0].Day), dayOf(t.Days[len(t.Days)-1].Day)
	span := to.Sub(from).Hours()
	x := func(d swing.TrendDay) float64 {
		if span <= 0 {
			return w / 2
		}
		return left + 10 + (w-left-right-20)*dayOf(d.Day).Sub(from).Hours()/span
	}
	var s strings.Builder
	label := fmt.Sprintf("%s over %s: %s, %s", v.Title, count(len(t.Days), "day"), v.Value, v.State)
	if v.Band != "" {
		label += ", band " + v.Band
	}
	fmt.Fprintf(&s, `<svg class="trend" viewBox="0 0 %g 106" role="img" aria-label="%s">`, w, template.HTMLEscapeString(label))
	y0, y1 := top, bottom
	if t.Hi != nil {
		y0 = y(*t.Hi)
	}
	if t.Lo != nil {
		y1 = y(*t.Lo)
	}
	if t.Lo != nil || t.Hi != nil {
		fmt.Fprintf(&s, `<rect class="band" x="%g" y="%.1f" width="%g" height="%.1f"/>`, left-6, y0, w-left-right+12, max(1, y1-y0))
	}
	line := ""
	for _, d := range t.Days {
		line += fmt.Sprintf("%.1f,%.1f ", x(d), y(d.Value))
	}
	if len(t.Days) > 1 {
		fmt.Fprintf(&s, `<polyline class="course" points="%s"/>`, strings.TrimSpace(line))
	}
	for _, d := range t.Days {
		cx, cy := x(d), y(d.Value)
		fmt.Fprintf(&s, `<path class="whisker" d="M%.1f %.1fV%.1fM%.1f %.1fh8M%.1f %.1fh8"/>`, cx, y(d.Value-d.Sigma), y(d.Value+d.Sigma), cx-4, y(d.Value-d.Sigma), cx-4, y(d.Value+d.Sigma))
		if t.Lo != nil && d.Value < *t.Lo || t.Hi != nil && d.Value > *t.Hi {
			fmt.Fprintf(&s, `<path class="value out" d="M%.1f %.1fl6 6l-6 6l-6-6z"/>`, cx, cy-6)
		} else {
			fmt.Fprintf(&s, `<circle class="value in" cx="%.1f" cy="%.1f" r="5"/>`, cx, cy)
		}
	}
	if span > 0 {
		fmt.Fprintf(&s, `<text x="4" y="102">%s</text><text x="%g" y="102" text-anchor="end">%s</text>`, dayText(t.Days[0].Day), w-4, dayText(t.Days[len(t.Days)-1].Day))
	} else {
		fmt.Fprintf(&s, `<text x="%g" y="102" text-anchor="middle">%s</text>`, w/2, dayText(t.Days[0].Day))
	}
	s.WriteString(`</svg>`)
	return template.HTML(s.String()) //nolint:gosec // numbers, days and escaped words
}

package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// instant is one row of the list of instants.
type instant struct{ Name, When, Rel, How string }

// words for how an instant was found, where the bare word says little.
func howOf(method string) string { return strings.ReplaceAll(method, "-", " ") }

// instants lists the events in time order, with their distance from plant.
func instants(s swing.Swing) []instant {
	plant, ok := s.Events[swing.Plant]
	var out []instant
	for _, n := range byTime(s) {
		e := s.Events[n]
		i := instant{Name: strings.ReplaceAll(string(n), "-", " "), When: fmt.Sprintf("%.3f s ± %.0f ms", e.Time, 1e3*e.Sigma), How: howOf(e.Method)}
		if ok && n != swing.Plant {
			i.Rel = strings.ReplaceAll(fmt.Sprintf("%+.0f ms", 1e3*(e.Time-plant.Time)), "-", "−")
		}
		out = append(out, i)
	}
	return out
}

func byTime(s swing.Swing) []swing.EventName {
	var names []swing.EventName
	for _, n := range swing.EventNames() {
		if _, ok := s.Events[n]; ok {
			names = append(names, n)
		}
	}
	slices.SortStableFunc(names, func(a, b swing.EventName) int {
		switch d := s.Events[a].Time - s.Events[b].Time; {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	return names
}

// timeline draws the instants on a line of time; names take turns above and
// below so that they do not cover each other.
func timeline(s swing.Swing) template.HTML {
	names := byTime(s)
	if len(names) < 2 {
		return ""
	}
	t0, t1 := s.Events[names[0]].Time, s.Events[names[len(names)-1]].Time
	const w, left, right = 720.0, 40.0, 60.0
	at := func(t float64) float64 { return left + (w-left-right)*(t-t0)/math.Max(1e-6, t1-t0) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="time" viewBox="0 0 %g 120" role="img" aria-label="The instants of the swing on a line of time">`, w)
	fmt.Fprintf(&b, `<line class="axis" x1="%g" y1="60" x2="%g" y2="60"/>`, left, w-right+20)
	last := [4]float64{-1e9, -1e9, -1e9, -1e9}
	rows := [4]float64{38, 90, 18, 112}
	for _, n := range names {
		e := s.Events[n]
		x := at(e.Time)
		half := 4.2 * float64(len(n)) // px of text at this size
		r := 0
		for k := range rows { // the first row with room
			if x-half > last[k]+6 {
				r = k
				break
			}
		}
		last[r] = x + half
		class := "dot"
		if n == swing.Plant {
			class = "dot plant"
		}
		sx := math.Max(1.5, (w-left-right)*e.Sigma/math.Max(1e-6, t1-t0))
		fmt.Fprintf(&b, `<rect class="sigma" x="%.1f" y="54" width="%.1f" height="12"/>`, x-sx, 2*sx)
		y := rows[r]
		end := y + 4
		if y > 60 {
			end = y - 12
		}
		fmt.Fprintf(&b, `<line class="lead" x1="%.1f" y1="60" x2="%.1f" y2="%.1f"/><circle class="%s" cx="%.1f" cy="60" r="5"/>`, x, x, end, class, x)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, y, template.HTMLEscapeString(strings.ReplaceAll(string(n), "-", " ")))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // numbers and fixed words
}

// handsPlot draws the way of the hands from stance to contact as the camera
// sees it, relative to the middle of the hips, with the bat at plant.
func handsPlot(s swing.Swing) template.HTML {
	from, okA := s.Events[swing.Stance]
	to, okB := s.Events[swing.Contact]
	plant, okC := s.Events[swing.Plant]
	if !okA || !okB || !okC || s.Track.Len() == 0 {
		return ""
	}
	var xs, ys, ts []float64
	for i, t := range s.Track.Times {
		p := s.Track.Points[i]
		l, r := p[swing.LeftWrist], p[swing.RightWrist]
		a, b := p[swing.LeftHip], p[swing.RightHip]
		if t < from.Time || t > to.Time || l.State == swing.Missing || r.State == swing.Missing || a.State == swing.Missing || b.State == swing.Missing {
			continue
		}
		d := l.Point().Mid(r.Point()).Sub(a.Point().Mid(b.Point()))
		xs, ys, ts = append(xs, d.X), append(ys, d.Y), append(ts, t)
	}
	if len(xs) < 4 {
		return ""
	}
	x0, x1, y0, y1 := slices.Min(xs), slices.Max(xs), slices.Min(ys), slices.Max(ys)
	const w, h, room = 320.0, 240.0, 26.0
	k := math.Min((w-2*room)/math.Max(1, x1-x0), (h-2*room)/math.Max(1, y1-y0))
	at := func(i int) (float64, float64) {
		return w/2 + k*(xs[i]-(x0+x1)/2), h/2 + k*(ys[i]-(y0+y1)/2)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="hands" viewBox="0 0 %g %g" role="img" aria-label="Way of the hands from stance to contact, seen by the camera, against the hips">`, w, h)
	before, after := "", ""
	for i := range xs {
		x, y := at(i)
		if ts[i] <= plant.Time {
			before += fmt.Sprintf("%.1f,%.1f ", x, y)
			after = fmt.Sprintf("%.1f,%.1f ", x, y) // the later part starts here
		} else {
			after += fmt.Sprintf("%.1f,%.1f ", x, y)
		}
	}
	fmt.Fprintf(&b, `<polyline class="way" points="%s"/><polyline class="way late" points="%s"/>`, strings.TrimSpace(before), strings.TrimSpace(after))
	mark := func(t float64, name, class string) {
		i := nearest(ts, t)
		x, y := at(i)
		anchor, dx := "start", 9.0
		if x > w*0.66 {
			anchor, dx = "end", -9
		}
		fmt.Fprintf(&b, `<circle class="dot %s" cx="%.1f" cy="%.1f" r="5"/><text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, class, x, y, x+dx, y-7, anchor, name)
	}
	mark(from.Time, "stance", "")
	mark(plant.Time, "plant", "plant")
	mark(to.Time, "contact", "")
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) //nolint:gosec // numbers and fixed words
}

func nearest(ts []float64, t float64) int {
	best := 0
	for i := range ts {
		if math.Abs(ts[i]-t) < math.Abs(ts[best]-t) {
			best = i
		}
	}
	return best
}

// tempo lists the times between instants.
func tempo(s swing.Swing) []row {
	names := map[string]string{
		"tempo_load_touch": "load to touch", "tempo_touch_plant": "touch to plant",
		"tempo_plant_contact": "plant to contact",
	}
	var out []row
	for _, m := range s.Measures {
		if n, ok := names[m.ID]; ok && m.Value != nil && m.Sigma != nil {
			out = append(out, row{n, fmt.Sprintf("%.0f ± %.0f ms", *m.Value, *m.Sigma)})
		}
	}
	return out
}

func altOf(e swing.EventName, s swing.Swing) string {
	v := "from the open side"
	if s.View == swing.Rear {
		v = "from behind"
	}
	return fmt.Sprintf("The hitter at %s, seen %s, with the body's and the bat's lines drawn", strings.ReplaceAll(string(e), "-", " "), v)
}

// made says how the page came about.
func made(a swing.Analysis, s swing.Swing) []row {
	out := []row{
		{"clip", fmt.Sprintf("%d × %d, %.0f frames a second", a.Clip.Width, a.Clip.Height, a.Clip.FPS)},
		{"batting side", map[string]string{"user": "told", "auto": fmt.Sprintf("seen, %.0f %% sure", 100*s.BatsConfidence)}[s.BatsSource]},
		{"camera", map[string]string{"user": "told", "auto": fmt.Sprintf("seen, %.0f %% sure", 100*s.ViewConfidence)}[s.ViewSource]},
	}
	if a.Clip.FPS <= 0 {
		out[0].Value = fmt.Sprintf("%d × %d", a.Clip.Width, a.Clip.Height)
	}
	var ids []string
	for _, m := range a.Models {
		ids = append(ids, m.ID)
	}
	return append(out, row{"networks", strings.Join(ids, ", ")}, row{"program", "plantframe " + a.ToolVersion})
}

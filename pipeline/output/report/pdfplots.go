package report

import (
	"fmt"
	"math"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"plantframe/pipeline/swing"
)

// Heights of the rows of checkpoints, mm: what fits, and what reads well.
const (
	leastRow = 5.4
	mostRow  = 8.5
)

// checksHeight is what n checkpoints in two columns take with rows of a height.
func (s *sheet) checksHeight(n int, row float64) float64 {
	return 7 + row*math.Ceil(float64(n)/2)
}

// checks lists the checkpoints in two columns, those that want work first, as many
// as the room holds.
func (s *sheet) checks(sw swing.Swing, v *view, x, y, w, room float64) {
	if len(v.Checks) == 0 || room < s.checksHeight(1, leastRow) {
		return
	}
	row := math.Min(mostRow, (room-7)/math.Ceil(float64(len(v.Checks))/2))
	row = math.Max(row, leastRow)
	perColumn := int((room - 7) / row)
	shown := min(len(v.Checks), 2*perColumn)
	perColumn = (shown + 1) / 2
	s.shown, s.checksEnd = shown, y+6+row*float64(perColumn)
	head := "Checkpoints"
	if n := len(v.Checks) - shown; n > 0 {
		head += fmt.Sprintf(" (%d more: see %s)", n, "report.html")
	}
	s.text(x, y, w, bodySize, true, head, 1)
	s.right(x+w, y+0.4, smallSize, false, "grey: band to aim at; circle in it, square near its edge, diamond outside; whisker: one standard deviation")
	y += 6
	half := (w - gutter) / 2
	i := 0
	for _, f := range sw.Findings {
		m := measureOf(sw, f.Measure, f.Event)
		if f.Status == swing.NotJudgeable || m == nil || m.Value == nil || m.Sigma == nil {
			continue
		}
		if i >= shown || i >= len(v.Checks) {
			break
		}
		cx := x + float64(i/perColumn)*(half+gutter)
		cy := y + row*float64(i%perColumn)
		s.check(v.Checks[i], f, m, cx, cy, half, row)
		i++
	}
}

// check draws one checkpoint: its name, the value, and the value in its band.
func (s *sheet) check(c check, f swing.Finding, m *swing.Measure, x, y, w, row float64) {
	bold := c.Class == "out"
	s.right(x+w, y, smallSize, bold, c.Value)
	used := s.width(s.fonts.plain(c.Value)) + 2
	barW := 0.24 * w
	s.put(x, y, smallSize, bold, s.lines(w-used-barW-3, smallSize, bold, c.Title, int(row/(lineShare*smallSize))))
	sc, ok := newScale(*m.Value, *m.Sigma, f.Lo, f.Hi)
	if !ok {
		return
	}
	left, mid := x+w-used-barW-1, y+1.5
	at := func(u float64) float64 { return left + barW*sc.at(u) }
	x0, x1 := left, left+barW
	if f.Lo != nil {
		x0 = at(*f.Lo)
	}
	if f.Hi != nil {
		x1 = at(*f.Hi)
	}
	pdf := s.pdf
	pdf.SetLineWidth(0.2)
	pdf.SetDrawColor(123, 135, 145)
	pdf.SetFillColor(213, 218, 222)
	pdf.Line(left, mid, left+barW, mid)
	pdf.Rect(x0, mid-1.5, math.Max(0.3, x1-x0), 3, "FD")
	pdf.SetDrawColor(27, 31, 36)
	pdf.SetLineWidth(0.3)
	v, a, b := at(*m.Value), at(*m.Value-*m.Sigma), at(*m.Value+*m.Sigma)
	pdf.Line(a, mid, b, mid)
	pdf.Line(a, mid-0.8, a, mid+0.8)
	pdf.Line(b, mid-0.8, b, mid+0.8)
	s.mark(c.Class, v, mid)
}

// mark is the value: a shape for each state, so that it reads in grey.
func (s *sheet) mark(class string, x, y float64) {
	pdf := s.pdf
	pdf.SetDrawColor(255, 255, 255)
	pdf.SetLineWidth(0.15)
	switch class {
	case "out":
		pdf.SetFillColor(163, 38, 15)
		pdf.Polygon([]fpdf.PointType{{X: x, Y: y - 1.5}, {X: x + 1.5, Y: y}, {X: x, Y: y + 1.5}, {X: x - 1.5, Y: y}}, "FD")
	case "near":
		pdf.SetFillColor(122, 75, 0)
		pdf.Rect(x-1.1, y-1.1, 2.2, 2.2, "FD")
	default:
		pdf.SetFillColor(0, 97, 76)
		pdf.Circle(x, y, 1.2, "FD")
	}
}

// instants draws the line of time and the tempo below it, and returns the height
// below both.
func (s *sheet) instants(sw swing.Swing, v *view, x, y, w float64) float64 {
	names := byTime(sw)
	if len(names) < 2 {
		return y
	}
	y = s.text(x, y, w, bodySize, true, "When it happened", 1)
	t0, t1 := sw.Events[names[0]].Time, sw.Events[names[len(names)-1]].Time
	left, wide := x+10, w-24
	at := func(t float64) float64 { return left + wide*(t-t0)/math.Max(1e-6, t1-t0) }
	pdf := s.pdf
	mid := y + 9
	pdf.SetDrawColor(123, 135, 145)
	pdf.SetLineWidth(0.4)
	pdf.Line(x, mid, x+w, mid)
	rows := [4]float64{mid - 5.5, mid + 2.8, mid - 9, mid + 6.2} // upper edges of the names
	last := [4]float64{-1e9, -1e9, -1e9, -1e9}
	for _, n := range names {
		e := sw.Events[n]
		text := strings.ReplaceAll(string(n), "-", " ")
		s.font(smallSize, n == swing.Plant)
		half := s.width(text) / 2
		cx := at(e.Time)
		r := 0
		for k := range rows {
			if cx-half > last[k]+1.5 {
				r = k
				break
			}
		}
		last[r] = cx + half
		sx := math.Max(0.3, wide*e.Sigma/math.Max(1e-6, t1-t0))
		pdf.SetFillColor(213, 218, 222)
		pdf.Rect(cx-sx, mid-1.4, 2*sx, 2.8, "F")
		pdf.SetDrawColor(123, 135, 145)
		pdf.SetLineWidth(0.2)
		end := rows[r] + 3
		if rows[r] > mid {
			end = rows[r]
		}
		pdf.Line(cx, mid, cx, end)
		pdf.SetFillColor(27, 31, 36)
		if n == swing.Plant {
			pdf.SetFillColor(20, 69, 107)
		}
		pdf.Circle(cx, mid, 1, "F")
		s.font(smallSize, n == swing.Plant)
		pdf.Text(cx-half, rows[r]+0.353*smallSize*0.95, text)
	}
	y = mid + 10
	var parts []string
	for _, r := range v.Tempo {
		parts = append(parts, r.Name+" "+r.Value)
	}
	if plant, ok := sw.Events[swing.Plant]; ok {
		parts = append(parts, fmt.Sprintf("plant at %.3f s ± %.0f ms", plant.Time, 1e3*plant.Sigma))
	}
	if len(parts) > 0 {
		y = s.text(x, y, w, smallSize, false, capital(strings.Join(parts, "; ")), 2)
	}
	return y + 2.5
}

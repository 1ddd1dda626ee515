package render

import (
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// panel is the list beside the hitter: for each line of the picture a sample
// of its stroke, its measure and the uncertainty.
type panel struct {
	st    *style
	title string
	rows  []row
	rect  rect
}

// maxRows keeps the list short enough to be read while the picture holds.
const maxRows = 9

// panelRows lists the measures at ev; every line that was drawn gets at least
// its name, so that nothing in the picture is unexplained.
func panelRows(s *swing.Swing, ev swing.EventName, drawn map[line]bool) []row {
	found := measureRows(s, ev)
	var out []row
	taken := make([]bool, len(found))
	for _, l := range []line{shoulderLine, leadArm, rearArm, batLine, barrelLine, trunkLine, massAxis, strideLine, handsLine} {
		i := slices.IndexFunc(found, func(r row) bool { return r.line == l })
		switch {
		case i >= 0:
			out = append(out, found[i])
			taken[i] = true
		case drawn[l]:
			out = append(out, row{line: l, name: lineName(l)})
		}
	}
	for i, r := range found {
		if !taken[i] && len(out) < maxRows {
			out = append(out, r)
		}
	}
	for i := range out {
		if !drawn[out[i].line] {
			out[i].line = noLine // no sample of a line that is not there
		}
	}
	return out
}

// newPanel finds a place for rows in free, away from the hitter. A list that
// does not fit is set smaller; when the hitter fills the picture the last rows
// are given up, down to the lines that are drawn, rather than cover the body.
// ok is false when nothing is to be shown.
func newPanel(st *style, title string, rows []row, free, hitter rect) (panel, bool) {
	p := panel{st: st, title: title, rows: rows}
	if len(rows) == 0 {
		return p, false
	}
	if p.rect = p.place(free, hitter); p.clear(hitter) {
		return p, true
	}
	p.st = st.small
	for n := len(rows); ; n-- {
		p.rows = rows[:n]
		p.rect = p.place(free, hitter)
		if n <= 3 || p.clear(hitter) {
			return p, true
		}
	}
}

// clear tells whether the list keeps away from the hitter; a corner over the
// surroundings does no harm.
func (p *panel) clear(hitter rect) bool {
	const harmless = 0.01
	return p.rect.and(hitter).area() <= harmless*p.rect.area()
}

func (p *panel) sampleWidth() float64 { return 1.3 * p.st.name.size }

// textWidth is the length of the longest row's words and numbers, px.
func (p *panel) textWidth() float64 {
	st := p.st
	widest := 0.0
	for _, r := range p.rows {
		w := st.name.width(r.name)
		if text := p.valueText(r); text != "" {
			w += 0.7*st.name.size + st.value.width(text)
		}
		widest = math.Max(widest, w)
	}
	return widest
}

func (p *panel) valueText(r row) string {
	if r.weak {
		return r.value + " weak"
	}
	return r.value
}

// place returns the corner of free where the list covers least of hitter.
func (p *panel) place(free, hitter rect) rect {
	st := p.st
	pad := 0.5 * st.name.size
	w := 2*pad + p.sampleWidth() + 0.4*st.name.size + p.textWidth()
	w = math.Max(w, 2*pad+st.value.width(p.title))
	h := 2*pad + st.rowHeight()*float64(len(p.rows)+1)
	free = free.grow(-st.margin, -st.margin)
	best, least := rect{}, math.Inf(1)
	for _, r := range []rect{
		{free.x0, free.y0, free.x0 + w, free.y0 + h},
		{free.x1 - w, free.y0, free.x1, free.y0 + h},
		{free.x0, free.y1 - h, free.x0 + w, free.y1},
		{free.x1 - w, free.y1 - h, free.x1, free.y1},
	} {
		if over := r.and(hitter).area(); over < least {
			best, least = r, over
		}
	}
	return best.whole()
}

func (p *panel) draw(c *canvas) {
	st, col := p.st, p.st.colour
	pad := 0.5 * st.name.size
	c.plate(p.rect, 0.35*st.name.size, col.dark, 0.66)
	y := p.rect.y0 + pad + (st.rowHeight()+st.value.height)/2
	x := p.rect.x0 + pad
	st.value.put(c, x, y, p.title, col.accent, 1)
	names := x + p.sampleWidth() + 0.4*st.name.size
	for _, r := range p.rows {
		y += st.rowHeight()
		sample(c, r.line, x+3*st.unit, x+p.sampleWidth()-3*st.unit, y-st.name.height/2, st.unit, col)
		st.name.put(c, names, y, r.name, col.text, 1)
		shade := col.text
		if r.weak {
			shade = col.quiet
		}
		text := p.valueText(r)
		st.value.put(c, p.rect.x1-pad-st.value.width(text), y, text, shade, 1)
	}
}

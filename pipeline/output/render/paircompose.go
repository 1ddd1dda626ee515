package render

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"plantframe/pipeline/swing"
)

// panel brings a panel to what moment m shows. In a hold the lines of the launch
// position and the numbers of the event are drawn, else the thin skeleton.
func (f *pairFilm) panel(d *feed, i int, m moment) error {
	row, l, sec := m.row[i], f.lens[i], f.sec[i]
	fresh, err := d.seek(sec.s.Track.Frames[row])
	if err != nil {
		return err
	}
	key := panelKey{row, m.live[i], m.event, true}
	if !fresh && key == f.key[i] {
		return nil
	}
	f.key[i] = key
	c := f.panels[i]
	l.shoot(c, d.frame, row, d.scale)
	if fig, ok := l.figure(sec, row, f.st.unit); ok && m.live[i] {
		fig.skeleton(c, f.st.colour)
		if m.event == "" {
			fig.thinBat(c, f.st.colour)
		} else {
			fig.launch(c, f.st.colour)
		}
	}
	if !m.live[i] {
		c.tint(rect{0, 0, float64(c.w), float64(c.h)}, f.st.colour.dark, 0.55)
	}
	return nil
}

// pairRows is the number of measures that stand under the panels.
const pairRows = 3

// pairRow is one measure of both swings.
type pairRow struct {
	line    line
	name    string
	value   [2]string
	differs bool
}

// pairRowsAt lists measures at ev that both swings have: those that differ first,
// the clearest before the others.
func pairRowsAt(c *swing.Comparison, ev swing.EventName) []pairRow {
	type entry struct {
		pairRow
		rank float64
	}
	var all []entry
	for _, k := range keyMeasures() {
		for _, d := range c.Measures {
			if d.ID != k.id || d.Event != ev || d.Unit == "m" || d.Verdict == swing.NotComparable {
				continue
			}
			e := entry{pairRow: pairRow{line: k.line, name: k.name}}
			e.value = [2]string{quantity(*d.A, *d.SigmaA, d.Unit), quantity(*d.B, *d.SigmaB, d.Unit)}
			if e.differs = d.Verdict == swing.Differs; e.differs {
				e.rank = math.Abs(*d.Value) / *d.Sigma
			}
			all = append(all, e)
			break
		}
	}
	slices.SortStableFunc(all, func(a, b entry) int { return cmp.Compare(b.rank, a.rank) })
	var out []pairRow
	for _, e := range all[:min(len(all), pairRows)] {
		out = append(out, e.pairRow)
	}
	return out
}

// numbers writes the measures of the instant that was held last under the panels:
// name and stroke in the middle, the value of each swing under its picture. Beside
// the pictures, not in them: both are narrow and hold a whole body.
func (f *pairFilm) numbers(c *canvas, top float64) {
	st, col := f.st, f.st.colour
	if len(f.rows) == 0 {
		return
	}
	small := st.small.name
	middle := st.w / 2
	title := "at " + string(f.rowsAt)
	base := top + (st.rowHeight()+st.value.height)/2
	st.value.put(c, middle-st.value.width(title)/2, base, title, col.accent, 1)
	mark := "≠ differs beyond its uncertainty"
	if slices.ContainsFunc(f.rows, func(r pairRow) bool { return r.differs }) {
		small.put(c, st.margin, base, mark, col.quiet, 1)
	}
	for _, r := range f.rows {
		base += st.rowHeight()
		name := r.name
		if r.differs {
			name = "≠ " + name
		}
		w := st.name.width(name)
		st.name.put(c, middle-w/2, base, name, col.text, 1)
		stroke := 1.3 * st.name.size
		if r.line != noLine {
			x := middle - w/2 - 0.5*st.name.size - stroke
			sample(c, r.line, x, x+stroke, base-st.name.height/2, st.unit, col)
		}
		for i, v := range r.value {
			x := float64(i*(panelWidth+panelGap)) + panelWidth/4
			if i == 1 {
				x += panelWidth / 2
			}
			st.value.put(c, x-st.value.width(v)/2, base, v, sideColour(i, col), 1)
		}
	}
}

// compose puts the panels and the bands on one picture of the video.
func (f *pairFilm) compose(c *canvas, m moment) {
	col := f.st.colour
	c.wipe(col.dark)
	for i, p := range f.panels {
		c.paste(p, i*(panelWidth+panelGap), int(f.head))
		f.header(c, i)
	}
	if m.event != "" && m.event != f.rowsAt {
		f.rowsAt, f.rows = m.event, pairRowsAt(f.both, m.event)
	}
	f.numbers(c, f.head+float64(f.tall)+0.2*f.st.name.size)
	f.footer(c, m)
}

// header names the swing over its panel. Text is never mirrored.
func (f *pairFilm) header(c *canvas, i int) {
	st, col := f.st, f.st.colour
	x := float64(i*(panelWidth+panelGap)) + st.margin
	base := math.Round((f.head + st.title.height) / 2)
	x = st.title.put(c, x, base, f.shown[i].Label, sideColour(i, col), 1) + 0.6*st.name.size
	right := float64(i*(panelWidth+panelGap)+panelWidth) - st.margin
	note := "bats " + string(f.party[i].Swing.Bats)
	if f.party[i].Mirrored {
		note += ", mirrored"
	}
	w := st.name.width(note)
	st.name.put(c, right-w, base, note, col.text, 1)
	if n := f.shown[i].Name; n != f.shown[i].Label {
		st.small.name.put(c, x, base, shorten(st.small.name, n, right-w-x-0.8*st.name.size), col.quiet, 1)
	}
}

// shorten cuts a text to a width, px, in its middle: names of clips differ at
// their ends.
func shorten(w *writer, s string, width float64) string {
	if w.width(s) <= width {
		return s
	}
	r := []rune(s)
	for n := len(r) - 1; n >= 4; n-- {
		cut := string(r[:(n+1)/2]) + "…" + string(r[len(r)-n/2:])
		if w.width(cut) <= width {
			return cut
		}
	}
	return ""
}

// sideColour tells the two swings apart, with their labels and places.
func sideColour(i int, col palette) colour {
	if i == 0 {
		return col.lead
	}
	return col.rear
}

// footer draws what is held or how fast it goes, the common clock, and the
// timeline of both swings.
func (f *pairFilm) footer(c *canvas, m moment) {
	st, col := f.st, f.st.colour
	top := f.head + float64(f.tall) + f.band
	base := top + math.Round(0.75*st.title.size+st.title.height/2+0.1*st.title.size)
	clock := clockText(m.clock, f.both.Align)
	x := st.w - st.margin - st.value.width(clock)
	st.value.put(c, x, base, clock, col.text, 1)
	if m.event == "" {
		speed := "true speed"
		if m.slow > 1 {
			speed = slower(m.slow)
		}
		st.name.put(c, st.margin, base, speed, col.quiet, 1)
	} else {
		pad, side := 0.26*st.title.size, 0.35*st.title.size
		w := st.title.width(string(m.event))
		p := rect{st.margin, base - st.title.height - pad, st.margin + w + 2*side, base + pad}
		c.plate(p, 0.22*st.title.size, col.accent, 1)
		st.title.put(c, st.margin+side, base, string(m.event), col.dark, 1)
		said := f.said(m)
		from := p.x1 + 0.5*st.title.size
		st.name.put(c, from, base, shorten(st.name, said, x-from-st.name.size), col.text, 1)
	}
	f.timelines(c, m, top+1.7*st.title.size)
}

// said tells which swing is at the event and where the other one has it.
func (f *pairFilm) said(m moment) string {
	if m.at[0] && m.at[1] {
		gap := 1000 * (clockOf(f.party[0], m.event, 0) - clockOf(f.party[1], m.event, 0))
		switch n := math.Round(gap); {
		case n > 0:
			return fmt.Sprintf("%s %.0f ms later", f.shown[0].Label, n)
		case n < 0:
			return fmt.Sprintf("%s %.0f ms later", f.shown[1].Label, -n)
		}
		return "both"
	}
	i := 0
	if m.at[1] {
		i = 1
	}
	other, ok := f.party[1-i].Swing.Events[m.event]
	if !ok {
		return fmt.Sprintf("%s · not found in %s", f.shown[i].Label, f.shown[1-i].Label)
	}
	gap := 1000 * (other.Time - f.party[1-i].Zero - m.clock)
	word := "later"
	if gap < 0 {
		word = "earlier"
	}
	return fmt.Sprintf("%s · %s %.0f ms %s", f.shown[i].Label, f.shown[1-i].Label, math.Abs(gap), word)
}

// clockText is "−0.41 s to plant" or "0.12 s after plant".
func clockText(clock float64, align swing.EventName) string {
	s := strconv.FormatFloat(math.Abs(clock), 'f', 3, 64)
	if s == "0.000" {
		return string(align)
	}
	if clock < 0 {
		return s + " s before " + string(align)
	}
	return s + " s after " + string(align)
}

// timelines draws a line of time for each swing, one under the other on the same
// clock, with a mark at each event and one cursor through both.
func (f *pairFilm) timelines(c *canvas, m moment, top float64) {
	st, col := f.st, f.st.colour
	small := st.small
	from, to := f.acts[0][0].clock, f.acts[0][len(f.acts[0])-1].clock
	left := st.margin
	for _, s := range f.shown {
		left = math.Max(left, st.margin+small.name.width(shorten(small.name, s.Label, st.w/5))+0.6*st.name.size)
	}
	right := st.w - 2*st.margin
	at := func(clock float64) float64 {
		return left + math.Max(0, math.Min(1, (clock-from)/(to-from)))*(right-left)
	}
	thick := math.Max(2, math.Round(1.6*st.unit))
	f.tickNames(c, top+small.name.height, right, func(e swing.Event) (float64, bool) {
		clock := e.Time - f.party[0].Zero
		return at(clock), clock >= from && clock <= to
	})
	top += 0.55 * st.rowHeight()
	room := (st.h - top) / 2
	for i := range f.party {
		y := math.Round(top + room*(float64(i)+0.45))
		small.name.put(c, st.margin, y+small.name.height/2, shorten(small.name, f.shown[i].Label, st.w/5), sideColour(i, col), 1)
		c.tint(rect{left, y - thick/2, right, y + thick/2}, col.quiet, 0.5)
		c.tint(rect{left, y - thick/2, at(m.clock), y + thick/2}, sideColour(i, col), 1)
		for _, name := range swing.EventNames() {
			e, ok := f.party[i].Swing.Events[name]
			clock := e.Time - f.party[i].Zero
			if !ok || clock < from || clock > to {
				continue
			}
			x, half, mark := at(clock), 3.4*thick, col.text
			if name == m.event {
				half, mark = 4.6*thick, col.accent
			}
			if name == f.both.Align {
				half = 4.6 * thick
			}
			c.tint(rect{x - thick/2, y - half, x + thick/2, y + half}, mark, 1)
		}
	}
	x := at(m.clock)
	y0, y1 := math.Round(top+room*0.45), math.Round(top+room*1.45)
	c.stroke(swing.Point{X: x, Y: y0 - 5*thick}, swing.Point{X: x, Y: y1 + 5*thick}, thick, col.accent, 0.9)
	c.disc(swing.Point{X: x, Y: y0}, 2*thick, col.accent, 1)
	c.disc(swing.Point{X: x, Y: y1}, 2*thick, col.accent, 1)
}

// tickNames writes the names of the hitter's events over its line of time, the
// most telling first; one that would run into another is left out.
func (f *pairFilm) tickNames(c *canvas, base, right float64, at func(swing.Event) (float64, bool)) {
	w := f.st.small.name
	var taken [][2]float64
	for _, name := range []swing.EventName{swing.Plant, swing.Contact, swing.Load, swing.Stance, swing.Finish, swing.Lift, swing.Touch} {
		e, ok := f.party[0].Swing.Events[name]
		x, in := at(e)
		if !ok || !in {
			continue
		}
		half := w.width(string(name)) / 2
		x = math.Min(x, right+f.st.margin-half)
		gap := 0.35 * w.size
		if slices.ContainsFunc(taken, func(t [2]float64) bool { return x-half-gap < t[1] && x+half+gap > t[0] }) {
			continue
		}
		taken = append(taken, [2]float64{x - half, x + half})
		w.put(c, x-half, base, string(name), f.st.colour.quiet, 1)
	}
}

// caution fills the band under the panels.
func (f *pairFilm) caution(c *canvas) {
	st, col := f.st, f.st.colour
	r := rect{0, f.head + float64(f.tall) + f.band, st.w, st.h}
	c.plate(r, 0, col.dark, 1)
	lines := st.value.wrap(caution(), st.w-2*st.margin)
	y := r.y0 + (r.h()-float64(len(lines))*st.rowHeight())/2 + (st.rowHeight()+st.value.height)/2
	for _, l := range lines {
		st.value.put(c, (st.w-st.value.width(l))/2, y, l, col.text, 1)
		y += st.rowHeight()
	}
}

// wipe fills the whole canvas.
func (c *canvas) wipe(col colour) {
	if len(c.pix) < 3 {
		return
	}
	copy(c.pix, col[:])
	for n := 3; n < len(c.pix); n *= 2 {
		copy(c.pix[n:], c.pix[:n])
	}
}

// paste puts src on c with its corner at x, y, cut to c.
func (c *canvas) paste(src *canvas, x, y int) {
	w := min(src.w, c.w-x)
	for v := range min(src.h, c.h-y) {
		copy(c.pix[3*((y+v)*c.w+x):3*((y+v)*c.w+x+w)], src.pix[3*v*src.w:])
	}
}

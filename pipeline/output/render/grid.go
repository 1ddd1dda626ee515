package render

import (
	"context"
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// gridCell is the width of one still of the grid, px; five of them side by side
// fill a large phone held across, and one of them fills it when zoomed.
const gridCell = 400

// grid is the sheet of stills: a column for each instant, a row for each swing.
type grid struct {
	shown []Shown
	party []*swing.Party
	lens  []*lens
	sec   []*section
	tall  int
}

func newGrid(hitter Shown, refs []Reference) *grid {
	g := &grid{shown: []Shown{hitter}, party: []*swing.Party{&refs[0].Comparison.A}}
	for i := range refs {
		g.shown = append(g.shown, refs[i].Shown)
		g.party = append(g.party, &refs[i].Comparison.B)
	}
	b := boxAround(g.party)
	g.tall = tallness(b, gridCell)
	for _, p := range g.party {
		g.lens = append(g.lens, newLens(p, b, gridCell, g.tall))
		g.sec = append(g.sec, sectionOf(p.Swing))
	}
	return g
}

func (g *grid) cells() int { return len(g.party) * len(stillEvents()) }

// run draws the sheet into the folder.
func (g *grid) run(ctx context.Context, out *folder, name string, p swing.Progress) error {
	events := stillEvents()
	const gap = gridGap
	st, err := gridStyle()
	if err != nil {
		return err
	}
	head, band := gridBands(st) // band: over each row, whose it is
	w := gridWidth()
	h := head + len(g.party)*(band+g.tall+gap)
	sheet := newCanvas(w, h)
	sheet.wipe(st.colour.dark)
	for k, ev := range events {
		x := float64(k*(gridCell+gap)) + (gridCell-st.title.width(string(ev)))/2
		st.title.put(sheet, x, math.Round((float64(head)+st.title.height)/2), string(ev), st.colour.accent, 1)
	}
	for i := range g.party {
		y := head + i*(band+g.tall+gap)
		g.name(sheet, st, i, float64(y), float64(band))
		if err := g.row(ctx, sheet, st, i, y+band, gap, p); err != nil {
			return err
		}
	}
	tmp, err := out.temp("stills", name)
	if err != nil {
		return err
	}
	return writePNG(sheet, tmp)
}

// name writes whose row it is.
func (g *grid) name(c *canvas, st *style, i int, y, h float64) {
	col := st.colour
	base := math.Round(y + (h+st.value.height)/2)
	x := st.value.put(c, st.margin, base, g.shown[i].Label, sideColour(min(i, 1), col), 1) + 0.8*st.name.size
	note := fmt.Sprintf("bats %s · %s", g.party[i].Swing.Bats, g.party[i].Swing.View)
	if g.party[i].Mirrored {
		note += " · mirrored"
	}
	if n := g.shown[i].Name; n != g.shown[i].Label {
		note = n + " · " + note
	}
	st.name.put(c, x, base, shorten(st.name, note, float64(c.w)-x-st.margin), col.quiet, 1)
}

// row draws the stills of one swing.
func (g *grid) row(ctx context.Context, sheet *canvas, st *style, i, y, gap int, p swing.Progress) error {
	l, sec, t := g.lens[i], g.sec[i], &g.party[i].Swing.Track
	rows := map[int]bool{}
	at := map[swing.EventName]int{}
	for _, ev := range stillEvents() {
		if e, ok := sec.s.Events[ev]; ok {
			r := nearestRow(t, e.Time)
			if exact, has := sec.rows[e.Frame]; has {
				r = exact
			}
			at[ev], rows[r] = r, true
		}
	}
	cell := newCanvas(gridCell, g.tall)
	empty := func(ev swing.EventName, k int) {
		cell.wipe(colour{outsideGrey, outsideGrey, outsideGrey})
		text := "no " + string(ev) + " found"
		st.name.put(cell, (gridCell-st.name.width(text))/2, float64(g.tall)/2, text, st.colour.quiet, 1)
		sheet.paste(cell, k*(gridCell+gap), y)
	}
	var d *feed
	if len(rows) > 0 {
		var err error
		if d, err = openFeed(ctx, g.shown[i].Open, l, rows); err != nil {
			return err
		}
		defer d.stop()
	}
	// Events lie in the order of their columns but for load and touch of strange
	// swings: frames are taken in the order in which they come.
	for _, k := range byRow(at) {
		ev := stillEvents()[k]
		r := at[ev]
		if err := ctx.Err(); err != nil {
			_ = d.end()
			return err
		}
		if _, err := d.seek(t.Frames[r]); err != nil {
			_ = d.end()
			return err
		}
		l.shoot(cell, d.frame, r, d.scale)
		if fig, ok := l.figure(sec, r, st.unit); ok {
			fig.skeleton(cell, st.colour)
			fig.launch(cell, st.colour)
		}
		g.stamp(cell, st, i, ev)
		sheet.paste(cell, k*(gridCell+gap), y)
		p.Add(1)
	}
	for k, ev := range stillEvents() {
		if _, ok := at[ev]; !ok {
			empty(ev, k)
			p.Add(1)
		}
	}
	if d == nil {
		return nil
	}
	d.stop()
	return d.end()
}

// byRow lists the columns of the events that are there by their track row.
func byRow(at map[swing.EventName]int) []int {
	var out []int
	for k, ev := range stillEvents() {
		if _, ok := at[ev]; !ok {
			continue
		}
		i := len(out)
		for i > 0 && at[stillEvents()[out[i-1]]] > at[ev] {
			i--
		}
		out = append(out[:i], append([]int{k}, out[i:]...)...)
	}
	return out
}

// stamp writes when the instant is, against the aligned one.
func (g *grid) stamp(c *canvas, st *style, i int, ev swing.EventName) {
	ms := 1000 * (g.party[i].Swing.Events[ev].Time - g.party[i].Zero)
	if math.Round(ms) == 0 {
		return // the instant that both count from
	}
	text := pairSigned(ms) + " ms"
	pad := 0.25 * st.value.size
	w := st.value.width(text) + 2*pad
	// In the upper corner on the pitcher's side: the bat is in the other one, the
	// feet are below.
	r := rect{float64(c.w) - w - pad, pad, float64(c.w) - pad, st.value.height + 3*pad}
	if (g.party[i].Swing.Bats == swing.Left) != g.party[i].Mirrored {
		r.x0, r.x1 = pad, pad+w
	}
	c.plate(r, 0.25*st.value.size, st.colour.dark, 0.7)
	st.value.put(c, r.x0+pad, r.y1-pad, text, st.colour.text, 1)
}

// pairSigned writes a whole number with its sign.
func pairSigned(v float64) string {
	switch n := math.Round(v); {
	case n < 0:
		return fmt.Sprintf("−%.0f", -n)
	case n > 0:
		return fmt.Sprintf("+%.0f", n)
	}
	return "0"
}

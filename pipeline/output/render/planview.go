package render

import (
	"fmt"
	"math"
	"os"
	"path/filepath"

	"plantframe/pipeline/swing"
)

// PlanRow is one swing of a plan view.
type PlanRow struct {
	Label string // such as "hitter"; "" when there is one row
	Swing *swing.Swing
}

// The plan view: the hitter from above, a column for each of these instants.
func planEvents() []swing.EventName {
	return []swing.EventName{swing.Stance, swing.Plant, swing.Contact}
}

const (
	planCell  = 400  // px, side of one plan
	planReach = 0.50 // statures from the middle to the left and right edge of a plan
	planMid   = 0.34 // where the middle is, share of the height: the bat comes round below
	// A bent trunk brings the shoulders over the plate's side of the hips, statures;
	// drawn so where only turns are known, so that neither line hides the other.
	planLean = 0.07
	// Widths of shoulders and hips that are drawn where only their turns are known,
	// statures (Drillis and Contini 1966 as reproduced in Winter 2009: .259 and .191
	// over all, values from memory).
	planShoulders, planHips = 0.259, 0.191
)

// PlanView draws swings from above into the PNG file path, whole: shoulders, hips,
// and where two views were put together the feet and the bat, at stance, plant and
// contact, each with a wedge of one standard deviation. It returns false, and writes
// nothing, when no turn of the first swing is known. Errors are *swing.Error of kind
// output.
func PlanView(path string, rows []PlanRow) (bool, error) {
	if len(rows) == 0 || !planTurns(rows[0].Swing).Known() {
		return false, nil
	}
	c, err := planSheet(rows)
	if err != nil {
		return false, outputError("render.PlanView", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*.png")
	if err != nil {
		return false, outputError("render.PlanView", err)
	}
	err = f.Chmod(0o644)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = writePNG(c, f.Name())
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
		return false, outputError("render.PlanView", err)
	}
	return true, nil
}

func outputError(op string, err error) error {
	return &swing.Error{Op: op, Frame: -1, Kind: swing.KindOutput, Msg: "the view from above cannot be written", Hint: "check that the output folder is writable and the disk is not full", Err: err}
}

// planTurns are the turns that a plan shows: by both views where there are two.
func planTurns(s *swing.Swing) *swing.TurnPath {
	if s.Views != nil && s.Views.Turns.Known() {
		return &s.Views.Turns
	}
	return &s.Turns
}

// planSheet draws the whole picture.
func planSheet(rows []PlanRow) (*canvas, error) {
	st, err := newStyle(2*planCell, 2*planCell)
	if err != nil {
		return nil, err
	}
	const gap = 6
	head := int(2.9 * st.title.size)
	band := 0
	if len(rows) > 1 {
		band = int(1.9 * st.name.size)
	}
	text := int(3.75 * st.name.size) // under each plan
	w := len(planEvents())*(planCell+gap) + gap
	h := head + len(rows)*(band+planCell+text+gap) + int(3.2*st.name.size)
	sheet := newCanvas(w, h)
	sheet.wipe(st.colour.dark)
	col := st.colour
	st.title.put(sheet, st.margin, math.Round(1.05*st.title.size), "From above", col.text, 1)
	for k, e := range planEvents() {
		x := float64(gap + k*(planCell+gap))
		st.title.put(sheet, x+(planCell-st.title.width(string(e)))/2, float64(head)-0.45*st.title.size, string(e), col.accent, 1)
	}
	for i, r := range rows {
		y := head + i*(band+planCell+text+gap)
		if band > 0 {
			planName(sheet, st, i, r, float64(y), float64(band))
		}
		for k, e := range planEvents() {
			p := plan0(r.Swing, e)
			cell := newCanvas(planCell, planCell) // nothing reaches out of it
			p.draw(cell, st)
			sheet.paste(cell, gap+k*(planCell+gap), y+band)
			p.words(sheet, st, float64(gap+k*(planCell+gap)), float64(y+band+planCell))
		}
	}
	notes := [2]string{"blue ends: lead side, orange: rear side · wedges: one standard deviation, at contact two", "one view: the directions alone are known, no bat, no feet"}
	if v := rows[0].Swing.Views; v != nil {
		notes[1] = "with the second view " + v.Partner.File
	}
	for i, n := range notes {
		st.small.name.put(sheet, st.margin, float64(h)-(0.7+1.15*float64(1-i))*st.name.size, shorten(st.small.name, n, float64(w)-2*st.margin), col.quiet, 1)
	}
	return sheet, nil
}

// planName writes whose row it is.
func planName(c *canvas, st *style, i int, r PlanRow, y, h float64) {
	base := math.Round(y + (h+st.value.height)/2)
	x := st.value.put(c, st.margin, base, r.Label, sideColour(min(i, 1), st.colour), 1) + 0.8*st.name.size
	note := fmt.Sprintf("bats %s", r.Swing.Bats)
	if r.Swing.Views != nil {
		note += " · two views"
	} else {
		note += " · " + string(r.Swing.View)
	}
	st.name.put(c, x, base, note, st.colour.quiet, 1)
}

// planLine is a line of the body from above.
type planLine struct {
	rear, lead swing.Point // statures, X to the pitcher, Y to the plate
	turn       float64     // degrees, + = opened
	sigma      float64     // degrees
	known      bool
	value      *swing.Measure // what is said of it; nil = nothing
}

// onePlan is a body from above at one instant.
type onePlan struct {
	left            bool
	shoulders, hips planLine
	feet            [2][2]swing.Point // lead, rear: heel, toe
	knob, tip       swing.Point
	hasFeet, hasBat bool
	why             string // why there is no plan
	rough           bool   // too fast to be measured: drawn only
}

// plan0 takes a swing at an event.
func plan0(s *swing.Swing, e swing.EventName) onePlan {
	p := onePlan{left: s.Bats == swing.Left}
	events, turns := s.Events, planTurns(s)
	if s.Views != nil {
		events = s.Views.Events
	}
	ev, ok := events[e]
	switch {
	case !ok:
		p.why = fmt.Sprintf("no %s found", e)
		return p
	case s.Views == nil && e == swing.Contact:
		p.why = "not from one view"
		return p
	}
	p.rough = e == swing.Contact
	body := &swing.SpacePath{}
	if s.Views != nil {
		body = &s.Views.Body
	}
	at := func(k int) (swing.Point, bool) {
		q, ok := body.At(k, ev.Time)
		return swing.Point{X: q.X, Y: q.Y}, ok
	}
	for _, l := range []struct {
		line       *planLine
		turn       swing.Turn
		lead, rear int
		width      float64
		id         string
	}{
		{&p.shoulders, swing.ShoulderTurn, swing.LeadShoulderAt, swing.RearShoulderAt, planShoulders, "shoulder_turn"},
		{&p.hips, swing.HipTurn, swing.LeadHipAt, swing.RearHipAt, planHips, "hip_turn"},
	} {
		q, ok := turns.At(l.turn, ev.Time)
		if !ok {
			continue
		}
		l.line.known, l.line.turn, l.line.sigma = true, q.Median(), q.Sigma()
		for i := range s.Measures {
			if m := &s.Measures[i]; m.ID == l.id && m.Event == e {
				l.line.value = m
				if m.Sigma != nil {
					l.line.sigma, l.line.turn = *m.Sigma, *m.Value
				}
			}
		}
		if p.rough {
			l.line.sigma *= 2
		}
		var mid swing.Point
		a, okA := at(l.lead)
		b, okB := at(l.rear)
		switch {
		case okA && okB:
			mid = a.Mid(b)
		case l.turn == swing.ShoulderTurn:
			mid.Y = planLean
		}
		sin, cos := math.Sincos(l.line.turn * math.Pi / 180)
		half := swing.Point{X: cos, Y: -sin}.Scale(l.width / 2)
		l.line.lead, l.line.rear = mid.Add(half), mid.Sub(half)
	}
	if !p.shoulders.known && !p.hips.known {
		p.why = "too far from plant"
		return p
	}
	p.hasFeet = true
	for k, list := range [2][2]int{{swing.LeadHeelAt, swing.LeadToeAt}, {swing.RearHeelAt, swing.RearToeAt}} {
		for i, j := range list {
			var ok bool
			p.feet[k][i], ok = at(j)
			p.hasFeet = p.hasFeet && ok
		}
	}
	var okK, okT bool
	p.knob, okK = at(swing.KnobAt)
	p.tip, okT = at(swing.TipAt)
	p.hasBat = okK && okT
	p.centre()
	return p
}

// centre puts the middle of the hips, or of the shoulders, into the middle of the plan.
func (p *onePlan) centre() {
	mid := p.hips.lead.Mid(p.hips.rear)
	if !p.hips.known {
		mid = p.shoulders.lead.Mid(p.shoulders.rear)
	}
	for _, q := range []*swing.Point{
		&p.shoulders.lead, &p.shoulders.rear, &p.hips.lead, &p.hips.rear,
		&p.feet[0][0], &p.feet[0][1], &p.feet[1][0], &p.feet[1][1], &p.knob, &p.tip,
	} {
		*q = q.Sub(mid)
	}
}

package render

import (
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

// turning is a swing whose turns are known from one view.
func turning(bats swing.Bats) *swing.Swing {
	s := &swing.Swing{Bats: bats, View: swing.OpenSide, Events: map[swing.EventName]swing.Event{
		swing.Stance: {Time: 1}, swing.Plant: {Time: 1.5}, swing.Contact: {Time: 1.7},
	}}
	v, sigma := -20.0, 10.0
	s.Measures = []swing.Measure{{ID: "shoulder_turn", Event: swing.Plant, Value: &v, Sigma: &sigma, Status: swing.Measured}}
	for i := range 50 {
		s.Turns.Times = append(s.Turns.Times, 0.9+0.02*float64(i))
		s.Turns.Angles[swing.ShoulderTurn] = append(s.Turns.Angles[swing.ShoulderTurn], swing.Quantiles{-36, -30, -20, -10, -4})
		s.Turns.Angles[swing.HipTurn] = append(s.Turns.Angles[swing.HipTurn], swing.Quantiles{-6, 0, 10, 20, 26})
	}
	return s
}

func TestPlanOfOneView(t *testing.T) {
	s := turning(swing.Right)
	p := plan0(s, swing.Plant)
	d := p.shoulders.lead.Sub(p.shoulders.rear)
	if !p.shoulders.known || !(d.X > 0) || !(d.Y > 0) || p.hasBat || p.hasFeet {
		t.Errorf("turned in, the lead shoulder is nearer the plate: %+v", p)
	}
	if d = p.hips.lead.Sub(p.hips.rear); !(d.Y < 0) {
		t.Errorf("opened, the lead hip is farther from the plate: %+v", p.hips)
	}
	if got := p.saying(&p.shoulders); got != "−20° ± 10°" {
		t.Errorf("it says %q", got)
	}
	if got := p.saying(&p.hips); got != "not measurable" {
		t.Errorf("a turn that is not among the measures: %q", got)
	}
	if c := plan0(s, swing.Contact); c.why == "" {
		t.Error("contact from one view")
	}
	if l := plan0(s, swing.Lift); !strings.Contains(l.why, "lift") {
		t.Errorf("an instant that was not found: %q", l.why)
	}
}

func TestPlanOfTwoViews(t *testing.T) {
	s := turning(swing.Left)
	var row [swing.NumSpace]*swing.Place
	for k := range row {
		row[k] = &swing.Place{X: 0.1 * float64(k%3), Y: 0.02 * float64(k)}
	}
	s.Views = &swing.TwoViews{
		Partner: swing.ViewRef{File: "rear.mov"}, Events: s.Events, Turns: s.Turns,
		Body: swing.SpacePath{Times: []float64{0.9, 1.8}, Points: [][swing.NumSpace]*swing.Place{row, row}},
	}
	p := plan0(s, swing.Contact)
	if p.why != "" || !p.rough || !p.hasBat || !p.hasFeet || p.shoulders.sigma < 19 {
		t.Errorf("contact by two views: %+v", p)
	}
	if m := p.hips.lead.Mid(p.hips.rear); m.Norm() > 1e-9 {
		t.Errorf("the hips are at %v, not in the middle", m)
	}
}

func TestPlanViewIsWrittenWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "1-plan.png")
	if ok, err := PlanView(path, []PlanRow{{Swing: &swing.Swing{}}}); ok || err != nil {
		t.Errorf("nothing is known: %v %v", ok, err)
	}
	if list, _ := os.ReadDir(dir); len(list) != 0 {
		t.Errorf("%v is left", list)
	}
	rows := []PlanRow{{Label: "hitter", Swing: turning(swing.Right)}, {Label: "reference", Swing: turning(swing.Left)}}
	if ok, err := PlanView(path, rows); !ok || err != nil {
		t.Fatal(ok, err)
	}
	list, _ := os.ReadDir(dir)
	f, err := os.Open(path)
	if err != nil || len(list) != 1 {
		t.Fatal(err, list)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil || m.Bounds().Dx() < 3*planCell || m.Bounds().Dy() < 2*planCell {
		t.Fatal(err, m.Bounds())
	}
	if ok, err := PlanView(filepath.Join(dir, "no", "such", "x.png"), rows); ok || err == nil {
		t.Error("a folder that is not there")
	}
}

func TestFanCoversWhatTheLineSweeps(t *testing.T) {
	c := newCanvas(100, 100)
	white := rgb(0xFFFFFF)
	c.fan(swing.Point{X: 50, Y: 50}, 40, swing.Point{X: 1}, 0.5, white, 1)
	lit := func(x, y int) bool { return c.pix[3*(y*c.w+x)] > 128 }
	for _, in := range [][2]int{{85, 50}, {15, 50}, {80, 60}, {20, 40}} {
		if !lit(in[0], in[1]) {
			t.Errorf("%v is not covered", in)
		}
	}
	for _, out := range [][2]int{{50, 80}, {70, 80}, {95, 50}} {
		if lit(out[0], out[1]) {
			t.Errorf("%v is covered", out)
		}
	}
}

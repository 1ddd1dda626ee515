package report

import (
	"fmt"
	"math"
	"strings"

	"plantframe/pipeline/swing"
)

// turned is the part of the page about turns.
type turned struct {
	Two  string // that a second clip took part, or empty
	Plan *image
	Rows []row
}

// turnNames are the turns of the page.
var turnNames = []struct{ id, name string }{
	{"shoulder_turn", "Shoulders"},
	{"hip_turn", "Hips"},
	{"separation", "Shoulders against hips"},
}

// turnsOf makes that part; nil when no turn was measured.
func turnsOf(plan *Picture, s swing.Swing) *turned {
	t := &turned{}
	var plant []string
	for _, n := range turnNames {
		for _, e := range []swing.EventName{swing.Stance, swing.Plant} {
			m := find(s.Measures, n.id, e)
			if m == nil || m.Value == nil {
				continue
			}
			text := said(n.id, *m.Value, *m.Sigma)
			t.Rows = append(t.Rows, row{n.name + " at " + string(e), fmt.Sprintf("%s, %s%.0f° ± %.0f°", text, signOf(*m.Value), math.Abs(*m.Value), *m.Sigma)})
			if e == swing.Plant {
				plant = append(plant, fmt.Sprintf("%s %s by %.0f degrees", strings.ToLower(n.name), text, math.Abs(*m.Value)))
			}
		}
	}
	if s.Views != nil {
		t.Two = fmt.Sprintf("Two views were put together: this clip and %s, on one clock to %.0f ms; turns and bends are read in space.", s.Views.Partner.File, math.Ceil(1000*s.Views.OffsetSigma))
	}
	if plan != nil {
		alt := "The hitter from above at stance, plant and contact: shoulder line and hip line with wedges of one standard deviation."
		if len(plant) > 0 {
			alt += " At plant: " + strings.Join(plant, ", ") + "."
		}
		t.Plan = inline(*plan, "From above: stance, plant, contact", alt)
	}
	if len(t.Rows) == 0 && t.Plan == nil && t.Two == "" {
		return nil
	}
	return t
}

// find returns a measure at an event, nil when there is none.
func find(list []swing.Measure, id string, e swing.EventName) *swing.Measure {
	for i := range list {
		if list[i].ID == id && list[i].Event == e {
			return &list[i]
		}
	}
	return nil
}

// said tells the sign of a turn in words, as far as its uncertainty lets it.
func said(id string, v, sigma float64) string {
	switch {
	case math.Abs(v) < sigma:
		return "about level"
	case id == "separation" && v < 0:
		return "coiled"
	case id == "separation":
		return "shoulders ahead"
	case v < 0:
		return "turned in"
	}
	return "opened"
}

func signOf(v float64) string {
	switch v = math.Round(v); {
	case v < 0:
		return "−"
	case v > 0:
		return "+"
	}
	return ""
}

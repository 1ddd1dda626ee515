package render

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// line names what a row of the panel belongs to in the picture.
type line int

const (
	noLine line = iota
	shoulderLine
	leadArm
	rearArm
	trunkLine
	massAxis
	strideLine
	batLine
	barrelLine
	handsLine
)

// keyMeasures are the measures shown beside the picture, the most telling
// first; what does not fit is left to the report.
func keyMeasures() []struct {
	id, name string
	line     line
} {
	return []struct {
		id, name string
		line     line
	}{
		{"shoulder_turn", "shoulder turn", shoulderLine},
		{"bat_tilt", "bat tilt", batLine},
		{"barrel_distance", "barrel to body axis", barrelLine},
		{"lead_elbow_flexion", "lead elbow bend", leadArm},
		{"rear_elbow_flexion", "rear elbow bend", rearArm},
		{"stride_length", "stride", strideLine},
		{"front_knee_flexion", "front knee bend", noLine},
		{"rear_elbow_height", "rear elbow height", rearArm},
		{"weight_position", "weight forward", massAxis},
		{"trunk_lean", "trunk lean", trunkLine},
		{"trunk_side_tilt", "trunk side tilt", trunkLine},
		{"barrel_inside", "barrel inside body", noLine},
		{"swing_inertia_ratio", "inertia to reference", noLine},
		{"knob_direction", "knob points", noLine},
		{"lead_elbow_drop", "lead elbow drop", leadArm},
		{"lead_arm_gap", "lead arm gap", leadArm},
		{"stride_direction", "stride direction", strideLine},
		{"hip_turn", "hip turn", noLine},
		{"separation", "separation", noLine},
	}
}

// lineName is what a line is called when no measure stands beside it.
func lineName(l line) string {
	switch l {
	case shoulderLine:
		return "shoulders"
	case leadArm:
		return "lead arm"
	case rearArm:
		return "rear arm"
	case trunkLine:
		return "trunk"
	case massAxis:
		return "centre of mass"
	case strideLine:
		return "stride"
	case batLine:
		return "bat"
	case barrelLine:
		return "barrel to body axis"
	case handsLine:
		return "hands since stance"
	}
	return ""
}

// row is one line of the panel.
type row struct {
	line        line
	name, value string
	weak        bool
}

// measureRows returns the key measures taken at ev. One that was not measured
// is not printed.
func measureRows(s *swing.Swing, ev swing.EventName) []row {
	var out []row
	for _, k := range keyMeasures() {
		for _, m := range s.Measures {
			if m.ID != k.id || m.Event != ev || m.Unit == "m" {
				continue
			}
			if m.Status == swing.NotMeasurable || m.Value == nil || m.Sigma == nil {
				continue
			}
			out = append(out, row{line: k.line, name: k.name, value: quantity(*m.Value, *m.Sigma, m.Unit), weak: m.Status == swing.Weak})
			break
		}
	}
	return out
}

// quantity writes a value with its uncertainty, with no more digits than the
// uncertainty carries. Fractions of a body length are easier read in percent.
func quantity(v, sigma float64, unit string) string {
	switch unit {
	case "deg":
		return pair(v, sigma, 1, "°")
	case "ms":
		return pair(v, sigma, 1, " ms")
	case "stature":
		return pair(100*v, 100*sigma, 1, " % height")
	case "upper_arm":
		return pair(100*v, 100*sigma, 1, " % arm")
	case "shoulder_width":
		return pair(100*v, 100*sigma, 1, " % width")
	case "1":
		return pair(100*v, 100*sigma, 1, " %")
	}
	return pair(v, sigma, 0.01, " "+strings.ReplaceAll(unit, "_", " "))
}

// pair rounds to step; an uncertainty never shows as zero.
func pair(v, sigma, step float64, unit string) string {
	d := 0
	for s := step; s < 0.999; s *= 10 {
		d++
	}
	if sigma < step {
		d++
		sigma = math.Max(sigma, math.Pow10(-d))
	}
	text := func(x float64) string { return strconv.FormatFloat(x, 'f', d, 64) }
	a := text(v)
	if strings.Trim(a, "-0.") == "" {
		a = strings.TrimPrefix(a, "-") // no minus zero
	}
	a = strings.Replace(a, "-", "−", 1)
	return a + " ± " + text(sigma) + unit
}

// eventTime is "1.553 s ± 4 ms".
func eventTime(e swing.Event) string {
	ms := 1000 * e.Sigma
	if ms < 9.5 {
		return fmt.Sprintf("%.3f s ± %s ms", e.Time, strconv.FormatFloat(math.Max(1, math.Round(ms)), 'f', -1, 64))
	}
	return fmt.Sprintf("%.3f s ± %.0f ms", e.Time, ms)
}

// frameTime is "1.550 s · frame 93", of the frame on show.
func frameTime(t float64, index int) string { return fmt.Sprintf("%.3f s · frame %d", t, index) }

// which says which swing is on show, or how the only one is seen.
func which(sec *section) string {
	if sec.of > 1 {
		return fmt.Sprintf("swing %d of %d", sec.number, sec.of)
	}
	return fmt.Sprintf("bats %s · %s", sec.s.Bats, sec.s.View)
}

// whose says which swing is on show and from where.
func whose(sec *section) string {
	s := which(sec)
	if sec.of > 1 {
		s += fmt.Sprintf(" · bats %s · %s", sec.s.Bats, sec.s.View)
	}
	return s
}

// slower tells that the picture does not move at true speed.
func slower(factor float64) string {
	return strconv.FormatFloat(factor, 'f', -1, 64) + "× slower"
}

// caution stands under the last second of the video.
func caution() string {
	return "Not medical advice · stop on pain · clear swing space, wear a helmet"
}

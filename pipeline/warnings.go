package pipeline

import (
	"errors"
	"regexp"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// within keeps the warnings that touch the frames of a track; those without
// frames speak of all of it.
func within(ws []swing.Warning, t swing.Track) []swing.Warning {
	out := []swing.Warning{}
	if t.Len() == 0 {
		return append(out, ws...)
	}
	first, last := t.Frames[0], t.Frames[t.Len()-1]
	for _, w := range ws {
		if len(w.Frames) == 2 && (w.Frames[1] < first || w.Frames[0] > last) {
			continue
		}
		out = append(out, w)
	}
	return out
}

// has tells whether a warning of a code is among ws.
func has(ws []swing.Warning, code string) bool {
	return slices.ContainsFunc(ws, func(w swing.Warning) bool { return w.Code == code })
}

// only keeps the first warning of a code.
func only(ws []swing.Warning, code string) []swing.Warning {
	for _, w := range ws {
		if w.Code == code {
			return []swing.Warning{w}
		}
	}
	return nil
}

// frameRange returns the first and last frame of poses.
func frameRange(poses []swing.Pose) []int {
	if len(poses) == 0 {
		return nil
	}
	return []int{poses[0].Frame, poses[len(poses)-1].Frame}
}

// named puts the clip's path into an error that lacks it.
func named(err error, clip swing.Clip) error {
	var e *swing.Error
	if errors.As(err, &e) && e.Clip == "" {
		c := *e
		c.Clip = clip.Path
		return &c
	}
	return err
}

// named parts of the body, as warnings speak of them.
var bodyPart = regexp.MustCompile(`\b(left|right) (eye|ear|shoulder|elbow|wrist|hand|arm|hip|knee|ankle|leg|foot|heel|big toe)`)

// leadRear puts lead and rear for the left and right of body parts: results
// speak of the side nearer the pitcher and nearer the catcher. "Left and right
// were exchanged" stays: it is about the two sides, not about one.
func leadRear(ws []swing.Warning, b swing.Bats) []swing.Warning {
	lead := "left"
	if b == swing.Left {
		lead = "right"
	}
	out := slices.Clone(ws)
	for i := range out {
		out[i].Text = bodyPart.ReplaceAllStringFunc(out[i].Text, func(s string) string {
			side, part, _ := strings.Cut(s, " ")
			if side == lead {
				return "lead " + part
			}
			return "rear " + part
		})
	}
	return out
}

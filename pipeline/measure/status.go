package measure

import (
	"fmt"
	"strings"

	"plantframe/pipeline/swing"
)

// limit says when a number stops being useful: above weak it is marked, above
// none it is not given. Common practice, no source: half and one third of what
// separates a beginner's posture from a good one.
type limit struct{ weak, none float64 }

var limits = map[string]limit{
	"deg":            {12, 25},
	"stature":        {0.03, 0.08},
	"upper_arm":      {0.20, 0.45},
	"shoulder_width": {0.20, 0.45},
	"1":              {0.12, 0.30},
	"ms":             {30, 90},
	"kg_m2":          {0.1, 0.3},
}

// Thresholds of visibility and motion.
const (
	seenScore = 0.3  // below: the network guesses the point
	lostScore = 0.1  // below: it says itself that it does not know
	fastHands = 2.0  // statures/s; above, a low score means blur rather than hiding
	maxStep   = 0.05 // s between frames; wider, the smoothing has nothing to work on
	minFrames = 5    // frames within nearTime of the event
	nearTime  = 0.15 // s
)

// who names a point of the canonical hitter for the reader.
func who(j swing.Joint) string {
	s := j.String()
	s = strings.Replace(s, "left_", "lead ", 1)
	s = strings.Replace(s, "right_", "rear ", 1)
	return strings.ReplaceAll(s, "_", " ")
}

// known reports whether point j has a place around time t.
func (c *canon) known(j swing.Joint, t float64) bool {
	_, ok := c.at(j, t, false)
	return ok
}

// trusted reports whether point j is seen around time t, or at least guessed
// by a network that has some belief in its guess.
func (c *canon) trusted(j swing.Joint, t float64) bool {
	return c.known(j, t) && c.score(j, t) >= lostScore
}

// barred returns why a definition cannot be computed at e at all, or "".
func (w *work) barred(d *definition, e swing.EventName) string {
	for _, n := range d.eventsAt(e) {
		if _, ok := w.events[n]; !ok {
			return fmt.Sprintf("%s was not found in this swing", n)
		}
	}
	for _, n := range d.eventsAt(e) {
		t := w.events[n].Time
		if len(d.joints) > 0 && (w.c.spacing(t) > maxStep || len(w.c.between(t-nearTime, t+nearTime)) < minFrames) {
			return fmt.Sprintf("too few frames around %s", n)
		}
		for _, j := range d.joints {
			if j == swing.Nose && w.c.known(swing.LeftEar, t) && w.c.known(swing.RightEar, t) {
				continue
			}
			if !w.c.trusted(j, t) {
				return fmt.Sprintf("the %s is not seen at %s", who(j), n)
			}
		}
	}
	switch {
	case d.turn != nil && !w.turns.Known():
		return noTurns
	case d.bat == nil:
		return ""
	}
	return w.batBarred(d, e)
}

// noHeight is the reason of measures in kilograms and metres alone.
const noHeight = "the hitter's height was not given"

// batBarred returns why a measure of the bat cannot be computed at e, or "".
func (w *work) batBarred(d *definition, e swing.EventName) string {
	switch why := w.batSeen(e); {
	case why != "":
		return why
	case d.length && w.club.length.mean <= 0:
		return "the bat's length is not known"
	case d.height && w.o.HeightM <= 0:
		return noHeight
	}
	for _, j := range weights { // guessed ones do for the centre of mass
		if d.length && len(d.joints) > 0 && !w.c.known(j, w.events[e].Time) {
			return fmt.Sprintf("the %s is not seen at %s", who(j), e)
		}
	}
	return ""
}

// doubt returns why a number that was computed deserves care, or "".
func (w *work) doubt(d *definition, e swing.EventName) string {
	for _, n := range d.eventsAt(e) {
		t := w.events[n].Time
		for _, j := range d.joints {
			if w.c.score(j, t) >= seenScore {
				continue
			}
			if w.speed(j, t) > fastHands {
				return fmt.Sprintf("the %s is blurred at %s", who(j), n)
			}
			return fmt.Sprintf("the %s is hidden at %s", who(j), n)
		}
	}
	return ""
}

// speed returns the speed of point j around t in statures/s.
func (w *work) speed(j swing.Joint, t float64) float64 {
	h := max(w.c.spacing(t), 0.01)
	a, okA := w.c.at(j, t-h, true)
	b, okB := w.c.at(j, t+h, true)
	if !okA || !okB || w.c.stature == 0 {
		return 0
	}
	return b.Sub(a).Norm() / (2 * h) / w.c.stature
}

// eventsAt returns all events a measure at e looks at.
func (d *definition) eventsAt(e swing.EventName) []swing.EventName {
	var out []swing.EventName
	if e != "" {
		out = append(out, e)
	}
	for _, n := range d.needs {
		if n != e && (e != swing.Contact || n != swing.Stance) {
			out = append(out, n)
		}
	}
	return out
}

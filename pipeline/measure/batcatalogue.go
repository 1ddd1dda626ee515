package measure

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// batEvents are the events at which the bat is measured, in time order.
var batEvents = []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant, swing.SwingStart, swing.Contact}

// Half the body's thickness beyond the joints, statures, seen from behind: from
// the breadths of Drillis and Contini (1966) as reproduced in Winter (2009), from
// memory: shoulders .259 outside with the joints .210 apart, hips .191 with the
// joints .120 apart; an elbow is .05 thick (common practice, no source).
const (
	besideShoulder = 0.025
	besideHip      = 0.035
	besideElbow    = 0.025
)

func batMeasures() []definition {
	return []definition{{
		Definition: Definition{
			"bat_tilt", "deg", batEvents, bothViews,
			"angle of the bat from the vertical in space: 0 = barrel straight up, 90 = flat, > 90 = barrel below the hands",
		},
		length: true, loose: looseBat,
		bat: func(_ posture, b *batPose, _ swing.EventName) float64 {
			v := b.tip.sub(b.knob)
			return degrees(math.Acos(max(-1, min(1, v.z/max(1e-9, v.norm())))))
		},
	}, {
		Definition: Definition{
			"bat_lean", "deg", batEvents, bothViews,
			"angle of the bat from the vertical in the picture, knob to tip: 0 = barrel straight up, + = barrel leans to the catcher (open-side) or away from the plate, over the hitter's back (rear), - = to the pitcher or to the plate",
		},
		wraps: true, loose: looseBat,
		bat: func(p posture, b *batPose, _ swing.EventName) float64 { return p.lean(b) },
	}, {
		Definition: Definition{
			"knob_direction", "deg", batEvents, bothViews,
			"where the knob points in the picture, tip to knob: 0 = straight down, + = toward the catcher (open-side) or away from the plate (rear), - = toward the pitcher or the plate",
		},
		wraps: true, loose: looseBat,
		bat: func(p posture, b *batPose, _ swing.EventName) float64 { return math.Remainder(-p.lean(b), 360) },
	}, {
		Definition: Definition{
			"barrel_distance", "stature", batEvents, bothViews,
			"horizontal distance of the barrel's sweet spot from the vertical axis through the centre of mass, in statures: 0 = on the axis, never negative",
		},
		joints: trunk, length: true, most: openDistance, loose: looseDepth,
		bat: func(p posture, b *batPose, _ swing.EventName) float64 {
			return flatLength(b.along(p.w.sweetSpot())) / p.stature()
		},
	}, {
		Definition: Definition{
			"barrel_inside", "shoulder_width", batEvents, rearView,
			"margin of the barrel's sweet spot inside the body's outline seen from behind, square to the pitch line: distance to the nearer edge of the band that shoulders, hips and elbows with their thickness span, at any height, in shoulder widths: 0 = on the edge, + = inside, - = outside",
		},
		joints: trunk, length: true, loose: looseDepth,
		bat: func(p posture, b *batPose, e swing.EventName) float64 {
			return p.inside(b.along(p.w.sweetSpot()).y, b, e) / p.length(shoulders)
		},
	}, {
		Definition: Definition{
			"swing_inertia", "kg_m2", batEvents, bothViews,
			"moment of inertia of bat and arms about the vertical axis through the centre of mass, with an assumed bat: 0 = nothing to turn, more = slower to turn",
		},
		joints: trunk, length: true, height: true, loose: looseDepth,
		bat: func(p posture, b *batPose, e swing.EventName) float64 { now, _ := p.inertia(b, e); return now },
	}, {
		Definition: Definition{
			"swing_inertia_ratio", "1", batEvents, bothViews,
			"swing_inertia over what it would be with the barrel's sweet spot at the reference distance from the axis: 1 = equal, more = slower to turn; at equal torque the time for the same turn goes with its square root",
		},
		joints: trunk, length: true, most: openRatio, loose: looseDepth,
		bat: func(p posture, b *batPose, e swing.EventName) float64 { now, r := p.inertia(b, e); return now / r },
	}}
}

const (
	looseBat   = "the bat's direction is uncertain"
	looseDepth = "how far the bat is toward the camera is uncertain"
	// With both readings of the depth open a distance is still worth giving when
	// it tells near from far.
	openDistance = 0.16
	openRatio    = 0.6
)

// lean returns the angle of the bat in the picture from the vertical, degrees: +
// = to the catcher (open-side), away from the plate (rear).
func (p posture) lean(b *batPose) float64 {
	// Canonical pictures grow to the pitcher or to the plate.
	up := math.Remainder(b.picture.angle+90+p.level(), 360)
	return -up
}

// inside returns the margin of a place y, px to the plate from the axis, inside
// the body's outline.
func (p posture) inside(y float64, b *batPose, e swing.EventName) float64 {
	t, s := p.time(e), p.stature()
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, side := range []swing.Side{lead, rear} {
		for _, j := range []struct {
			joint swing.Joint
			half  float64
		}{{side.Shoulder, besideShoulder}, {side.Hip, besideHip}, {side.Elbow, besideElbow}} {
			if !p.w.c.known(j.joint, p.w.events[e].Time) {
				continue // an elbow without even a guess is behind the body
			}
			x := p.at(j.joint, t, false).X - b.centre
			lo, hi = min(lo, x-j.half*s), max(hi, x+j.half*s)
		}
	}
	return min(y-lo, hi-y)
}

// measureBat computes one measure of the bat at one event: the median of the draws
// with the likelier reading, and what all draws deviate from it.
func (w *work) measureBat(d *definition, e swing.EventName) (value, sigma float64, doubt string) {
	b := w.bat(e)
	all := make([]float64, w.d.n)
	var likely, other []float64
	for i := range all {
		v := d.bat(posture{w, i}, &b.pose[i], e)
		if d.wraps { // about the first one, so that the cut lies far away
			v = all[0] + math.Remainder(v-all[0], 360)
			if i == 0 {
				v = d.bat(posture{w, 0}, &b.pose[0], e)
			}
		}
		all[i] = v
		if d.wraps || b.pose[i].near == b.near {
			likely = append(likely, v)
		} else {
			other = append(other, v)
		}
	}
	value = median(likely)
	for i, v := range all {
		all[i] = math.Abs(v - value)
	}
	sigma = deviation(all)
	if d.wraps {
		value = math.Remainder(value, 360)
	}
	if b.open <= openChance || len(other) == 0 {
		return value, sigma, ""
	}
	if o := median(other); math.Abs(o-value) > limits[d.Unit].weak {
		doubt = fmt.Sprintf("whether the barrel points toward the camera or away from it is open; the other way it is %s", plain(o, d.Unit))
	}
	return value, sigma, doubt
}

// openChance is the chance of the other reading above which it is mentioned: below,
// it lies outside two standard deviations.
const openChance = 0.05

// plain writes a value for a reason.
func plain(v float64, unit string) string {
	if unit == "deg" {
		return fmt.Sprintf("%.0f deg", v)
	}
	return fmt.Sprintf("%.2f", v)
}

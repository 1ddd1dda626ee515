package measure

import (
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// Definition describes a measure for people and for files.
type Definition struct {
	ID     string
	Unit   string            // see swing.Measure.Unit
	Events []swing.EventName // where it is taken; "" for a span of time
	Views  []swing.View      // views that can carry it
	Text   string            // what it is, its sign and its zero, one sentence
}

// Catalogue returns the definitions of all measures in the order of output.
// Lengths in stature appear a second time in metres, as ID + "_m", when the
// hitter's height is known.
func Catalogue() []Definition {
	var out []Definition
	for _, d := range catalogue() {
		out = append(out, d.Definition)
	}
	return out
}

// definition adds how a measure is computed. Exactly one of value, limb,
// bat and turn is set.
type definition struct {
	Definition
	needs  []swing.EventName // further events, beside the one it is taken at
	joints []swing.Joint     // of the canonical hitter
	value  func(p posture, e swing.EventName) float64
	limb   func(w *work, e swing.EventName) (sampled, bool)
	// bend is set beside limb where the lift stage finds the same angle, and better
	// in an open-side view.
	bend *swing.Turn
	// turn returns a value that the lift stage found, its sigma, or why there is
	// none.
	turn func(w *work, e swing.EventName) (value, sigma float64, why string)
	// bat is set instead of value for measures of the bat; length says that they
	// need its length, height that they need the hitter's, wraps that 360 degrees
	// are none, and most is a sigma up to which they are given, in place of the
	// unit's limit.
	bat                   func(p posture, b *batPose, e swing.EventName) float64
	length, height, wraps bool
	most                  float64
	// size is set for lengths of a displacement or path: noise makes them
	// longer on average, which is taken off.
	size bool
	// loose says why sigma can become large, for the reader.
	loose string
}

var (
	everywhere = []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant, swing.Contact}
	span       = []swing.EventName{""}
	bothViews  = []swing.View{swing.OpenSide, swing.Rear}
	openSide   = []swing.View{swing.OpenSide}
	rearView   = []swing.View{swing.Rear}
	trunk      = []swing.Joint{lead.Shoulder, rear.Shoulder, lead.Hip, rear.Hip}
	wrists     = []swing.Joint{lead.Wrist, rear.Wrist}
	weights    = append([]swing.Joint{lead.Knee, rear.Knee, lead.Ankle, rear.Ankle}, trunk...)
)

const looseLimb = "the limb points so much toward the camera that its angle is uncertain"

func catalogue() []definition {
	return slices.Concat(armMeasures(), bodyMeasures(), turnMeasures(), batMeasures(), spanMeasures())
}

func armMeasures() []definition {
	return []definition{{
		Definition: Definition{
			"lead_elbow_flexion", "deg", everywhere, bothViews,
			"bend of the lead elbow in space: 0 = straight arm, 90 = right angle; interior angle = 180 - flexion",
		},
		joints: []swing.Joint{lead.Shoulder, rear.Shoulder, lead.Elbow, lead.Wrist}, loose: looseLimb,
		limb: func(w *work, e swing.EventName) (sampled, bool) { a := w.arms(e).lead; return a, len(a.value) > 0 },
		bend: new(swing.LeadElbowFlexion),
	}, {
		Definition: Definition{
			"rear_elbow_flexion", "deg", everywhere, bothViews,
			"bend of the rear elbow in space: 0 = straight arm, 90 = right angle; interior angle = 180 - flexion",
		},
		joints: []swing.Joint{lead.Shoulder, rear.Shoulder, rear.Elbow, rear.Wrist}, loose: looseLimb,
		limb: func(w *work, e swing.EventName) (sampled, bool) { a := w.arms(e).rear; return a, len(a.value) > 0 },
		bend: new(swing.RearElbowFlexion),
	}, {
		Definition: Definition{
			"rear_elbow_height", "upper_arm", everywhere, bothViews,
			"height of the rear elbow over the rear shoulder in upper-arm lengths: 0 = level, + = above, - = below, -1 = hanging straight down",
		},
		joints: []swing.Joint{rear.Shoulder, rear.Elbow},
		value: func(p posture, e swing.EventName) float64 {
			return (p.own(e, rear.Shoulder).Y - p.own(e, rear.Elbow).Y) / p.length(upperArm)
		},
	}, {
		Definition: Definition{
			"lead_elbow_drop", "deg", everywhere, bothViews,
			"direction of the lead upper arm in space: 0 = elbow straight below the shoulder, 90 = horizontal, > 90 = elbow above the shoulder",
		},
		joints: []swing.Joint{lead.Shoulder, lead.Elbow}, loose: looseLimb,
		value: func(p posture, e swing.EventName) float64 {
			// The height difference is not foreshortened; what the picture
			// does not show of the length is horizontal.
			u := p.own(e, lead.Elbow).Sub(p.own(e, lead.Shoulder))
			l := p.length(upperArm)
			hidden := max(0, l*l-u.X*u.X-u.Y*u.Y)
			return degrees(math.Atan2(math.Sqrt(u.X*u.X+hidden), u.Y))
		},
	}, {
		Definition: Definition{
			"lead_arm_gap", "shoulder_width", everywhere, rearView,
			"distance of the lead elbow from the line mid-hip to mid-shoulder, square to the pitch line, in shoulder widths: 0 = on the line, never negative",
		},
		joints: append([]swing.Joint{lead.Elbow}, trunk...),
		value: func(p posture, e swing.EventName) float64 {
			t := p.time(e)
			return math.Abs(beside(p.at(lead.Elbow, t, false), p.midHip(t), p.midShoulder(t))) / p.length(shoulders)
		},
	}}
}

func bodyMeasures() []definition {
	return []definition{{
		Definition: Definition{
			"front_knee_flexion", "deg",
			[]swing.EventName{swing.Stance, swing.Touch, swing.Plant, swing.Contact},
			openSide,
			"bend of the front knee in space: 0 = straight leg, 90 = right angle",
		},
		joints: []swing.Joint{lead.Hip, lead.Knee, lead.Ankle}, loose: looseLimb,
		limb: (*work).sampleFrontKnee,
	}, {
		Definition: Definition{
			"trunk_lean", "deg", everywhere, openSide,
			"tilt of the line mid-hip to mid-shoulder in the vertical plane of the pitch line: 0 = upright, + = toward the pitcher, - = toward the catcher",
		},
		joints: trunk,
		value: func(p posture, e swing.EventName) float64 {
			t := p.time(e)
			return p.level() + fromUp(p.midHip(t), p.midShoulder(t))
		},
	}, {
		Definition: Definition{
			"trunk_side_tilt", "deg", everywhere, rearView,
			"tilt of the line mid-hip to mid-shoulder in the vertical plane square to the pitch line: 0 = upright, + = toward the plate, - = away from it",
		},
		joints: trunk,
		value: func(p posture, e swing.EventName) float64 {
			t := p.time(e)
			return p.level() + fromUp(p.midHip(t), p.midShoulder(t))
		},
	}, {
		Definition: Definition{
			"weight_position", "1", everywhere, openSide,
			"place of the centre of mass between the feet along the pitch line: 0 = over the rear ankle, 1 = over the front ankle",
		},
		joints: weights, loose: "the feet are close together, so their distance is a poor measuring rod",
		value: func(p posture, e swing.EventName) float64 {
			back := p.own(e, rear.Ankle).X
			return (p.centre(e).X - back) / (p.own(e, lead.Ankle).X - back)
		},
	}, {
		Definition: Definition{
			"stride_length", "stature",
			[]swing.EventName{swing.Plant},
			openSide,
			"horizontal distance of the ankles, in statures",
		},
		joints: []swing.Joint{lead.Ankle, rear.Ankle},
		value: func(p posture, e swing.EventName) float64 {
			d := p.own(e, lead.Ankle).X - p.own(e, rear.Ankle).X
			return math.Abs(d) / p.stature() / math.Cos(radians(p.yaw()))
		},
	}, {
		Definition: Definition{
			"stride_direction", "stature",
			[]swing.EventName{swing.Plant},
			rearView,
			"how far the front ankle moved square to the pitch line from stance to plant, in statures: 0 = straight step, + = open (away from the plate), - = closed",
		},
		needs:  []swing.EventName{swing.Stance},
		joints: []swing.Joint{lead.Ankle}, loose: "the step's depth mixes into its direction unless the camera looks exactly along the pitch line",
		value: func(p posture, e swing.EventName) float64 {
			d := p.at(lead.Ankle, p.time(e), true).X - p.at(lead.Ankle, p.time(swing.Stance), true).X
			return -d/p.stature() + usualStep*math.Sin(radians(p.yaw()))
		},
	}}
}

// usualStep is how far the front foot of a hitter moves toward the pitcher,
// statures: common practice, no source; it only sets how much a camera off the
// pitch line may deceive.
const usualStep = 0.2

func spanMeasures() []definition {
	ends := []swing.EventName{swing.Stance, swing.Plant}
	hands := append(append([]swing.Joint(nil), wrists...), trunk...)
	tempo := func(id string, from, to swing.EventName) definition {
		return definition{
			Definition: Definition{id, "ms", span, bothViews, "time from " + string(from) + " to " + string(to)},
			needs:      []swing.EventName{from, to}, loose: "one of the events is not sharp in this clip",
			value: func(p posture, _ swing.EventName) float64 { return 1000 * (p.time(to) - p.time(from)) },
		}
	}
	return []definition{
		{
			Definition: Definition{
				"head_travel", "stature",
				[]swing.EventName{swing.Plant, swing.Contact},
				bothViews,
				"how far the middle of the ears moved in the plane of the picture, in statures: at plant since stance, at contact since plant",
			},
			needs: ends, joints: []swing.Joint{swing.Nose}, size: true,
			value: func(p posture, e swing.EventName) float64 {
				since := swing.Stance
				if e == swing.Contact {
					since = swing.Plant
				}
				return p.head(p.time(e), true).Sub(p.head(p.time(since), true)).Norm() / p.stature()
			},
		},
		{
			Definition: Definition{
				"hand_drift", "stature", span, bothViews,
				"change from stance to plant of the hands' distance from the trunk line (to the catcher's side in an open-side view, to the plate's side in a rear view), in statures: + = away from the body, - = closer",
			},
			needs: ends, joints: hands,
			value: func(p posture, _ swing.EventName) float64 {
				return (p.handsOff(swing.Plant) - p.handsOff(swing.Stance)) / p.stature()
			},
		},
		{
			Definition: Definition{
				"hand_drop", "stature", span, bothViews,
				"change from stance to plant of the hands' height against the shoulders, in statures: + = dropped, - = raised",
			},
			needs: ends, joints: hands,
			value: func(p posture, _ swing.EventName) float64 {
				drop := func(e swing.EventName) float64 {
					t := p.time(e)
					return p.hands(t).Y - p.midShoulder(t).Y
				}
				return (drop(swing.Plant) - drop(swing.Stance)) / p.stature()
			},
		},
		{
			Definition: Definition{
				"hand_path_length", "stature", span, bothViews,
				"length of the hands' path relative to the middle of the trunk from stance to plant, in the plane of the picture, in statures",
			},
			needs: ends, joints: hands, size: true,
			value: func(p posture, _ swing.EventName) float64 {
				return p.handPath(swing.Stance, swing.Plant) / p.stature()
			},
		},
		tempo("tempo_load_touch", swing.Load, swing.Touch),
		tempo("tempo_touch_plant", swing.Touch, swing.Plant),
		tempo("tempo_plant_contact", swing.Plant, swing.Contact),
	}
}

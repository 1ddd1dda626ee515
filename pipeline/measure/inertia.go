package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// Bat is a bat as a rigid body.
type Bat struct {
	Mass    float64 // kg
	Balance float64 // m, from the knob to the centre of mass
	Inertia float64 // kg m2, about the centre of mass, axis across the bat
}

// BatByPivot returns the bat whose moment of inertia about a point at the given
// distance from the knob, m, is moment, kg m2 (the "swing weight" is taken 6
// inches from the knob: ASTM F2398), by the parallel axis theorem.
func BatByPivot(mass, balance, pivot, moment float64) Bat {
	d := balance - pivot
	return Bat{mass, balance, moment - mass*d*d}
}

// AboutVertical returns the bat's moment of inertia about a vertical axis, kg m2:
// elevation is the bat's angle over the horizontal, degrees, and distance that of
// its centre of mass from the axis, m. For a thin bat
//
//	I = I_cm cos^2(elevation) + m distance^2
//
// (parallel axis theorem; a steep bat turns about its own length, which costs
// nothing).
func (b Bat) AboutVertical(distance, elevation float64) float64 {
	c := math.Cos(radians(elevation))
	return b.Inertia*c*c + b.Mass*distance*distance
}

// bat returns the assumed bat. Without a stated moment it is a rod with its own
// mass spread over the length.
func (o Options) bat() Bat {
	return BatByPivot(o.BatMassKg, o.BatBalance*o.BatLengthM, sixInches, o.BatInertia)
}

const sixInches = 0.1524 // m, ASTM F2398

// usualHeight stands for a height that was not given, m; only ratios are
// computed with it.
const (
	usualHeight = 1.75
	heightShare = 0.05
	// usualBuild is body mass over height squared, kg/m2: the middle of what
	// counts as normal weight (common practice, no source).
	usualBuild = 22.0
)

// inertia returns the moment of inertia of bat and arms about the vertical through
// the centre of mass, kg m2, with the barrel where it is and with the whole bat
// moved straight toward the axis, or away from it, until its sweet spot has the
// reference distance; the arms stay.
func (p posture) inertia(b *batPose, e swing.EventName) (now, reference float64) {
	o := p.w.o
	height := o.HeightM
	if height == 0 {
		height = usualHeight * math.Exp(heightShare*p.w.b[p.d].hands)
	}
	m := height / p.stature() // per px
	bat := o.bat()
	along := b.tip.sub(b.knob)
	elevation := degrees(math.Asin(max(-1, min(1, along.z/max(1e-9, along.norm())))))
	centre, sweet := b.along(o.BatBalance), b.along(p.w.sweetSpot())
	now = bat.AboutVertical(m*flatLength(centre), elevation)
	reference = now
	if d := flatLength(sweet); d > 0 {
		moved := centre.sub(vec{sweet.x, sweet.y, 0}.scale(1 - o.ReferenceDistance*p.stature()/d))
		reference = bat.AboutVertical(m*flatLength(moved), elevation)
	}
	arms := p.armInertia(b, e, height, m)
	return now + arms, reference + arms
}

// armInertia returns the share of both arms, kg m2; m is metres per px.
func (p posture) armInertia(b *batPose, e swing.EventName, height, m float64) float64 {
	table := swing.DeLevaMale()
	if p.w.o.Sex == "female" {
		table = swing.DeLevaFemale()
	}
	mass := p.w.o.BodyMassKg
	if mass == 0 {
		mass = usualBuild * height * height
	}
	arm, ok := p.w.armAt(p.d, e)
	t := p.time(e)
	mid := p.midShoulder(t)
	base := p.w.c.space(swing.Point{X: mid.X - b.centre}, p.w.shoulderDepth(p.d, p.stature()))
	grip := b.along(p.w.grip())
	sum := 0.0
	for k := range 2 {
		// An arm that is not seen runs straight from the shoulders to the hands.
		shoulder, wrist := base, grip
		elbow := shoulder.add(wrist).scale(0.5)
		if ok && arm.known[k] {
			shoulder, elbow, wrist = base.add(arm.shoulder[k]), base.add(arm.elbow[k]), base.add(arm.wrist[k])
		}
		sum += segmentInertia(table.UpperArm, mass, shoulder.scale(m), elbow.scale(m))
		sum += segmentInertia(table.Forearm, mass, elbow.scale(m), wrist.scale(m))
		hand := grip.scale(m)
		sum += table.Hand.Mass * mass * (hand.x*hand.x + hand.y*hand.y)
	}
	return sum
}

// segmentInertia returns the moment of inertia of a segment from a to b, m, about
// the vertical through the origin, kg m2.
func segmentInertia(s swing.Segment, body float64, a, b vec) float64 {
	v := b.sub(a)
	c := a.add(v.scale(s.Centre))
	own := s.Gyration * s.Gyration * (v.x*v.x + v.y*v.y) // across the vertical part nothing turns
	return s.Mass * body * (own + c.x*c.x + c.y*c.y)
}

// flatLength is the horizontal length of v.
func flatLength(v vec) float64 { return math.Hypot(v.x, v.y) }

// sweetSpot returns the place of the sweet spot on the bat, of its length from the
// knob.
func (w *work) sweetSpot() float64 { return 1 - w.o.SweetSpotM/w.o.BatLengthM }

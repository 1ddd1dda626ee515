package pose

import "plantframe/pipeline/swing"

// centres moves a network's points to the centres of the joints. Networks
// learnt their points from what people mark on pictures: the shoulder lies on
// top of the joint, the ankle above it. Measures want joint centres. Each
// number is a shift along a segment of the same side, as a share of the
// segment's length in the picture, so it turns, shortens and mirrors with the
// body.
//
// Origin of the numbers: rendered hitters of both sides, 21 clips in two
// views, whose joint centres are known exactly; mean of the frames before the
// front foot is down. Spread between clips: shoulder 0.02, ankle 0.03. The
// shoulder agrees with anatomy: the joint centre lies 10.4 % of the upper arm
// below the acromion (de Leva 1996, J. Biomech. 29:1231, value from memory),
// 0.065 of the trunk. Only shifts on which both views agree are here: knees
// and BlazePose's hips differ between views by as much as they are off, which
// is error, not definition.
type centres struct {
	shoulder float64 // toward the hips, of the trunk
	hip      float64 // away from the shoulders, of the trunk
	ankle    float64 // away from the knee, of the shank
}

// centresOf returns the shifts of a point set; the zero value for a set that
// was not measured.
func centresOf(set string) centres {
	switch set {
	case "blazepose-39", "blazepose-33":
		return centres{shoulder: 0.055, ankle: 0.08}
	case "coco-17":
		return centres{shoulder: 0.095, hip: 0.06}
	}
	return centres{}
}

// apply moves the points of b.
func (c centres) apply(b *body) {
	if c == (centres{}) {
		return
	}
	old := b.points
	at := func(j swing.Joint) swing.Point { return old[j].Point() }
	trunk := at(swing.LeftHip).Mid(at(swing.RightHip)).Sub(at(swing.LeftShoulder).Mid(at(swing.RightShoulder)))
	move := func(j swing.Joint, d swing.Point, share float64) {
		b.points[j].X += share * d.X
		b.points[j].Y += share * d.Y
	}
	for _, s := range []swing.Side{swing.Right.Lead(), swing.Left.Lead()} {
		move(s.Shoulder, trunk, c.shoulder)
		move(s.Hip, trunk, c.hip)
		move(s.Ankle, at(s.Ankle).Sub(at(s.Knee)), c.ankle)
	}
}

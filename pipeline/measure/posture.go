package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// posture is the body in one Monte Carlo draw; draw -1 is the undisturbed one.
type posture struct {
	w *work
	d int
}

// time returns the draw's time of an event.
func (p posture) time(e swing.EventName) float64 {
	if p.d < 0 {
		return p.w.events[e].Time
	}
	return p.w.d.times[e][p.d]
}

// at returns point j at time t in that moment's picture, or in the first
// frame's picture with steady set, px. A missing point is found before any
// measure is computed, see work.missing; here it stays at zero.
func (p posture) at(j swing.Joint, t float64, steady bool) swing.Point {
	q, _ := p.w.c.at(j, t, steady)
	if p.d < 0 {
		return q
	}
	return q.Add(p.w.d.at(p.d, j, t).Scale(p.w.c.noise(j, t)))
}

func (p posture) own(e swing.EventName, j swing.Joint) swing.Point {
	return p.at(j, p.time(e), false)
}

// mid returns the middle of a lead and a rear point.
func (p posture) mid(t float64, a, b swing.Joint) swing.Point {
	return p.at(a, t, false).Mid(p.at(b, t, false))
}

func (p posture) midShoulder(t float64) swing.Point { return p.mid(t, lead.Shoulder, rear.Shoulder) }
func (p posture) midHip(t float64) swing.Point      { return p.mid(t, lead.Hip, rear.Hip) }

// hands is the middle of the wrists: the wrists are found more reliably than
// any point of the hand, and only changes are used.
func (p posture) hands(t float64) swing.Point { return p.mid(t, lead.Wrist, rear.Wrist) }

// stature returns the standing height in px.
func (p posture) stature() float64 {
	if p.d < 0 {
		return p.w.c.stature
	}
	return p.w.c.stature * p.w.d.stature[p.d]
}

// length returns a segment's true length in px.
func (p posture) length(k part) float64 {
	l := p.w.lengths[k]
	if p.d < 0 {
		return l.mean
	}
	return l.mean + l.sigma*p.w.d.parts[p.d][k]
}

// level returns the camera's tilt about the line of sight, deg.
func (p posture) level() float64 {
	if p.d < 0 {
		return 0
	}
	return p.w.d.level[p.d]
}

// yaw returns the angle between the picture and the pitch line, deg.
func (p posture) yaw() float64 {
	if p.d < 0 {
		return 0
	}
	return p.w.d.yaw[p.d]
}

// head returns the middle of the ears, else the nose.
func (p posture) head(t float64, steady bool) swing.Point {
	if p.w.c.known(swing.LeftEar, t) && p.w.c.known(swing.RightEar, t) {
		return p.at(swing.LeftEar, t, steady).Mid(p.at(swing.RightEar, t, steady))
	}
	return p.at(swing.Nose, t, steady)
}

// centre returns the centre of mass in the picture, px (de Leva 1996, see
// MassWeights). What a network does not give or see is put where it can hardly
// be far: the ears at the nose, foot points at the ankle, a wrist at the other
// one, an elbow halfway between shoulder and wrist. Trunk, knees and ankles must
// be there.
func (p posture) centre(e swing.EventName) swing.Point {
	t := p.time(e)
	known := func(j swing.Joint) bool { return p.w.c.known(j, t) }
	var s swing.Point
	add := func(j swing.Joint, k float64) { s = s.Add(p.at(j, t, false).Scale(k)) }
	wrist := func(side swing.Side) swing.Joint {
		if !known(side.Wrist) && known(side.Wrist.Partner()) {
			return side.Wrist.Partner()
		}
		return side.Wrist
	}
	head := p.w.mass[swing.LeftEar] + p.w.mass[swing.RightEar]
	s = s.Add(p.head(t, false).Scale(head))
	for _, side := range []swing.Side{lead, rear} {
		m := func(j swing.Joint) float64 { return p.w.mass[j] }
		add(side.Shoulder, m(side.Shoulder))
		add(side.Hip, m(side.Hip))
		add(side.Knee, m(side.Knee))
		add(side.Ankle, m(side.Ankle))
		for _, j := range []swing.Joint{side.Heel, side.BigToe} {
			if known(j) {
				add(j, m(j))
			} else {
				add(side.Ankle, m(j))
			}
		}
		add(wrist(side), m(side.Wrist))
		if known(side.Elbow) {
			add(side.Elbow, m(side.Elbow))
		} else {
			add(side.Shoulder, m(side.Elbow)/2)
			add(wrist(side), m(side.Elbow)/2)
		}
	}
	return s
}

// beside returns the signed distance of q from the line through a and b, px:
// + = larger x (toward the pitcher in an open-side view, toward the plate in a
// rear view). The line runs from the lower point a to the upper b.
func beside(q, a, b swing.Point) float64 {
	u := b.Sub(a)
	n := u.Norm()
	if n == 0 {
		return 0
	}
	v := q.Sub(a)
	return (v.Y*u.X - v.X*u.Y) / n
}

// handsOff returns how far the hands are from the trunk line, px: + = on the
// catcher's side of it (open-side view) or on the plate's side (rear view).
func (p posture) handsOff(e swing.EventName) float64 {
	t := p.time(e)
	off := beside(p.hands(t), p.midHip(t), p.midShoulder(t))
	if p.w.c.view == swing.Rear {
		return off
	}
	return -off
}

// pathStep is the time between points of the hands' path, s.
const pathStep = 1.0 / 60

// handPath returns the length of the hands' path relative to the middle of the
// trunk from one event to another, px.
func (p posture) handPath(from, to swing.EventName) float64 {
	a, b := p.time(from), p.time(to)
	n := max(1, int(math.Round((b-a)/pathStep)))
	sum := 0.0
	var last swing.Point
	for i := range n + 1 {
		t := a + (b-a)*float64(i)/float64(n)
		q := p.hands(t).Sub(p.midShoulder(t).Mid(p.midHip(t)))
		if i > 0 {
			sum += q.Sub(last).Norm()
		}
		last = q
	}
	return sum
}

package swingtest

import (
	"math"

	"plantframe/pipeline/swing"
)

// body holds all points of the vocabulary at one instant.
type body [swing.NumPoints]vec

// at returns the body at time t.
func (m Motion) at(t float64) body {
	var b body
	switch m.Act {
	case Walks:
		b = m.walking(t)
	case Stands:
		b = m.standing(t)
	case Throws:
		b = m.throwing(t)
	case Waggles:
		m.Contacts = []float64{1e6}
		b = m.swinging(t)
		w := vec{0.03, 0.02, 0.05}.mul(math.Sin(2*math.Pi*1.1*t) * m.Height)
		for _, j := range []swing.Joint{swing.LeftHand, swing.RightHand, swing.LeftWrist, swing.RightWrist} {
			b[j] = b[j].add(w)
		}
	default:
		b = m.swinging(t)
	}
	if !m.Left {
		return b
	}
	var l body
	for j := range b {
		p := b[swing.Joint(j).Partner()]
		l[j] = vec{p[0], -p[1], p[2]}
	}
	return l
}

// swinging is a right-handed hitter.
func (m Motion) swinging(t float64) body {
	H := m.Height
	c := m.current(t)
	p := m.plant(c)
	hold := m.back(t, c)
	lift := p - m.ToeFirst - m.fly()

	var b body
	rear := vec{-0.15 * H, 0, 0}
	m.foot(&b, t, c, hold)
	// Rear foot: stands, turns up on its toe after plant.
	up := smooth(between(t, p, c)) * hold
	b.setFoot(swing.RightAnkle, swing.RightHeel, swing.RightBigToe, rear, rad(5+45*up), 0.05*up*H, H)

	// Pelvis: back over the rear foot until just after lift, then forward.
	px := -0.05*smooth(between(t, lift-0.35, lift+0.08)) + 0.14*smooth(between(t, lift+0.08, p+0.05)) + 0.03*smooth(between(t, p, c))
	pel := vec{px * H * hold, 0.03 * H, (0.50 - 0.02*smooth(between(t, p, c))*hold) * H}
	hipTurn := rad((-10*smooth(between(t, lift, lift+0.2)) + 25*smooth(between(t, p-0.1, p)) + 60*smooth(between(t, p, c)) + 20*smooth(between(t, c, c+0.3))) * hold)
	shTurn := rad((-25*smooth(between(t, lift-0.1, lift+0.25)) + 90*smooth(between(t, p+0.02, c)) + 60*smooth(between(t, c, c+0.3))) * hold)
	along := func(a float64) vec { return vec{math.Cos(a), math.Sin(a), 0} } // right hip to left hip
	b[swing.LeftHip], b[swing.RightHip] = pel.add(along(hipTurn).mul(0.06*H)), pel.sub(along(hipTurn).mul(0.06*H))
	chest := pel.add(vec{-0.01 * H, -0.06 * H, 0.27 * H})
	b[swing.LeftShoulder], b[swing.RightShoulder] = chest.add(along(shTurn).mul(0.105*H)), chest.sub(along(shTurn).mul(0.105*H))
	b.setHead(chest, H)
	m.arms(&b, t, c, p, hold, pel)
	b.setKnees(H)
	return b
}

// foot moves the front foot: flight, ball down at touch, heel down at plant.
func (m Motion) foot(b *body, t, c, hold float64) {
	H := m.Height
	p := m.plant(c)
	touch := p - m.ToeFirst
	home := vec{0.15 * H, 0, 0}
	way, rise := m.StepWay, m.StepUp
	switch m.Stride {
	case Kicks:
		rise = 0.35
	case HeelOnly, NoStride:
		way, rise = 0, 0
	}
	lift := touch - m.fly()
	q := between(t, lift, touch)
	pos := home.add(vec{way * smooth(q) * hold, 0, 0})
	pos[0] += m.Slide * between(t, p, p+0.1) * hold
	// The ball comes down with some 0.5 m/s and stops at touch.
	pos[2] = rise * math.Sin(math.Pi*math.Pow(q, 0.85)) * hold
	heel := heelLift * H * math.Min(between(t, lift, lift+0.08), 1) * hold
	switch {
	case t >= p:
		heel = 0
	case t > touch:
		heel = heelLift * H * (p - t) / (p - touch)
	}
	if m.Stride == NoStride {
		heel = 0
	}
	if m.Stride == TapsToe {
		// The tap: up and back and down on the toe, 0.1 s before the step.
		k := between(t, lift-0.45, lift-0.1)
		pos[2] += 0.08 * math.Sin(math.Pi*k)
		pos[0] -= 0.10 * smooth(k) * (1 - smooth(q)) * hold
		if t < touch {
			heel = heelLift * H * between(t, lift-0.45, lift-0.37) * hold
		}
	}
	turn := rad(15)
	if t > p && m.PivotRate > 0 {
		turn += rad(m.PivotRate) * math.Min(t-p, 0.3)
	}
	b.setFoot(swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe, pos, turn, heel, H)
}

// setFoot places a foot whose ankle stands over ground point pos, turned, with
// the ankle raised by heel about the ball.
func (b *body) setFoot(ankle, heelJ, toe swing.Joint, pos vec, turn, heel, H float64) {
	f := flat(turn)
	ball := pos.add(f.mul(0.08 * H))
	b[ankle] = pos.add(vec{0, 0, 0.05*H + heel})
	b[heelJ] = pos.sub(f.mul(0.026 * H)).add(vec{0, 0, 0.015*H + 1.33*heel})
	b[toe] = ball.add(f.mul(0.035 * H)).add(vec{0, 0, 0.015 * H})
}

func (b *body) setHead(chest vec, H float64) {
	head := chest.add(vec{0.02 * H, -0.02 * H, 0.11 * H})
	look := flat(rad(60))
	side := vec{-look[1], look[0], 0}
	b[swing.Nose] = head.add(look.mul(0.06 * H))
	b[swing.LeftEye], b[swing.RightEye] = head.add(look.mul(0.05*H)).add(side.mul(-0.02*H)), head.add(look.mul(0.05*H)).add(side.mul(0.02*H))
	b[swing.LeftEar], b[swing.RightEar] = head.add(side.mul(-0.043*H)), head.add(side.mul(0.043*H))
}

// arms moves both hands on one handle round the body. The hands wait behind
// the rear shoulder, start at plant and go round with growing speed; the
// barrel trails and is square to the pitch line exactly at contact.
func (m Motion) arms(b *body, t, c, p, hold float64, pel vec) {
	H := m.Height
	s := between(t, p, c)
	const first, atContact, rate = -65.0, 45.0, 1.6
	angle := first + (atContact-first)*math.Pow(s, rate)
	if t > c {
		v := (atContact - first) * rate / (c - p)
		angle += v * 0.12 * (1 - math.Exp(-(t-c)/0.12))
	}
	angle = lerp(first, angle, hold)
	reach := lerp(0.17, 0.27, smooth(s)*hold) * H
	high := lerp(0.27, 0.09, smooth(s)*hold) * H
	if t > c {
		high += 0.22 * H * smooth(between(t, c, c+0.35)) * hold
		reach -= 0.10 * H * smooth(between(t, c, c+0.3)) * hold
	}
	// Before the step the hands go back a little with the load.
	load := smooth(between(t, p-0.6, p-0.2)) * (1 - smooth(between(t, p, c)))
	hands := pel.add(flat(rad(angle)).mul(reach)).add(vec{-0.03 * load * H, 0, high})
	const barrelRate = 1600.0 // deg/s around contact
	bat := math.Max(-150, math.Min(220, barrelRate*(t-c)))
	handle := flat(rad(lerp(-150, bat, hold))).mul(0.025 * H)
	b[swing.RightHand], b[swing.LeftHand] = hands.add(handle), hands.sub(handle)
	for _, side := range [][4]swing.Joint{
		{swing.LeftShoulder, swing.LeftElbow, swing.LeftWrist, swing.LeftHand},
		{swing.RightShoulder, swing.RightElbow, swing.RightWrist, swing.RightHand},
	} {
		mid := b[side[0]].mid(b[side[3]]).add(vec{0, 0, -0.06 * H})
		b[side[1]] = mid
		to := mid.sub(b[side[3]])
		b[side[2]] = b[side[3]].add(to.mul(0.05 * H / math.Max(to.norm(), 1e-9)))
	}
}

func (b *body) setKnees(H float64) {
	for _, s := range [][3]swing.Joint{
		{swing.LeftHip, swing.LeftKnee, swing.LeftAnkle},
		{swing.RightHip, swing.RightKnee, swing.RightAnkle},
	} {
		b[s[1]] = b[s[0]].mid(b[s[2]]).add(vec{0, -0.05 * H, 0.01 * H})
	}
}

// walking crosses the picture of a camera at -y at 1.4 m/s.
func (m Motion) walking(t float64) body {
	H := m.Height
	var b body
	x := -1.5 + 1.4*t
	w := 2 * math.Pi * 0.95 * t
	pel := vec{x, 0, 0.53 * H}
	b[swing.LeftHip], b[swing.RightHip] = pel.add(vec{0, 0.05 * H, 0}), pel.add(vec{0, -0.05 * H, 0})
	chest := pel.add(vec{0.02, 0, 0.29 * H})
	b[swing.LeftShoulder], b[swing.RightShoulder] = chest.add(vec{0, 0.1 * H, 0}), chest.add(vec{0, -0.1 * H, 0})
	b.setHead(chest, H)
	for k, s := range [][6]swing.Joint{
		{swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe, swing.LeftElbow, swing.LeftWrist, swing.LeftHand},
		{swing.RightAnkle, swing.RightHeel, swing.RightBigToe, swing.RightElbow, swing.RightWrist, swing.RightHand},
	} {
		ph := w + math.Pi*float64(k)
		y := 0.05 * H * float64(1-2*k)
		b.setFoot(s[0], s[1], s[2], vec{x + 0.33*math.Sin(ph), y, 0.08 * math.Max(0, math.Cos(ph))}, rad(90), 0, H)
		a := -0.28 * math.Sin(ph)
		b[s[3]] = vec{x + 0.5*a, 2 * y, 0.64 * H}
		b[s[4]], b[s[5]] = vec{x + 1.3*a, 2 * y, 0.52 * H}, vec{x + 1.5*a, 2 * y, 0.48 * H}
	}
	b.setKnees(H)
	return b
}

// standing breathes.
func (m Motion) standing(t float64) body {
	b := m.walking(1.07) // about the middle of the picture
	for j := range b {
		b[j][2] += 0.004 * math.Sin(2*math.Pi*0.3*t)
	}
	return b
}

// throwing stands and throws with the right arm, the left arm still.
func (m Motion) throwing(t float64) body {
	b := m.standing(t)
	s := smooth(between(t, 1.5, 1.8))
	a := rad(-140 + 230*s)
	sh := b[swing.RightShoulder]
	dir := vec{math.Sin(a), 0, math.Cos(a) * 0.6}
	b[swing.RightElbow] = sh.add(dir.mul(0.17 * m.Height))
	b[swing.RightWrist] = sh.add(dir.mul(0.32 * m.Height))
	b[swing.RightHand] = sh.add(dir.mul(0.36 * m.Height))
	return b
}

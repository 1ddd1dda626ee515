package measure

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

// hitter is a made-up right-handed hitter in space: key postures of trunk,
// hands and feet, limbs of constant length between them. Lengths in statures,
// X to the pitcher, Y to the plate, Z up. Nothing of it is taken from the code
// under test except the vector type.
type hitter struct {
	upperArm, forearm, thigh, shank float64
	keys                            []pose
}

// pose is a key posture.
type pose struct {
	t                    float64
	hip, shoulder        vec     // middles
	hipTurn, turn        float64 // deg, + = opened
	hands                vec     // from the middle of the shoulders
	front                vec     // front ankle
	rearElbow, leadElbow vec     // where the elbows point
	frontToe             float64 // deg from the plate to the pitcher
	headShift            vec
}

// newHitter makes the standard hitter, or with r a variation of it.
func newHitter(r *rand.Rand) *hitter {
	n := func(mean, sigma float64) float64 {
		if r == nil {
			return mean
		}
		return mean + sigma*r.NormFloat64()
	}
	h := &hitter{upperArm: n(0.160, 0.006), forearm: n(0.152, 0.005), thigh: n(0.245, 0.007), shank: n(0.249, 0.007)}
	crouch := n(0.03, 0.012)
	z := func(v float64) float64 { return v - crouch }
	stride, lean := n(0.42, 0.05), n(0.09, 0.02)
	handsBack, handsOut, drop := n(-0.13, 0.03), n(0.07, 0.02), n(-0.02, 0.03)
	turn := n(-14, 6)
	h.keys = []pose{
		{
			t: 0.3, hip: vec{0, -0.05, z(0.505)}, shoulder: vec{-0.01, -0.05 + lean, z(0.78)}, hipTurn: 0, turn: n(-4, 4),
			hands: vec{-0.08, n(0.09, 0.015), -0.06}, front: vec{0.16, 0, 0.045}, rearElbow: vec{-0.8, -0.6, -0.5}, leadElbow: vec{0.4, 0.5, -1}, frontToe: 5,
		},
		{
			t: 0.75, hip: vec{-0.04, -0.05, z(0.50)}, shoulder: vec{-0.05, -0.05 + lean, z(0.775)}, hipTurn: -8, turn: turn - 3,
			hands: vec{-0.11, handsOut + 0.01, -0.05}, front: vec{0.12, 0, 0.10}, rearElbow: vec{-0.8, -0.5, -0.4}, leadElbow: vec{0.35, 0.5, -1}, frontToe: 5,
		},
		{
			t: 1.2, hip: vec{0.06, -0.05, z(0.47)}, shoulder: vec{0.01, -0.05 + lean, z(0.745)}, hipTurn: 10, turn: turn,
			hands: vec{handsBack, handsOut, drop}, front: vec{stride - 0.16, n(0, 0.02), 0.045}, rearElbow: vec{-0.8, -0.4, -0.5}, leadElbow: vec{0.2, 0.5, -1},
			frontToe: n(28, 8), headShift: vec{0.01, 0, 0},
		},
		{
			t: 1.4, hip: vec{0.11, -0.04, z(0.48)}, shoulder: vec{0.04, -0.04 + lean, z(0.75)}, hipTurn: 75, turn: n(58, 6),
			hands: vec{0.16, 0.12, -0.17}, front: vec{stride - 0.16, 0, 0.045}, rearElbow: vec{-0.3, 0.1, -1}, leadElbow: vec{0.8, 0, -0.7}, frontToe: 40,
		},
		{
			t: 1.8, hip: vec{0.12, -0.04, z(0.49)}, shoulder: vec{0.06, -0.03 + lean, z(0.76)}, hipTurn: 85, turn: 95,
			hands: vec{0.10, -0.10, 0.02}, front: vec{stride - 0.16, 0, 0.045}, rearElbow: vec{0.6, 0.2, -0.6}, leadElbow: vec{0, -1, -0.4}, frontToe: 50,
		},
	}
	return h
}

// standard event times of a hitter; touch is when the front foot comes down.
func hitterEvents() map[swing.EventName]float64 {
	return map[swing.EventName]float64{
		swing.Stance: 0.32, swing.Load: 0.75, swing.Lift: 0.62, swing.Touch: 1.15, swing.Plant: 1.2, swing.Contact: 1.4, swing.Finish: 1.75,
	}
}

// mix returns the posture at time t, easing in and out of every key.
func (h *hitter) mix(t float64) pose {
	k := h.keys
	if t <= k[0].t {
		return k[0]
	}
	for i := range k[1:] {
		a, b := k[i], k[i+1]
		if t > b.t {
			continue
		}
		u := (t - a.t) / (b.t - a.t)
		u = u * u * (3 - 2*u)
		v := func(p, q vec) vec { return p.scale(1 - u).add(q.scale(u)) }
		f := func(p, q float64) float64 { return p*(1-u) + q*u }
		return pose{
			t: t, hip: v(a.hip, b.hip), shoulder: v(a.shoulder, b.shoulder), hipTurn: f(a.hipTurn, b.hipTurn), turn: f(a.turn, b.turn),
			hands: v(a.hands, b.hands), front: v(a.front, b.front), rearElbow: v(a.rearElbow, b.rearElbow), leadElbow: v(a.leadElbow, b.leadElbow),
			frontToe: f(a.frontToe, b.frontToe), headShift: v(a.headShift, b.headShift),
		}
	}
	return k[len(k)-1]
}

// joint places the middle joint of a two-segment limb from a to b on the side
// of pole; an end out of reach is brought within it.
func joint(a vec, b *vec, first, second float64, pole vec) vec {
	d := b.sub(a)
	most := 0.995 * (first + second)
	if d.norm() > most {
		d = d.scale(most / d.norm())
		*b = a.add(d)
	}
	l := d.norm()
	u := d.scale(1 / l)
	x := (l*l + first*first - second*second) / (2 * l)
	side := pole.sub(u.scale(pole.dot(u)))
	return a.add(u.scale(x)).add(side.scale(math.Sqrt(max(0, first*first-x*x)) / side.norm()))
}

// at returns all points of the body at time t.
func (h *hitter) at(t float64) (p [swing.NumPoints]vec) {
	m := h.mix(t)
	across := func(deg, half float64) vec {
		a := radians(deg)
		return vec{half * math.Cos(a), -half * math.Sin(a), 0}
	}
	sh, hip := across(m.turn, 0.105), across(m.hipTurn, 0.065)
	p[lead.Shoulder], p[rear.Shoulder] = m.shoulder.add(sh), m.shoulder.sub(sh)
	p[lead.Hip], p[rear.Hip] = m.hip.add(hip), m.hip.sub(hip)
	hands := m.shoulder.add(m.hands)
	bat := vec{0.3, 0.25, -0.3}
	bat = bat.scale(0.035 / bat.norm())
	lw, rw := hands.add(bat), hands.sub(bat)
	p[lead.Elbow] = joint(p[lead.Shoulder], &lw, h.upperArm, h.forearm, m.leadElbow)
	p[rear.Elbow] = joint(p[rear.Shoulder], &rw, h.upperArm, h.forearm, m.rearElbow)
	p[lead.Wrist], p[rear.Wrist] = lw, rw
	p[swing.LeftHand], p[swing.RightHand] = lw, rw
	la, ra := m.front, vec{-0.16, 0, 0.045}
	toe := vec{math.Sin(radians(m.frontToe)), math.Cos(radians(m.frontToe)), 0}
	knee := toe.add(vec{0.1, 0.4, 0})
	p[lead.Knee] = joint(p[lead.Hip], &la, h.thigh, h.shank, knee)
	p[rear.Knee] = joint(p[rear.Hip], &ra, h.thigh, h.shank, vec{0, 1, 0})
	p[lead.Ankle], p[rear.Ankle] = la, ra
	p[lead.BigToe], p[lead.Heel] = la.add(toe.scale(0.11)).add(vec{z: -0.03}), la.add(toe.scale(-0.03)).add(vec{z: -0.03})
	p[rear.BigToe], p[rear.Heel] = ra.add(vec{0, 0.11, -0.03}), ra.add(vec{0, -0.03, -0.03})
	head := m.shoulder.add(vec{0.01, 0.02, 0.10}).add(m.headShift)
	p[swing.LeftEar], p[swing.RightEar] = head.add(vec{0.03, -0.03, 0}), head.add(vec{-0.03, 0.03, 0})
	p[swing.Nose] = head.add(vec{0.04, 0.05, -0.01})
	p[swing.LeftEye], p[swing.RightEye] = head.add(vec{0.045, 0.03, 0.01}), head.add(vec{0.025, 0.045, 0.01})
	return p
}

// film says how a hitter is filmed.
type film struct {
	view     swing.View
	bats     swing.Bats
	px       float64 // stature, px
	fps      float64
	distance float64 // statures; 0 = infinitely far
	yaw      float64 // deg, camera off its place
	noise    float64 // px, stated sigma of every point
	add      func(t float64, j swing.Joint) swing.Point
	score    func(t float64, j swing.Joint) float64
	sigma    float64 // s, stated sigma of every event
}

func defaultFilm(v swing.View) film {
	return film{view: v, bats: swing.Right, px: 400, fps: 60, distance: 3.3, noise: 2, sigma: 0.005}
}

// shoot makes the swing that track and event would deliver.
func (h *hitter) shoot(f film) swing.Swing {
	s := swing.Swing{Bats: f.bats, View: f.view, Events: map[swing.EventName]swing.Event{}, Window: [2]float64{0, 2}}
	n := int(2*f.fps) + 1
	for i := range n {
		t := float64(i) / f.fps
		s.Track.Frames = append(s.Track.Frames, i)
		s.Track.Times = append(s.Track.Times, t)
		var points [swing.NumPoints]swing.TrackPoint
		for j, v := range h.at(t) {
			j := swing.Joint(j)
			p := f.project(v)
			if f.add != nil {
				p = p.Add(f.add(t, j))
			}
			score := 1.0
			if f.score != nil {
				score = f.score(t, j)
			}
			if f.bats == swing.Left {
				p.X, j = -p.X, j.Partner()
			}
			points[j] = swing.TrackPoint{X: p.X + 640, Y: p.Y, Score: score, State: swing.Seen}
			if score < 0 {
				points[j] = swing.TrackPoint{}
			}
		}
		s.Track.Points = append(s.Track.Points, points)
		s.Track.Steady = append(s.Track.Steady, swing.IdentitySimilarity())
	}
	s.Track.Fast, s.Track.Raw = s.Track.Points, s.Track.Points
	for j := range s.Track.Sigma {
		s.Track.Sigma[j] = f.noise
	}
	s.Track.Stature, s.Track.Torso = f.px, 0.285*f.px
	for e, t := range hitterEvents() {
		s.Events[e] = swing.Event{Time: t, Frame: int(math.Round(t * f.fps)), Sigma: f.sigma, Method: "made"}
	}
	return s
}

// project puts a point of space into the picture, px.
func (f film) project(v vec) swing.Point {
	a := radians(f.yaw)
	v.x, v.y = v.x*math.Cos(a)-v.y*math.Sin(a), v.x*math.Sin(a)+v.y*math.Cos(a)
	across, near := v.x, v.y
	if f.view == swing.Rear {
		across, near = v.y, -v.x
	}
	k := f.px
	if f.distance > 0 {
		k *= f.distance / (f.distance - near)
	}
	return swing.Point{X: k * across, Y: k * (0.6 - v.z)}
}

// truth measures the hitter in space, by the definitions of the catalogue. The
// joint lengths are statures already.
func (h *hitter) truth(id string, e swing.EventName, v swing.View) float64 {
	ev := hitterEvents()
	t := ev[e]
	p := h.at(t)
	plane := func(v3 vec) (float64, float64) {
		if v == swing.Rear {
			return v3.y, v3.z
		}
		return v3.x, v3.z
	}
	mid := func(q [swing.NumPoints]vec, a, b swing.Joint) vec { return q[a].add(q[b]).scale(0.5) }
	off := func(q [swing.NumPoints]vec, x vec) float64 {
		a, b := mid(q, lead.Hip, rear.Hip), mid(q, lead.Shoulder, rear.Shoulder)
		ux, uz := plane(b.sub(a))
		wx, wz := plane(x.sub(a))
		return (wx*uz - wz*ux) / math.Hypot(ux, uz)
	}
	s, c := h.at(ev[swing.Stance]), h.at(ev[swing.Plant])
	hands := func(q [swing.NumPoints]vec) vec { return mid(q, lead.Wrist, rear.Wrist) }
	switch id {
	case "lead_elbow_flexion":
		return bend(p[lead.Elbow].sub(p[lead.Shoulder]), p[lead.Wrist].sub(p[lead.Elbow]))
	case "rear_elbow_flexion":
		return bend(p[rear.Elbow].sub(p[rear.Shoulder]), p[rear.Wrist].sub(p[rear.Elbow]))
	case "front_knee_flexion":
		return bend(p[lead.Knee].sub(p[lead.Hip]), p[lead.Ankle].sub(p[lead.Knee]))
	case "rear_elbow_height":
		return (p[rear.Elbow].z - p[rear.Shoulder].z) / h.upperArm
	case "lead_elbow_drop":
		u := p[lead.Elbow].sub(p[lead.Shoulder])
		return degrees(math.Acos(-u.z / u.norm()))
	case "lead_arm_gap":
		return math.Abs(off(p, p[lead.Elbow])) / 0.21
	case "trunk_lean", "trunk_side_tilt":
		x, z := plane(mid(p, lead.Shoulder, rear.Shoulder).sub(mid(p, lead.Hip, rear.Hip)))
		return degrees(math.Atan2(x, z))
	case "weight_position":
		m := 0.0
		for j, w := range MassWeights("") {
			m += w * p[j].x
		}
		return (m - p[rear.Ankle].x) / (p[lead.Ankle].x - p[rear.Ankle].x)
	case "stride_length":
		d := p[lead.Ankle].sub(p[rear.Ankle])
		return math.Hypot(d.x, d.y)
	case "stride_direction":
		return -(c[lead.Ankle].y - s[lead.Ankle].y)
	case "head_travel":
		from := s
		if e == swing.Contact {
			from = c
		}
		x, z := plane(mid(p, swing.LeftEar, swing.RightEar).sub(mid(from, swing.LeftEar, swing.RightEar)))
		return math.Hypot(x, z)
	case "hand_drift":
		d := off(c, hands(c)) - off(s, hands(s))
		if v == swing.OpenSide {
			d = -d
		}
		return d
	case "hand_drop":
		rel := func(q [swing.NumPoints]vec) float64 { return hands(q).z - mid(q, lead.Shoulder, rear.Shoulder).z }
		return rel(s) - rel(c)
	case "hand_path_length":
		sum := 0.0
		const n = 200
		rel := func(i int) vec {
			q := h.at(ev[swing.Stance] + (ev[swing.Plant]-ev[swing.Stance])*float64(i)/n)
			return hands(q).sub(mid(q, lead.Shoulder, rear.Shoulder).add(mid(q, lead.Hip, rear.Hip)).scale(0.5))
		}
		for i := range n {
			x, z := plane(rel(i + 1).sub(rel(i)))
			sum += math.Hypot(x, z)
		}
		return sum
	case "tempo_load_touch":
		return 1000 * (ev[swing.Touch] - ev[swing.Load])
	case "tempo_touch_plant":
		return 1000 * (ev[swing.Plant] - ev[swing.Touch])
	case "tempo_plant_contact":
		return 1000 * (ev[swing.Contact] - ev[swing.Plant])
	}
	return math.NaN()
}

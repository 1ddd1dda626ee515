package fuse

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

// motion is an invented swing of a body whose parts keep their lengths, statures.
type motion struct {
	left               bool
	lift, fly, contact float64 // s: the front foot leaves, how long it flies, contact
	rise, step         float64
	lean               float64 // degrees, of the bat while it waits
}

func usual() motion {
	return motion{lift: 1.15, fly: 0.42, contact: 1.78, rise: 0.10, step: 0.18}
}

func (m motion) event(e swing.EventName) float64 {
	return map[swing.EventName]float64{
		swing.Stance: m.lift - 0.3, swing.Load: m.lift, swing.Lift: m.lift,
		swing.Touch: m.lift + m.fly, swing.Plant: m.lift + m.fly + 0.03, swing.Contact: m.contact,
	}[e]
}

func ramp(t, a, b float64) float64 {
	x := max(0, min(1, (t-a)/(b-a)))
	return x * x * (3 - 2*x)
}

// joint bends two parts of given lengths between two ends, toward a pole.
func joint(a, c vec, la, lc float64, pole vec) vec {
	way := c.sub(a)
	d := min(way.norm(), la+lc-1e-6)
	u := way.mul(1 / way.norm())
	x := (la*la - lc*lc + d*d) / (2 * d)
	off := pole.sub(u.mul(pole.dot(u)))
	return a.add(u.mul(x)).add(off.mul(math.Sqrt(max(0, la*la-x*x)) / off.norm()))
}

// at returns the body of a right-handed hitter.
func (m motion) at(t float64) (b [numPoints]vec) {
	plant := m.event(swing.Plant)
	along := func(deg float64) vec { s, c := math.Sincos(radians(deg)); return vec{c, -s, 0} }
	pelvis := vec{-0.03*ramp(t, m.lift-0.3, m.lift+0.05) + 0.11*ramp(t, m.lift+0.05, plant), -0.02, 0.475}
	hip := along(-6 - 10*ramp(t, m.lift, m.lift+0.2) + 26*ramp(t, plant-0.12, plant) + 55*ramp(t, plant, m.contact)).mul(partTable[hipLine].mean / 2)
	turn := -4 - 22*ramp(t, m.lift-0.1, m.lift+0.3) + 95*ramp(t, plant, m.contact+0.05)
	shoulder := along(turn).mul(partTable[shoulderLine].mean / 2)
	chest := pelvis.add(vec{-0.01, 0.06, math.Sqrt(0.291*0.291 - 0.0037)})
	b[hips], b[hips+1] = pelvis.add(hip), pelvis.sub(hip)
	b[shoulders], b[shoulders+1] = chest.add(shoulder), chest.sub(shoulder)
	b[head] = chest.add(vec{0, 0.02, 0.113})
	// Hands wait over the rear shoulder and go round the chest with it.
	s, c := math.Sincos(radians(-70 + 115*ramp(t, plant, m.contact)))
	hands := chest.add(vec{s * 0.17, c * 0.17, -0.01 - 0.10*ramp(t, plant, m.contact)})
	grip := vec{0.03, 0, 0.01}
	b[wrists], b[wrists+1] = hands.sub(grip), hands.add(grip)
	for k := range 2 {
		b[elbows+k] = joint(b[shoulders+k], b[wrists+k], partTable[upperArm].mean, partTable[forearm].mean, vec{0.1, 0.1, -1})
	}
	// Feet.
	u := max(0, min(1, (t-m.lift)/m.fly))
	b[ankles] = vec{0.13 + m.step*ramp(t, m.lift, m.lift+m.fly), 0, 0.04 + m.rise*math.Sin(math.Pi*u)}
	b[ankles+1] = vec{-0.14, 0, 0.04 + 0.03*ramp(t, plant, m.contact)}
	for k := range 2 {
		b[knees+k] = joint(b[hips+k], b[ankles+k], partTable[thigh].mean, partTable[shank].mean, vec{0, 1, 0.1})
		b[heels+k] = b[ankles+k].add(vec{0, -0.03, -0.04})
		b[toes+k] = b[heels+k].add(vec{0.03, 0.131, 0})
	}
	return b
}

// bat lies in the hands; it waits over the shoulder and comes round flat.
func (m motion) bat(b *[numPoints]vec, t float64) (knob, tip vec) {
	r := ramp(t, m.event(swing.Plant), m.contact)
	s, c := math.Sincos(radians(-150 + m.lean*(1-r) + 150*r))
	way := vec{s, c, (1.2 - m.lean/30) * (1 - r)}
	return b[wrists], b[wrists].add(way.mul(usualBat.mean / way.norm()))
}

// phone is a camera; the zero value is one that stands well.
type phone struct {
	yaw, high, distance float64 // degrees, statures
	fps, shift          float64 // Hz; s on the motion's clock of the first frame
	noise               float64 // statures
	seed                uint64
	portrait            bool
}

// film returns the swing as the stages before would hand it over; lifted adds turns
// against the picture, a little wrong.
func (m motion) film(p phone, v swing.View, lifted bool) *swing.Swing {
	def := func(x *float64, d float64) {
		if *x == 0 {
			*x = d
		}
	}
	def(&p.high, 0.75)
	def(&p.distance, 3.2)
	def(&p.fps, 60)
	w, h := 1280.0, 720.0
	if p.portrait {
		w, h = h, w
	}
	focal := 0.85 * 1280
	cam := camera{
		heading: radians(p.yaw), focal: math.Log(focal), size: math.Log(focal / p.distance),
		tilt: math.Atan((p.high - 0.5) / p.distance),
	}
	if v == swing.Rear {
		cam.heading -= math.Pi / 2
	}
	e := cam.eye(w, h)
	r := rand.New(rand.NewPCG(p.seed, 9))
	s := &swing.Swing{Index: 1, Bats: swing.Right, View: v, Width: int(w), Height: int(h), Events: map[swing.EventName]swing.Event{}}
	if m.left {
		s.Bats = swing.Left
	}
	t := &s.Track
	t.Stature = focal / p.distance
	for j := range t.Sigma {
		t.Sigma[j] = max(0.004, 1.4*p.noise) * t.Stature
	}
	lead, rear := s.Bats.Lead(), s.Bats.Rear()
	names := [numPoints]swing.Joint{
		lead.Shoulder, rear.Shoulder, lead.Elbow, rear.Elbow, lead.Wrist, rear.Wrist, lead.Hip, rear.Hip,
		lead.Knee, rear.Knee, lead.Ankle, rear.Ankle, lead.Heel, rear.Heel, lead.BigToe, rear.BigToe, swing.LeftEar,
	}
	see := func(q vec) swing.Point {
		x, y, _, _ := e.see(q)
		if m.left {
			x = w - x
		}
		k := p.noise * t.Stature
		return swing.Point{X: x + k*r.NormFloat64(), Y: y + k*r.NormFloat64()}
	}
	for i := range int(2.4 * p.fps) {
		at := float64(i) / p.fps
		b := m.at(at + p.shift)
		var row [swing.NumPoints]swing.TrackPoint
		for k, j := range names {
			q := see(b[k])
			row[j] = swing.TrackPoint{X: q.X, Y: q.Y, Score: 0.9, State: swing.Seen}
		}
		row[swing.RightEar] = row[swing.LeftEar]
		t.Frames, t.Times, t.Points = append(t.Frames, i), append(t.Times, at), append(t.Points, row)
		knob, tip := m.bat(&b, at+p.shift)
		s.Bat.Sights = append(s.Bat.Sights, swing.BatSight{Seen: true, Knob: see(knob), Tip: see(tip), Sigma: 1, KnobSigma: 1, TipSigma: 2})
	}
	for name, sigma := range map[swing.EventName]float64{
		swing.Stance: 0.04, swing.Load: 0.05, swing.Lift: 0.02, swing.Touch: 0.015, swing.Plant: 0.01, swing.Contact: 0.01,
	} {
		s.Events[name] = swing.Event{Time: m.event(name) - p.shift, Sigma: sigma, Method: "test"}
	}
	if lifted {
		m.lifted(s, p, cam.heading)
	}
	return s
}

// lifted adds the turns against the picture, 4 degrees wrong.
func (m motion) lifted(s *swing.Swing, p phone, heading float64) {
	for i := range 100 {
		at := m.event(swing.Plant) - p.shift - 1.5 + float64(i)/50
		b := m.at(at + p.shift)
		s.Turns.Times = append(s.Turns.Times, at)
		for a, k := range map[swing.Turn]int{swing.ShoulderTurnCamera: shoulders, swing.HipTurnCamera: hips} {
			v := degrees(turnOf(b[k].sub(b[k+1]))-heading) + 4
			s.Turns.Angles[a] = append(s.Turns.Angles[a], swing.Quantiles{v - 12, v - 7, v, v + 7, v + 12})
		}
	}
}

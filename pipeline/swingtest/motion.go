package swingtest

import "math"

// Act is what the filmed person does.
type Act string

// Acts.
const (
	Swings  Act = "swings"
	Walks   Act = "walks"   // across the picture, arms swinging
	Stands  Act = "stands"  // quiet, hands apart
	Waggles Act = "waggles" // stands in stance and waggles the bat
	Throws  Act = "throws"  // one hand fast, the other not
)

// Stride is how the front foot lands.
type Stride string

// Strides.
const (
	Steps    Stride = "steps"     // up, forward, down
	Kicks    Stride = "kicks"     // high leg kick
	TapsToe  Stride = "taps-toe"  // a tap of the toe first, then a step
	HeelOnly Stride = "heel-only" // the toe stays, the heel rises and drops
	NoStride Stride = "no-stride" // the foot stays down
)

// Motion is one invented motion. The zero value is not useful; start from
// Default.
type Motion struct {
	Act       Act
	Left      bool    // bats left: the mirror image in the plane y = 0
	Height    float64 // stature, m
	Contacts  []float64
	Tempo     float64 // plant (foot still) to contact, s
	Stride    Stride
	StepWay   float64 // m toward the pitcher
	StepUp    float64 // m
	FlyTime   float64 // lift to touch, s
	ToeFirst  float64 // touch to plant, s
	Slide     float64 // m that the front foot slides on after plant, within 0.1 s
	PivotRate float64 // turn of the front foot about its ball after plant, deg/s
}

// Default returns a right-handed adult who swings once with a plain step,
// contact at 1.8 s.
func Default() Motion {
	return Motion{
		Act: Swings, Height: 1.78, Contacts: []float64{1.8}, Tempo: 0.18,
		Stride: Steps, StepWay: 0.35, StepUp: 0.12, FlyTime: 0.40, ToeFirst: 0.035,
	}
}

// vec is a place or a way in metres.
type vec [3]float64

func (a vec) add(b vec) vec           { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec           { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) mul(k float64) vec       { return vec{k * a[0], k * a[1], k * a[2]} }
func (a vec) dot(b vec) float64       { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) mid(b vec) vec           { return a.add(b).mul(0.5) }
func (a vec) norm() float64           { return math.Sqrt(a.dot(a)) }
func flat(angle float64) vec          { return vec{math.Sin(angle), -math.Cos(angle), 0} } // 0 = toward the plate, + = toward the pitcher
func clamp01(x float64) float64       { return math.Max(0, math.Min(1, x)) }
func smooth(x float64) float64        { x = clamp01(x); return x * x * (3 - 2*x) }
func lerp(a, b, f float64) float64    { return a + (b-a)*f }
func rad(deg float64) float64         { return deg * math.Pi / 180 }
func between(t, a, b float64) float64 { return clamp01((t - a) / (b - a)) }

// heelLift is how far the ankle is above its standing level when the foot
// comes down toe first, stature.
const heelLift = 0.022

// times of the swing with contact c.
func (m Motion) plant(c float64) float64 { return c - m.Tempo }

// Touch is when the front foot first meets the ground in the k-th swing.
func (m Motion) Touch(k int) float64 { return m.plant(m.Contacts[k]) - m.ToeFirst }

// Lift is when the front foot leaves the ground for the step of the k-th
// swing.
func (m Motion) Lift(k int) float64 { return m.Touch(k) - m.fly() }

func (m Motion) fly() float64 {
	if m.Stride == Kicks {
		return m.FlyTime + 0.35
	}
	return m.FlyTime
}

// current returns the contact time of the swing that t belongs to: the next
// one, until well after the last.
func (m Motion) current(t float64) float64 {
	for k, c := range m.Contacts {
		if k+1 == len(m.Contacts) || t < c+0.62*(m.Contacts[k+1]-c) {
			return c
		}
	}
	return math.Inf(1)
}

// back is 1 while the pose of a swing is held and falls to 0 as the hitter
// returns to the stance for another one.
func (m Motion) back(t, c float64) float64 { return 1 - smooth(between(t, c+0.7, c+1.7)) }

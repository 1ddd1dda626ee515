package measure

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// How far apart two sights may be for the bat between them to be known.
const (
	// batGap is the longest time between sights, s: two frames of a clip with
	// 30 a second. A waiting bat moves little in it; one in full swing turns by
	// 100 degrees, which turnDoubt makes pay.
	batGap = 0.07
	// batEdge is how far outside the sights an event may lie, s.
	batEdge = 0.02
	// turnDoubt is the error of the direction halfway between two sights, as a
	// share of the turn between them: a bat whose turning speed changes by a
	// fifth in that time is off the even turn by a fortieth; twice that here.
	turnDoubt = 0.05
)

// club is the bat of the canonical hitter over time.
type club struct {
	looked bool // somebody looked for it
	times  []float64
	sights []swing.BatSight // those in which it is seen, mirrored like the hitter
	// length in px parallel to the picture at the hitter's distance, as the bat
	// stage has it; mean 0 when nothing is known of it. given says that it was
	// told and needs no estimate.
	length length
	given  bool
}

// newClub takes the bat from sw, mirrored as newCanon mirrors the track.
func newClub(sw *swing.Swing) club {
	b := &sw.Bat
	c := club{looked: len(b.Sights) > 0, given: b.LengthSource == "given"}
	if b.Length > 0 && !math.IsInf(b.Length, 0) {
		c.length = length{b.Length, max(b.LengthSigma, leastLength*b.Length)}
	}
	for i, s := range b.Sights {
		if !s.Seen || i >= len(sw.Track.Times) {
			continue
		}
		if sw.Bats == swing.Left {
			s.Knob.X, s.Tip.X = -s.Knob.X, -s.Tip.X
		}
		c.times, c.sights = append(c.times, sw.Track.Times[i]), append(c.sights, s)
	}
	return c
}

// leastLength is the least believable error of the bat's length in px, as a share:
// the scale at the hitter's distance is not better known.
const leastLength = 0.01

// stick is the bat in the picture at one instant, px: its ends and the direction
// knob to tip, degrees, 0 = to larger x, 90 = down.
type stick struct {
	knob   swing.Point
	angle  float64
	length float64
	// One-sigma errors: of the direction, degrees; of both ends along the bat
	// and of the handle across it, px.
	turn, knobSigma, tipSigma float64
}

func stickOf(s swing.BatSight) stick {
	d := s.Tip.Sub(s.Knob)
	return stick{
		knob: s.Knob, angle: degrees(math.Atan2(d.Y, d.X)), length: d.Norm(),
		turn: s.Sigma, knobSigma: s.KnobSigma, tipSigma: s.TipSigma,
	}
}

func (s stick) tip() swing.Point {
	y, x := math.Sincos(radians(s.angle))
	return s.knob.Add(swing.Point{X: x, Y: y}.Scale(s.length))
}

// at returns the bat at time t: between two sights knob and apparent length along
// straight lines and the direction turned evenly, which a swung bat follows better
// than its ends do. ok is false when it is not seen around t; the nearest sight is
// returned then.
func (c *club) at(t float64) (s stick, ok bool) {
	i := signal.Nearest(c.times, t)
	if i < 0 {
		return s, false
	}
	near := stickOf(c.sights[i])
	j := i
	switch {
	case t > c.times[i] && i+1 < len(c.times):
		j = i + 1
	case t < c.times[i] && i > 0:
		i, j = i-1, i
	}
	if i == j {
		return near, math.Abs(t-c.times[i]) <= batEdge
	}
	gap := c.times[j] - c.times[i]
	if gap > batGap {
		return near, math.Abs(t-c.times[signal.Nearest(c.times, t)]) <= batEdge/2
	}
	a, b := stickOf(c.sights[i]), stickOf(c.sights[j])
	f := (t - c.times[i]) / gap
	mix := func(p, q float64) float64 { return p + (q-p)*f }
	turn := math.Remainder(b.angle-a.angle, 360)
	s = stick{
		knob: a.knob.Add(b.knob.Sub(a.knob).Scale(f)), angle: a.angle + f*turn, length: mix(a.length, b.length),
		knobSigma: mix(a.knobSigma, b.knobSigma), tipSigma: mix(a.tipSigma, b.tipSigma),
	}
	s.turn = math.Hypot(mix(a.turn, b.turn), turnDoubt*turn*4*f*(1-f))
	return s, true
}

// disturbed returns the stick with errors drawn: standard normal numbers for the
// direction, the handle across and along the bat, and the tip along it.
func (s stick) disturbed(n [4]float64) stick {
	y, x := math.Sincos(radians(s.angle))
	along, across := swing.Point{X: x, Y: y}, swing.Point{X: -y, Y: x}
	s.knob = s.knob.Add(along.Scale(s.knobSigma * n[2])).Add(across.Scale(s.knobSigma * n[1]))
	s.length = max(1, s.length+s.tipSigma*n[3]-s.knobSigma*n[2])
	s.angle += s.turn * n[0]
	return s
}

package measure

import (
	"math"
	"math/rand/v2"
	"sort"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// batNoise are the random numbers of one draw that only the bat needs, standard
// normal unless named otherwise.
type batNoise struct {
	cam      camNoise
	depth    float64 // 0..1, quantile of the depth
	stick    [4]float64
	shoulder float64
	grip     float64
	hands    float64 // where the arms say nothing
	arm      float64 // 0..1, which sample of the arms
}

// newBatNoise draws the numbers of n draws apart from all others, so that a bat
// changes nothing of the body's measures.
func newBatNoise(n int, seed uint64) []batNoise {
	r := rand.New(rand.NewPCG(seed, 4<<8))
	out := make([]batNoise, n)
	for i := range out {
		b := &out[i]
		b.cam = camNoise{r.NormFloat64(), r.NormFloat64()}
		b.shoulder, b.grip, b.hands = r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
		for k := range b.stick {
			b.stick[k] = r.NormFloat64()
		}
		b.arm, b.depth = r.Float64(), r.Float64()
	}
	return out
}

// Depth toward the camera of what one camera does not see, against the vertical
// through the centre of mass, statures.
var (
	// A hitter's trunk leans 20 degrees to the plate with the hips .05 behind
	// the mass (see ankleAhead), which puts the shoulders .05 ahead of it; along
	// the pitch line they are over it or a little behind (a stride goes from
	// under them).
	shouldersToPlate   = length{0.05, 0.025}
	shouldersToCatcher = length{0.01, 0.03}
	// The grip lies this far beyond the wrist along the forearm: the hand's
	// knuckles are .05 from the wrist (de Leva 1996: 86 of 1741 mm).
	gripBeyond = length{0.045, 0.015}
	// The hands are in front of the chest. Along the pitch line they wait over
	// the rear shoulder, whose joint is .105 behind the middle, are drawn back
	// past it while the mass goes ahead, and are out ahead of the body at
	// contact. Common practice, no source; the arms as seen say more.
	handsToPlate   = length{0.15, 0.06}
	handsWaiting   = length{0.11, 0.06} // to the catcher, from here on
	handsDrawn     = length{0.16, 0.07}
	handsAtContact = length{-0.20, 0.07}
)

// squareAtContact is how far a bat that meets the ball points off the square to the
// pitch line, sine, one sigma: 20 degrees (common practice, no source).
const squareAtContact = 0.34

// gripPlace is the distance of the middle of both hands from the knob, statures:
// one and a half hands of .05.
const gripPlace = 0.07

// grip returns the place of the hands on the bat, of its length from the knob.
func (w *work) grip() float64 {
	if w.club.length.mean <= 0 {
		return 0.15
	}
	return min(0.4, gripPlace*w.c.stature/w.club.length.mean)
}

// stand is where the hitter stands in the picture at some time, px: the row of the
// ankles and the column of the hips.
type stand struct{ ankles, axis float64 }

func (w *work) stands(t float64) stand {
	p := posture{w, -1}
	return stand{p.mid(t, lead.Ankle, rear.Ankle).Y, p.mid(t, lead.Hip, rear.Hip).X}
}

// lensAt returns the camera of one draw as it stands to the hitter.
func (w *work) lensAt(draw int, at stand) lens {
	return w.lens(at.ankles, at.axis, posture{w, draw}.stature(), w.b[draw].cam)
}

// handKnots are the depths of the hands at the events, for one draw px each.
type handKnots struct {
	times []float64
	depth [][]float64 // by knot, then draw
}

// handDepthAt returns the depth of the hands toward the camera at time t against
// the body's axis, px: between events along straight lines.
func (w *work) handDepthAt(draw int, t float64) float64 {
	k := w.handKnots()
	i := 0
	for i < len(k.times) && k.times[i] < t {
		i++
	}
	switch {
	case len(k.times) == 0:
		return 0
	case i == 0:
		return k.depth[0][draw]
	case i == len(k.times):
		return k.depth[i-1][draw]
	}
	f := (t - k.times[i-1]) / (k.times[i] - k.times[i-1])
	return k.depth[i-1][draw] + f*(k.depth[i][draw]-k.depth[i-1][draw])
}

func (w *work) handKnots() *handKnots {
	if w.hands != nil {
		return w.hands
	}
	w.hands = &handKnots{}
	for _, e := range batEvents {
		v, ok := w.events[e]
		if !ok || (len(w.hands.times) > 0 && v.Time <= w.hands.times[len(w.hands.times)-1]) {
			continue
		}
		d := make([]float64, w.d.n)
		for i := range d {
			d[i] = w.handDepth(i, e)
		}
		w.hands.times, w.hands.depth = append(w.hands.times, v.Time), append(w.hands.depth, d)
	}
	return w.hands
}

// handDepth returns the depth of the hands at e in one draw, px: that of the
// shoulders and, from one sample of the arms in space, what lies between.
func (w *work) handDepth(draw int, e swing.EventName) float64 {
	n := w.b[draw]
	s := posture{w, draw}.stature()
	if a, ok := w.armAt(draw, e); ok {
		return w.shoulderDepth(draw, s) + w.c.depth(a.hands(gripBeyond.mean*s+gripBeyond.sigma*s*n.grip))
	}
	h := w.handsUsual(e)
	return (h.mean + h.sigma*n.hands) * s
}

// handsUsual is where hands are to be expected at e, toward the camera, statures.
func (w *work) handsUsual(e swing.EventName) length {
	switch {
	case w.c.view == swing.OpenSide:
		return handsToPlate
	case e == swing.Contact:
		return handsAtContact
	case e == swing.Stance:
		return handsWaiting
	}
	return handsDrawn
}

func (w *work) shoulderDepth(draw int, stature float64) float64 {
	l := shouldersToPlate
	if w.c.view == swing.Rear {
		l = shouldersToCatcher
	}
	return (l.mean + l.sigma*w.b[draw].shoulder) * stature
}

// armAt returns one sample of the arms for a draw: from those of the elbows'
// flexions, by how well they bring the hands where hands are.
func (w *work) armAt(draw int, e swing.EventName) (armPose, bool) {
	a := w.arms(e)
	if len(a.poses) == 0 {
		return armPose{}, false
	}
	if len(a.reach) == 0 {
		a.reach = make([]float64, len(a.poses))
		usual, base := w.handsUsual(e), shouldersToPlate
		if w.c.view == swing.Rear {
			base = shouldersToCatcher
		}
		s, sum := w.c.stature, 0.0
		for i := range a.poses {
			depth := base.mean + w.c.depth(a.poses[i].hands(gripBeyond.mean*s))/s
			sum += math.Exp(bell(depth, usual.mean, math.Hypot(usual.sigma, base.sigma))) + leanFloor
			a.reach[i] = sum
		}
	}
	i := sort.SearchFloat64s(a.reach, w.b[draw].arm*a.reach[len(a.reach)-1])
	return a.poses[min(i, len(a.poses)-1)], true
}

// batPose is the bat in one draw at one event, in the hitter's space, px from the
// vertical through the centre of mass (X, Y) and from the row of the centre (Z).
type batPose struct {
	knob, tip vec
	picture   stick // as it appears, canonical
	lens      lens
	centre    float64 // column of the centre of mass in the picture, px
	near      bool
}

// along returns the point at share r of the bat's length from the knob.
func (b *batPose) along(r float64) vec { return b.knob.add(b.tip.sub(b.knob).scale(r)) }

// batAt is the bat at one event in all draws.
type batAt struct {
	pose []batPose // by draw
	near bool      // the likelier reading
	open float64   // chance of the other one
}

// bat returns the bat at event e, once computed.
func (w *work) bat(e swing.EventName) *batAt {
	if b := w.bats[e]; b != nil {
		return b
	}
	b := &batAt{pose: make([]batPose, w.d.n)}
	w.bats[e] = b
	read := w.readBat()
	n := 0
	for i := range w.d.n {
		near := read.at(i, w.d.times[e][i])
		b.pose[i] = w.batPose(i, e, near)
		if near {
			n++
		}
	}
	b.open = float64(n) / float64(w.d.n)
	if b.near = b.open > 0.5; b.near {
		b.open = 1 - b.open
	}
	return b
}

// batPose places the bat of one draw in space.
func (w *work) batPose(draw int, e swing.EventName, near bool) batPose {
	p := posture{w, draw}
	t := p.time(e)
	s, _ := w.club.at(t)
	s = s.disturbed(w.b[draw].stick)
	b := batPose{picture: s, near: near, lens: w.lensAt(draw, w.stands(t))}
	com := p.centre(e)
	b.centre = com.X
	square, _ := w.square(w.events[e].Time)
	hands, g, tip := w.handDepthAt(draw, w.events[e].Time), w.grip(), s.tip()
	far, close, _ := b.lens.depths(s.knob, tip, hands, g, w.batSize(), w.b[draw].depth, square)
	depth := far
	if near {
		depth = close
	}
	r := b.lens.rod(s.knob, tip, hands, g, depth)
	// A tilted camera turns everything about the line of sight.
	tilt := radians(p.level())
	turn := func(q swing.Point, c float64) vec {
		q = q.Sub(com)
		sin, cos := math.Sincos(tilt)
		return w.c.space(swing.Point{X: q.X*cos - q.Y*sin, Y: q.X*sin + q.Y*cos}, c)
	}
	b.knob, b.tip = turn(r.knob, r.knobDepth), turn(r.tip, r.tipDepth)
	return b
}

// square returns how nearly a bat at time t is known to lie in the picture, see
// lens.depths, and how many frames share that knowledge; 0 for not at all.
func (w *work) square(t float64) (share, frames float64) {
	e, ok := w.events[swing.Contact]
	if !ok || w.c.view != swing.Rear {
		return 0, 1
	}
	h := w.around(e.Time, 0)
	if t < h.from || t > h.to {
		return 0, 1
	}
	return squareAtContact, h.frames
}

// batSeen returns why the bat cannot be measured at e, or "".
func (w *work) batSeen(e swing.EventName) string {
	switch {
	case !w.club.looked:
		return noBatLooked
	case len(w.club.times) == 0:
		return "no bat was found in this swing"
	}
	if _, ok := w.club.at(w.events[e].Time); !ok {
		return "the bat is not seen at " + string(e)
	}
	return ""
}

// noBatLooked is the reason of bat measures when nobody looked for a bat.
const noBatLooked = "the bat was not looked for"

// batFrames lists the frames whose sights stand for the bat at t.
func (w *work) batFrames(t float64) []int {
	var out []int
	for _, i := range w.c.around(t) {
		k := signal.Nearest(w.club.times, w.c.times[i])
		if k >= 0 && w.club.times[k] == w.c.times[i] {
			out = append(out, i)
		}
	}
	return out
}

package fuse

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// The unknowns: those of every instant, and those of the whole.
const (
	dim     = 3 * numPoints
	atClock = 2 * cameraSize     // place of the offset among the whole's
	atParts = 2*cameraSize + 1   // place of the lengths
	atLean  = atParts + numParts // place of the lifted turns' habits, radians: view, line
	whole   = atLean + 2*2       // how many
)

// state is one guess of everything.
type state struct {
	cameras [2]camera // open side, rear
	offset  float64   // s, rear time = open time + offset
	parts   [numParts]float64
	lean    [whole - atLean]float64 // radians, error of lifted turns that stays over the swing
	body    [][numPoints]vec        // one per instant
}

func (s *state) clone() *state {
	c := *s
	c.body = append([][numPoints]vec(nil), s.body...)
	return &c
}

// number returns the k-th unknown of the whole.
func (s *state) number(k int) *float64 {
	switch {
	case k < cameraSize:
		return s.cameras[0].numbers()[k]
	case k < atClock:
		return s.cameras[1].numbers()[k-cameraSize]
	case k == atClock:
		return &s.offset
	case k < atLean:
		return &s.parts[k-atParts]
	}
	return &s.lean[k-atLean]
}

func leanOf(view, line int) int { return atLean + 2*view + line }

// seen is what a view shows of a point at an instant.
type seen struct {
	x, y, sigma float64 // px
	vx, vy      float64 // px/s
	far         float64 // factor on sigma of a point that the body hides
	along       float64 // factor on sigma of a line's extent across the picture
	ok          bool
}

// lifted is what the lift stage says of a line's turn against the picture's right.
type lifted struct {
	turn, sigma float64 // radians
	far         float64 // factor on sigma where the body hides an end
	ok          bool
}

// bundle is the problem: everything known, and its weights.
type bundle struct {
	views  [2]*view
	times  []float64 // s, open clock
	points [][2][numPoints]seen
	lines  [][2][2]lifted // instant, view, shoulders or hips
	at     float64        // offset at which the rear points were taken, s
	prior  [whole]struct{ mean, sigma float64 }
	share  float64 // weight of one instant: neighbours err alike
	stance int     // instant of the stance, -1 = none
	feet   float64 // what the line of the feet is taken to be turned by in stance, radians
	swung  float64 // s, contact: the hands may leave the bat after
	left   float64 // squares left of the last adjustment
	level  float64 // what the lead ankle is taken to stand higher by in stance, statures
}

const (
	openView = 0
	rearView = 1
)

// Priors of what no picture tells.
var (
	headingSigma = radians(7)  // cameras are placed by eye, as in package measure
	tiltMean     = radians(5)  // a lens at breast height looks a little down
	tiltSigma    = radians(5)  // (as in package measure)
	rollSigma    = radians(1)  // phones show when they are level
	feetSigma    = radians(10) // stances are square, a little open or closed; common practice, no source
)

const (
	usualFocal = 0.8 // of the picture's long side (as in package measure)
	focalShare = 0.15
	sizeShare  = 0.08 // of the track's stature
	levelSigma = 0.01 // statures, of ankles in stance
	// Errors of a network's points are alike within this time, s (as in package
	// measure).
	slowTime = 0.25
)

func newBundle(open, rear *view, times []float64, c clock) *bundle {
	b := &bundle{views: [2]*view{open, rear}, times: times, stance: -1, swung: math.Inf(1)}
	span := times[len(times)-1] - times[0]
	b.share = min(1, (1+span/slowTime)/float64(len(times)))
	set := func(k int, mean, sigma float64) { b.prior[k].mean, b.prior[k].sigma = mean, sigma }
	for v, w := range b.views {
		k := v * cameraSize
		set(k, [2]float64{0, -math.Pi / 2}[v], headingSigma)
		set(k+1, tiltMean, tiltSigma)
		set(k+2, 0, rollSigma)
		set(k+3, math.Log(usualFocal*max(w.width, w.height)), focalShare)
		set(k+4, math.Log(w.size), sizeShare)
		set(k+5, 0, fixed) // the world's origin lies on three lines of sight
		set(k+6, 0, fixed)
	}
	b.prior[cameraSize+6].sigma = 1 // the rear camera's height is free
	set(atClock, c.offset, c.sigma)
	for k, p := range partTable {
		set(atParts+k, p.mean, p.sigma)
	}
	if e, ok := open.sw.Events[swing.Contact]; ok {
		b.swung = e.Time
	}
	b.look(c.offset)
	b.habits()
	return b
}

// fixed is the sigma of what is set rather than found.
const fixed = 1e-4

// look takes points and turns at an offset of the clocks.
func (b *bundle) look(offset float64) {
	b.at = offset
	old, oldLines := b.points, b.lines
	b.points = make([][2][numPoints]seen, len(b.times))
	b.lines = make([][2][2]lifted, len(b.times))
	for i, t := range b.times {
		for v, w := range b.views {
			at := t
			if v == rearView {
				at += offset
			}
			for k := range numPoints {
				c := &w.curve[k]
				p, ok := c.at(at)
				s := seen{x: p.X, y: p.Y, far: 1, along: 1, ok: ok}
				if ok {
					d := c.speed(at)
					s.vx, s.vy, s.sigma = d.X, d.Y, c.noise(at)
				}
				if old != nil {
					s.far, s.along = old[i][v][k].far, old[i][v][k].along
				}
				b.points[i][v][k] = s
			}
			for k, a := range [2]swing.Turn{swing.ShoulderTurnCamera, swing.HipTurnCamera} {
				if q, ok := w.sw.Turns.At(a, at); ok {
					b.lines[i][v][k] = lifted{radians(q.Median()), max(radians(1), radians(q.Sigma())), 1, true}
					if oldLines != nil {
						b.lines[i][v][k].far = oldLines[i][v][k].far
					}
				}
			}
		}
	}
}

// Half of the variance of a network's error is a habit that stays over the swing, half
// wanders with the posture (as in package measure).
const habitShare = 0.5

// habits sets how large habits may be: as large as errors are.
func (b *bundle) habits() {
	own := math.Sqrt(habitShare)
	for v := range b.views {
		for l := range 2 {
			var s []float64
			for i := range b.times {
				if o := &b.lines[i][v][l]; o.ok {
					s = append(s, o.sigma*o.far)
				}
			}
			b.prior[leanOf(v, l)].sigma = max(1e-3, own*signal.Median(append(s, 1e-3)))
		}
	}
}

// leanTimes is the factor on the error of a lifted turn whose line is seen end on. The
// guesses of hidden ends all lean one way (as in package measure), and an error that
// leans does not average out: such a turn is to count little beside one that is seen.
const leanTimes = 4.0

// endOn is the factor on the error of a line's extent when it is seen end on.
const endOn = 6

// hide finds what the body hides from a camera: when a line of shoulders or hips runs
// along the line of sight its far end is behind the near one, and networks guess it
// without saying so.
func (b *bundle) hide(s *state) {
	for v, w := range b.views {
		e := s.cameras[v].eye(w.width, w.height)
		for i := range b.points {
			for l, k := range [2]int{shoulders, hips} {
				line := s.body[i][k].sub(s.body[i][k+1])
				h := e.ahead.dot(line) / max(1e-6, line.norm())
				far := 1 + (blindTimes-1)*max(0, min(1, (math.Abs(h)-0.5)/0.4))
				p := &b.points[i][v]
				p[k].far, p[k+1].far = 1, 1
				b.lines[i][v][l].far = 1 + (leanTimes-1)*(far-1)/(blindTimes-1)
				p[k].along = 1
				if b.lines[i][v][l].ok { // else there is nothing better
					p[k].along = 1 + (endOn-1)*max(0, min(1, (math.Abs(h)-0.3)/0.4))
				}
				if h > 0 {
					p[k].far = far
				} else {
					p[k+1].far = far
				}
			}
		}
	}
	b.habits()
}

// turnAs sets the lines of shoulders and hips to the lifted turn of the open side, where
// there is one: from behind their far ends are hidden.
func (b *bundle) turnAs(s *state, i int) {
	for l, k := range [2]int{shoulders, hips} {
		o := b.lines[i][openView][l]
		if !o.ok {
			continue
		}
		half := partTable[shoulderLine+l].mean / 2
		sin, cos := math.Sincos(o.turn)
		mid := s.body[i][k].mid(s.body[i][k+1])
		dz := (s.body[i][k][2] - s.body[i][k+1][2]) / 2
		way := vec{half * cos, -half * sin, dz}
		s.body[i][k], s.body[i][k+1] = mid.add(way), mid.sub(way)
	}
}

// start guesses everything: cameras as their priors, the body as if both pictures
// had no perspective.
func (b *bundle) start(reference int) *state {
	s := &state{offset: b.prior[atClock].mean, body: make([][numPoints]vec, len(b.times))}
	for k := range whole {
		*s.number(k) = b.prior[k].mean
	}
	var mid [2]swing.Point
	for v := range b.views {
		p := &b.points[reference][v]
		mid[v] = swing.Point{X: (p[hips].x + p[hips+1].x) / 2, Y: (p[hips].y + p[hips+1].y) / 2}
		w, size := b.views[v], b.views[v].size
		k := v * cameraSize
		b.prior[k+5].mean = (mid[v].X - w.width/2) / size
		b.prior[k+6].mean = (w.height/2 - mid[v].Y) / size
		s.cameras[v].across, s.cameras[v].above = b.prior[k+5].mean, b.prior[k+6].mean
	}
	for i := range b.times {
		for k := range numPoints {
			o, r := &b.points[i][openView][k], &b.points[i][rearView][k]
			p := middle
			so, sr := b.views[openView].size, b.views[rearView].size
			z, n := 0.0, 0.0
			if o.ok {
				p[0] += (o.x - mid[openView].X) / so
				z, n = z+(mid[openView].Y-o.y)/so, n+1
			}
			if r.ok {
				p[1] += (r.x - mid[rearView].X) / sr
				z, n = z+(mid[rearView].Y-r.y)/sr, n+1
			}
			if n > 0 {
				p[2] += z / n
			}
			s.body[i][k] = p
		}
		b.turnAs(s, i)
	}
	return s
}

package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// What is assumed of the camera, for the bat's depth.
const (
	// A phone's main lens is about 28 mm in 35 mm terms, .8 of the picture's
	// long side (common practice, no source); zooms and crops spread that.
	usualFocal = 0.8
	focalShare = 0.15 // one sigma, relative
	// Without the picture's size: viewDistance, with this relative sigma.
	distanceShare = 0.2
	// The lens is between the breast and the eyes of a standing adult, or on a
	// tripod a little lower, whoever bats: common practice, no source; m.
	eyeHeight = 1.35
	eyeSigma  = 0.25
	// From there it looks a little down at the middle of the body, .85 m high
	// and 5 or 6 m away: 5 degrees.
	lookDown      = 5.0 // deg
	lookDownSigma = 5.0
	// ankleHeight is the ankle joint's height over the ground, statures: .039,
	// Drillis and Contini (1966) as reproduced in Winter (2009), from memory.
	ankleHeight = 0.039
)

// lens is a level camera whose picture is shifted instead of tilted, which for
// tilts of some degrees is the same to second order. Lengths are px at the
// hitter's distance, which is the focal length in px.
type lens struct {
	middle   float64 // px, column straight ahead
	horizon  float64 // px, row at the height of the lens
	distance float64 // px, to the vertical axis of the body
}

// lens returns the camera of one draw at the hitter's place: ankles is the row of
// the ankles' middle, axis the column of the centre of mass.
func (w *work) lens(ankles, axis, stature float64, n camNoise) lens {
	l := lens{middle: axis, distance: viewDistance * stature * math.Exp(distanceShare*n.focal)}
	ground := ankles + ankleHeight*stature
	// Row of the horizon by the height of the lens ...
	metre := stature / w.bodyHeight()
	height := length{ground - eyeHeight*metre, eyeSigma * metre}
	l.horizon = height.mean + height.sigma*n.height
	if w.width > 0 && w.height > 0 {
		l.middle = w.side * w.width / 2
		l.distance = usualFocal * max(w.width, w.height) * math.Exp(focalShare*n.focal)
		// ... and by its direction, put together.
		look := length{w.height/2 - l.distance*math.Tan(radians(lookDown)), l.distance * radians(lookDownSigma)}
		a, b := 1/(height.sigma*height.sigma), 1/(look.sigma*look.sigma)
		l.horizon = (a*height.mean+b*look.mean)/(a+b) + n.height/math.Sqrt(a+b)
	}
	return l
}

// bodyHeight returns the hitter's height, m: as given, or what is usual.
func (w *work) bodyHeight() float64 {
	if w.o.HeightM > 0 {
		return w.o.HeightM
	}
	return usualHeight
}

// camNoise are the standard normal numbers of one draw's camera.
type camNoise struct{ focal, height float64 }

// rod is the bat in the space of the picture, px at the hitter's distance: across
// and down as in the picture, and depth toward the camera, from the body's axis.
type rod struct {
	knob, tip           swing.Point
	knobDepth, tipDepth float64
}

// depths returns the two differences of depth tip less knob, toward the camera,
// that make a bat appear from knob to tip: the far and the near reading. hands is
// the depth of the hands and grip their place on the bat, from the knob, of its
// length.
//
// A point at depth c appears 1/(1-c/D) times as far from the middle and the horizon
// as at the body's distance D, so the bat's extent across the line of sight is
// A - d B, with A what the picture shows at the hands' depth, d the difference of
// depth and B the place of the far end over D; d solves |A - d B|^2 + d^2 = L^2.
//
// That is ill-conditioned where the bat lies nearly in the picture: an error of L
// by 2 hundredths makes 0.2 L of depth. So d is not solved for but drawn, with all
// directions in space equally likely beforehand: its density is that of the length
// it asks for, normal about L, over that length squared. share (0..1) is the quantile
// that is taken of each reading. With square > 0 the bat is expected to lie in the
// picture, within that share of its length; odds is then the logarithm of the near
// reading's chance over the far one's, else 0.
func (l lens) depths(knob, tip swing.Point, hands, grip float64, size length, share, square float64) (far, near, odds float64) {
	a, b := l.extent(knob, tip, hands, grip)
	ab, bb, aa := a.Dot(b), 1+b.Dot(b), a.Dot(a)
	least := ab / bb // where the bat is shortest
	short := math.Sqrt(max(0, aa-ab*ab/bb))
	// The readings lie evenly to both sides of it. Beyond span lies nothing.
	longest := max(size.mean+3.5*size.sigma, short*1.001)
	span := math.Sqrt(max(0, (longest*longest-short*short)/bb))
	var side [2]float64
	var mass [2]float64
	for k, sign := range []float64{-1, 1} {
		var logs [depthSteps]float64
		top := math.Inf(-1)
		for i := range logs {
			q := span * (float64(i) + 0.5) / depthSteps
			need := math.Sqrt(short*short + bb*q*q)
			logs[i] = bell(need, size.mean, size.sigma) - 2*math.Log(need)
			if square > 0 {
				logs[i] += bell((least+sign*q)/need, 0, square)
			}
			top = max(top, logs[i])
		}
		var q float64
		q, mass[k] = quantileOf(&logs, top, share)
		side[k] = least + sign*span*q
		if square <= 0 { // the other side is its mirror image
			return least - span*q, least + span*q, 0
		}
	}
	return side[0], side[1], mass[1] - mass[0]
}

// quantileOf returns the quantile of a density given by logarithms at even steps of
// 0..1, and the logarithm of its mass.
func quantileOf(logs *[depthSteps]float64, top, share float64) (q, mass float64) {
	var sum [depthSteps + 1]float64
	for i, v := range logs {
		sum[i+1] = sum[i] + math.Exp(v-top)
	}
	want := share * sum[depthSteps]
	i := 0
	for i < depthSteps-1 && sum[i+1] < want {
		i++
	}
	return (float64(i) + (want-sum[i])/(sum[i+1]-sum[i])) / depthSteps, top + math.Log(sum[depthSteps])
}

// depthSteps is the number of depths tried for each reading.
const depthSteps = 40

func (l lens) extent(knob, tip swing.Point, hands, grip float64) (a, b swing.Point) {
	o := swing.Point{X: l.middle, Y: l.horizon}
	a = tip.Sub(knob).Scale(1 - hands/l.distance)
	b = tip.Sub(o).Scale(1 - grip).Add(knob.Sub(o).Scale(grip)).Scale(1 / l.distance)
	return a, b
}

// rod places the bat with a difference of depth in space.
func (l lens) rod(knob, tip swing.Point, hands, grip, depth float64) rod {
	o := swing.Point{X: l.middle, Y: l.horizon}
	r := rod{knobDepth: hands - grip*depth, tipDepth: hands + (1-grip)*depth}
	r.knob = o.Add(knob.Sub(o).Scale(1 - r.knobDepth/l.distance))
	r.tip = o.Add(tip.Sub(o).Scale(1 - r.tipDepth/l.distance))
	return r
}

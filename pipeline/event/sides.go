package event

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

func headJoints() []swing.Joint {
	return []swing.Joint{swing.Nose, swing.LeftEye, swing.RightEye, swing.LeftEar, swing.RightEar}
}

// evidence adds up log-odds of independent signs. One sign alone may not
// decide for sure, so each is bounded.
type evidence struct{ sum float64 }

// signBound is the most one sign can count, log-odds: 20 to 1.
const signBound = 3.0

// add counts a sign: value 0 is undecided, scale is how much of it is clear
// (twice its noise). NaN is no sign.
func (e *evidence) add(value, scale float64) {
	if math.IsNaN(value) {
		return
	}
	e.sum += signBound * math.Tanh(value/scale)
}

// belief turns log-odds into a probability of the likelier answer.
func belief(logOdds float64) float64 { return 1 / (1 + math.Exp(-math.Abs(logOdds))) }

// readView weighs whether the camera faces the chest (positive log-odds) or
// stands behind the plate. The signs are distances along the picture that the two
// places project very differently; t is the time of peak hand speed.
func (b *body) readView(t float64) float64 {
	var e evidence
	dx := func(p, q swing.Joint) func(i int) float64 {
		return func(i int) float64 { return math.Abs(b.slow[p][i].X - b.slow[q][i].X) }
	}
	// After the stride the feet are about half a stature apart along the line
	// plate-pitcher: across the picture from the side, along the line of sight
	// from behind, where their difference across is the closed or open step.
	e.add(b.medianOf(t-0.06, t+0.06, dx(swing.LeftAnkle, swing.RightAnkle))-0.22, 0.10)
	// Before the swing the shoulders lie along the same line: a fifth of a
	// stature across, or nearly none.
	e.add(b.medianOf(t-0.9, t-0.3, dx(swing.LeftShoulder, swing.RightShoulder))-0.13, 0.06)
	e.add(b.medianOf(t-0.9, t-0.3, dx(swing.LeftHip, swing.RightHip))-0.07, 0.06)
	// From the side the hands cross the whole body one way, from behind they
	// go out toward the plate and come back.
	e.add(b.oneWay(t-0.15, t+0.05)-0.45, 0.30)
	// The feet stand square to that line: they point at the camera from the
	// side, and show their whole length, 0.15 of stature (Drillis and Contini
	// 1966), from behind. A foot turned out by 35 degrees shows 0.09.
	e.add(0.09-math.Abs(b.medianOf(t-0.9, t-0.3, b.footX)), 0.05)
	return e.sum
}

// oneWay is the net way of the hands across the picture over [t0, t1] per
// stature of 0.5, signless.
func (b *body) oneWay(t0, t1 float64) float64 {
	from, to := b.span(t0, t1)
	if to-from < 2 {
		return math.NaN()
	}
	return math.Abs(b.handsX[to-1]-b.handsX[from]) / 0.5
}

// readBats weighs the batting side (positive log-odds: right) by signs that
// depend on the view.
func (b *body) readBats(t float64, view swing.View) float64 {
	var e evidence
	at := func(p []swing.Point, t0, t1 float64) float64 {
		return b.medianOf(t0, t1, func(i int) float64 { return p[i].X })
	}
	from, to := b.span(t-0.15, t+0.05)
	if view == swing.OpenSide {
		// Facing a right-handed hitter's chest the pitcher is to the right:
		// hands, stride and pelvis go that way.
		if to > from {
			e.add(b.handsX[to-1]-b.handsX[from], 0.15)
		}
		e.add(at(b.mass, t-0.05, t+0.05)-at(b.mass, t-1.0, t-0.6), 0.06)
		e.add(b.strideX(t), 0.06)
		// The hands wait over the rear foot, on the catcher's side of the hips.
		e.add(-b.medianOf(t-0.8, t-0.3, func(i int) float64 { return b.handsX[i] }), 0.10)
	} else {
		// Behind the plate a right-handed hitter stands to the left and faces
		// right: hands, toes and knees point to the right of the body.
		e.add(b.medianOf(t-0.12, t+0.02, func(i int) float64 { return b.handsX[i] }), 0.08)
		e.add(b.medianOf(t-0.9, t-0.2, func(i int) float64 { return b.footX(i) }), 0.05)
		e.add(b.medianOf(t-0.9, t-0.2, func(i int) float64 { return b.kneeX(i) }), 0.05)
		e.add(b.medianOf(t-0.8, t-0.2, func(i int) float64 { return b.handsX[i] }), 0.10)
	}
	return e.sum
}

// strideX is how far the foot that moved more went across the picture between
// the stance and the swing.
func (b *body) strideX(t float64) float64 {
	best := math.NaN()
	for _, j := range []swing.Joint{swing.LeftAnkle, swing.RightAnkle} {
		x := func(i int) float64 { return b.slow[j][i].X }
		d := b.medianOf(t-0.05, t+0.05, x) - b.medianOf(t-1.1, t-0.7, x)
		if !math.IsNaN(d) && !(math.Abs(d) < math.Abs(best)) {
			best = d
		}
	}
	return best
}

// footX is heel to toe across the picture, mean of both feet.
func (b *body) footX(i int) float64 {
	return meanSeen(
		b.slow[swing.LeftBigToe][i].X-b.slow[swing.LeftHeel][i].X,
		b.slow[swing.RightBigToe][i].X-b.slow[swing.RightHeel][i].X)
}

// kneeX is how far the knees stand out from the line hip to ankle across the
// picture, mean of both legs.
func (b *body) kneeX(i int) float64 {
	out := func(hip, knee, ankle swing.Joint) float64 {
		return b.slow[knee][i].X - (b.slow[hip][i].X+b.slow[ankle][i].X)/2
	}
	return meanSeen(out(swing.LeftHip, swing.LeftKnee, swing.LeftAnkle), out(swing.RightHip, swing.RightKnee, swing.RightAnkle))
}

func meanSeen(v ...float64) float64 {
	sum, n := 0.0, 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum, n = sum+x, n+1
		}
	}
	return sum / n
}

// sides is what was decided about hitter and camera, the same for all swings
// of a track: neither the hitter's side nor the camera's place changes within
// a clip, so all swings vote.
type sides struct {
	bats     swing.Bats
	view     swing.View
	batsFrom string // "auto" or "user"
	viewFrom string
	batsSure float64
	viewSure float64
	warnings []swing.Warning
}

// unsure is the belief below which a decision is warned about.
const unsure = 0.8

// decideSides decides view and batting side from the swings with peak hand
// speed at the times given, or takes them from the options, and sets up b.
func (b *body) decideSides(peaks []float64, o Options) sides {
	s := sides{batsFrom: "auto", viewFrom: "auto"}
	warn := func(code, format string, a ...any) {
		s.warnings = append(s.warnings, swing.Warning{Code: code, Text: fmt.Sprintf(format, a...)})
	}
	view, bats := 0.0, 0.0
	for _, t := range peaks {
		view += b.readView(t)
	}
	s.view, s.viewSure = swing.OpenSide, belief(view)
	if view < 0 {
		s.view = swing.Rear
	}
	if o.View != "" {
		s.view, s.viewFrom, s.viewSure = o.View, "user", 1
	} else if s.viewSure < unsure {
		warn("view-uncertain", "the camera's place was hard to tell; taken as %s (%.0f %%)", s.view, 100*s.viewSure)
	}
	for _, t := range peaks {
		bats += b.readBats(t, s.view)
	}
	s.bats, s.batsSure = swing.Right, belief(bats)
	if bats < 0 {
		s.bats = swing.Left
	}
	switch {
	case o.Bats != "":
		if s.bats != o.Bats && s.batsSure > 0.95 {
			warn("bats-doubtful", "set to bat %s, but the motion looks like %s", o.Bats, s.bats)
		}
		s.bats, s.batsFrom, s.batsSure = o.Bats, "user", 1
	case s.batsSure < unsure:
		warn("bats-uncertain", "the batting side was hard to tell; taken as %s (%.0f %%)", s.bats, 100*s.batsSure)
	}
	b.bats, b.view = s.bats, s.view
	b.lead, b.rear = s.bats.Lead(), s.bats.Rear()
	b.forward = 0
	if s.view == swing.OpenSide {
		b.forward = 1
		if s.bats == swing.Left {
			b.forward = -1
		}
	}
	return s
}

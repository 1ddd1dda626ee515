package main

import (
	"math"
	"sort"
	"strings"

	"plantframe/pipeline/swing"
)

// BatScore says how well the bat was found in the frames of one phase.
type BatScore struct {
	Frames    int     `json:"frames"` // truth frames of the phase
	Found     float64 `json:"found"`  // share in which a bat was given
	MedianDeg float64 `json:"direction_median_deg"`
	P90Deg    float64 `json:"direction_90_deg"`
	Tip       float64 `json:"tip_median_torso"`
	Knob      float64 `json:"knob_median_torso"`
	Coverage1 float64 `json:"direction_within_1_sigma"`
	Coverage2 float64 `json:"direction_within_2_sigma"`
	// Sure counts frames that are wrong by more than wrongDeg while claiming
	// less than sureDeg.
	Sure int `json:"wrong_but_sure"`
}

const (
	wrongDeg = 25.0
	sureDeg  = 5.0
)

// batPhases split the frames that are scored: from stance (the truth's first frame,
// when it names none) to plant, and from there to contact.
var batPhases = []string{"stance..plant", "plant..contact"}

// batFrames collects the frames of one phase.
type batFrames struct {
	frames         int
	errors, sigmas []float64 // degrees, absolute
	tip, knob      []float64 // torso
}

func (b *batFrames) merge(o *batFrames) {
	b.frames += o.frames
	b.errors, b.sigmas = append(b.errors, o.errors...), append(b.sigmas, o.sigmas...)
	b.tip, b.knob = append(b.tip, o.tip...), append(b.knob, o.knob...)
}

func (b *batFrames) score() BatScore {
	s := BatScore{
		Frames: b.frames, Found: float64(len(b.errors)) / float64(max(1, b.frames)),
		MedianDeg: median(b.errors), P90Deg: quantile(b.errors, 0.9), Tip: median(b.tip), Knob: median(b.knob),
	}
	z := make([]float64, len(b.errors))
	for i, e := range b.errors {
		z[i] = e / max(1e-9, b.sigmas[i])
		if e > wrongDeg && b.sigmas[i] < sureDeg {
			s.Sure++
		}
	}
	c := cover(z)
	s.Coverage1, s.Coverage2 = c.Sigma1, c.Sigma2
	return s
}

// seenBat is the bat of an analysis.
type seenBat struct {
	Times []float64   `json:"times_s"`
	Knob  [][]float64 `json:"knob"` // nil where not seen
	Tip   [][]float64 `json:"tip"`
	Sigma []*float64  `json:"sigma_deg"`
}

// fits reports whether the lists are equally long and hold points.
func (b *seenBat) fits() bool {
	n := len(b.Times)
	if len(b.Knob) != n || len(b.Tip) != n || len(b.Sigma) != n {
		return false
	}
	for i := range n {
		if (b.Knob[i] != nil && len(b.Knob[i]) != 2) || (b.Tip[i] != nil && len(b.Tip[i]) != 2) {
			return false
		}
	}
	return true
}

// batEnds are the ends of a truth frame's bat.
type batEnds struct {
	Knob [3]float64 `json:"knob"` // u, v, visibility, or x, y, z
	Tip  [3]float64 `json:"tip"`
}

// scoreBat compares the bat of a swing with the truth in every truth frame of both
// phases; nil when the analysis looked for no bat or the truth holds none. A frame
// that the analysis does not cover counts as not found.
func scoreBat(s *analysedSwing, t *truth, events map[string]float64) map[string]*batFrames {
	plant, okP := events["plant"]
	contact, okC := events["contact"]
	if s.Bat == nil || !okP || !okC || !t.hasBat() {
		return nil
	}
	from, ok := events["stance"]
	if !ok {
		from = t.Frames[0].T
	}
	out := map[string]*batFrames{batPhases[0]: {}, batPhases[1]: {}}
	torso := t.torso()
	for i, f := range t.Frames {
		if f.T < from || f.T > contact {
			continue
		}
		b := out[batPhases[0]]
		if f.T > plant {
			b = out[batPhases[1]]
		}
		b.frames++
		k, ok := s.Bat.near(f.T, t.spacing(i)/2)
		if !ok {
			continue
		}
		got := func(l [][]float64) vec { return vec{l[k][0], l[k][1], 0} }
		knob, tip := got(s.Bat.Knob), got(s.Bat.Tip)
		wantKnob, wantTip := vec{f.BatPx.Knob[0], f.BatPx.Knob[1], 0}, vec{f.BatPx.Tip[0], f.BatPx.Tip[1], 0}
		b.errors = append(b.errors, math.Abs(math.Remainder(heading(tip.sub(knob))-heading(wantTip.sub(wantKnob)), 360)))
		b.sigmas = append(b.sigmas, *s.Bat.Sigma[k])
		b.tip = append(b.tip, tip.sub(wantTip).norm()/torso)
		b.knob = append(b.knob, knob.sub(wantKnob).norm()/torso)
	}
	return out
}

// heading is the direction of a picture vector, degrees.
func heading(v vec) float64 { return degrees(math.Atan2(v[1], v[0])) }

// near returns the entry nearest to time s, if the bat is seen in it and it lies
// within reach.
func (b *seenBat) near(s, reach float64) (int, bool) {
	i := sort.SearchFloat64s(b.Times, s)
	if i == len(b.Times) || (i > 0 && s-b.Times[i-1] < b.Times[i]-s) {
		i--
	}
	ok := i >= 0 && math.Abs(b.Times[i]-s) <= reach+1e-9 && b.Knob[i] != nil && b.Tip[i] != nil && b.Sigma[i] != nil
	return i, ok
}

func (t *truth) hasBat() bool { return t.Frames[0].BatPx != nil && t.Frames[0].Bat3 != nil }

// spacing is the time between frames around frame i, s.
func (t *truth) spacing(i int) float64 {
	if i == 0 {
		i = 1
	}
	return t.Frames[i].T - t.Frames[i-1].T
}

// bat3 returns the ends of the bat in space at time s, in the hitter's axes.
func (t *truth) bat3(s float64) (knob, tip vec) {
	a, b, f := t.around(s)
	p, q := t.Frames[a].Bat3, t.Frames[b].Bat3
	mix := func(u, v [3]float64) vec {
		m := vec(u).add(vec(v).sub(vec(u)).scale(f))
		if t.Bats == "R" {
			m[1] = -m[1]
		}
		return m
	}
	return mix(p.Knob, q.Knob), mix(p.Tip, q.Tip)
}

// picture returns the bat knob to tip in the picture at time s, x to the pitcher or
// to the plate, y up: its direction turned evenly between frames.
func (t *truth) picture(s float64) vec {
	a, b, f := t.around(s)
	of := func(i int) vec {
		e := t.Frames[i].BatPx
		v := vec{e.Tip[0] - e.Knob[0], e.Knob[1] - e.Tip[1], 0}
		// Seen from the plate the pitcher of a right-handed hitter is to the
		// right; from behind his plate is.
		if t.Bats == "L" {
			v[0] = -v[0]
		}
		return v
	}
	u, v := of(a), of(b)
	at := heading(u) + f*math.Remainder(heading(v)-heading(u), 360)
	y, x := math.Sincos(at * math.Pi / 180)
	return vec{x, y, 0}
}

// What the product assumes of the bat and the body, by its documented defaults.
const (
	sweetFromTip = 0.15  // m
	usualBat     = 0.84  // m
	batMass      = 0.85  // kg
	batBalance   = 0.62  // of the length
	batSix       = 0.165 // kg m2 about 6 inches from the knob
	sixInches    = 0.1524
	reference    = 0.25 // statures
	build        = 22.0 // kg/m2
)

// batValue returns the true value of a measure of the bat.
func (b body) batValue(id string, s float64) (float64, bool) {
	if !b.hasBat() {
		return 0, false
	}
	knob, tip := b.bat3(s)
	d := tip.sub(knob)
	axis := b.centre(s)
	on := func(share float64) vec { return knob.add(d.scale(share)).sub(axis) }
	sweet := on(1 - sweetFromTip/usualBat)
	far := math.Hypot(sweet[0], sweet[1])
	switch id {
	case "bat_tilt":
		return degrees(math.Acos(max(-1, min(1, d[2]/d.norm())))), true
	case "bat_lean":
		p := b.picture(s)
		return degrees(math.Atan2(-p[0], p[1])), true
	case "knob_direction":
		p := b.picture(s)
		return degrees(math.Atan2(p[0], p[1])), true
	case "barrel_distance":
		return far / b.Stature, true
	case "barrel_distance_m":
		return far, true
	case "barrel_inside":
		lo, hi := math.Inf(1), math.Inf(-1)
		for point, half := range map[string]float64{"shoulder": 0.025, "hip": 0.035, "elbow": 0.025} {
			for _, role := range []string{"lead", "rear"} {
				y := b.at(role, point, s)[1] - axis[1]
				lo, hi = min(lo, y-half*b.Stature), max(hi, y+half*b.Stature)
			}
		}
		width := b.at("lead", "shoulder", s).sub(b.at("rear", "shoulder", s)).norm()
		return min(sweet[1]-lo, hi-sweet[1]) / width, true
	case "swing_inertia", "swing_inertia_ratio":
		own := batSix - batMass*math.Pow(batBalance*usualBat-sixInches, 2)
		own *= 1 - math.Pow(d[2]/d.norm(), 2)
		m := on(batBalance)
		arms := b.armInertia(s, axis)
		now := own + batMass*(m[0]*m[0]+m[1]*m[1]) + arms
		if id == "swing_inertia" {
			return now, true
		}
		k := 1 - reference*b.Stature/far
		x, y := m[0]-k*sweet[0], m[1]-k*sweet[1]
		return now / (own + batMass*(x*x+y*y) + arms), true
	}
	return 0, false
}

// armInertia returns both arms' moment of inertia about the vertical through axis,
// kg m2, by the segments of men of de Leva (1996).
func (b body) armInertia(s float64, axis vec) float64 {
	mass := build * b.Stature * b.Stature
	table := swing.DeLevaMale()
	sum := 0.0
	for _, role := range []string{"lead", "rear"} {
		p := func(point string) vec { return b.at(role, point, s).sub(axis) }
		for _, part := range []struct {
			seg  swing.Segment
			a, b vec
		}{
			{table.UpperArm, p("shoulder"), p("elbow")},
			{table.Forearm, p("elbow"), p("wrist")},
			{swing.Segment{Mass: table.Hand.Mass}, p("wrist"), p("wrist")},
		} {
			v := part.b.sub(part.a)
			c := part.a.add(v.scale(part.seg.Centre))
			g := part.seg.Gyration
			sum += mass * part.seg.Mass * (g*g*(v[0]*v[0]+v[1]*v[1]) + c[0]*c[0] + c[1]*c[1])
		}
	}
	return sum
}

// isBat tells the measures of the bat from those of the body.
func isBat(id string) bool {
	return strings.HasPrefix(id, "bat_") || strings.HasPrefix(id, "barrel_") || strings.HasPrefix(id, "swing_inertia") || id == "knob_direction"
}

// wraps reports whether 360 of a measure are none.
func wraps(id string) bool { return id == "bat_lean" || id == "knob_direction" }

// batTargets compares with the goals for the bat, if any clip has one.
func (r *Report) batTargets(most func(name string, value, goal float64, unit string), least func(name string, value, goal float64)) {
	wait, swung := r.Bat[batPhases[0]], r.Bat[batPhases[1]]
	if wait.Frames+swung.Frames > 0 {
		least("bat found, stance to plant", wait.Found, 0.99)
		most("bat direction median, stance to plant", wait.MedianDeg, 0.6, "deg")
		most("bat direction 90 %, stance to plant", wait.P90Deg, 2, "deg")
		most("bat tip median, stance to plant", wait.Tip, 0.05, "torso")
		least("bat found, plant to contact", swung.Found, 0.90)
		most("bat direction median, plant to contact", swung.MedianDeg, 2, "deg")
		most("bat direction 90 %, plant to contact", swung.P90Deg, 8, "deg")
		most("bat wrong by 25 deg while claiming 5", float64(wait.Sure+swung.Sure), 0, "frames")
	}
	if m := r.AtEvent["bat_tilt plant"]; m != nil && m.N > 0 {
		most("bat_tilt at plant, median", m.Median, 2, "deg")
	}
	if m := r.AtEvent["barrel_distance_m plant"]; m != nil && m.N > 0 {
		most("barrel_distance at plant, median", 100*m.Median, 4, "cm")
	}
	wrong, sure, n := 0.0, 0.0, 0
	for _, c := range r.Clips {
		for _, w := range c.rows {
			if w.id == "barrel_inside" && w.event == "plant" {
				n++
				if (w.value > 0) != (w.truth > 0) {
					wrong++
					if math.Abs(w.value) > w.sigma {
						sure++
					}
				}
			}
		}
	}
	if n > 0 {
		most("barrel_inside at plant with the wrong sign", wrong, 0, "clips")
		most("the same, farther from the edge than its sigma", sure, 0, "clips")
	}
}

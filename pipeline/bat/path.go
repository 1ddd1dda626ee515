package bat

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// Path joins the sightings of single frames to the bat over time. The result
// has one sight per frame of t; sightings are matched by frame index and may be
// of more frames. A swing without a bat gives a path in which nothing is seen
// and a warning.
//
// Errors: KindUsage (options).
func Path(t *swing.Track, sightings []Sighting, o Options) (swing.BatPath, []swing.Warning, error) {
	if err := o.Validate(); err != nil {
		return swing.BatPath{}, nil, &swing.Error{Op: "bat.Path", Frame: -1, Kind: swing.KindUsage, Msg: err.Error()}
	}
	p := swing.BatPath{Sights: make([]swing.BatSight, t.Len())}
	f := frames{times: t.Times, torso: t.Torso, all: make([][]candidate, t.Len()), absent: make([]float64, t.Len())}
	byFrame := map[int]*Sighting{}
	for i := range sightings {
		byFrame[sightings[i].Frame] = &sightings[i]
	}
	for i, n := range t.Frames {
		f.absent[i] = 1
		if s, ok := byFrame[n]; ok && s.Looked {
			f.all[i], f.absent[i] = candidates(s, t.Torso), s.Absent
		}
	}
	chosen := f.likeliest()
	f.review(chosen)
	seen, asked, fastest := 0, 0, max(fastestHands(t), minSights)
	for i := range chosen {
		p.Sights[i] = f.sight(chosen, i, o)
		if i <= fastest {
			asked++
			if p.Sights[i].Seen {
				seen++
			}
		}
	}
	if float64(seen) < o.MinShare*float64(asked) || seen < minSights {
		p.Sights = make([]swing.BatSight, t.Len())
		return p, []swing.Warning{{Code: "no-bat", Text: "no bat was seen in the hitter's hands, so nothing is said about it"}}, nil
	}
	p.Length, p.LengthSigma, p.LengthSource = length(t, p.Sights, o)
	var w []swing.Warning
	if float64(seen) < 0.8*float64(asked) {
		w = append(w, swing.Warning{Code: "bat-hidden", Text: "the bat was not seen in many frames before contact: film before a plain, still background, in good light"})
	}
	return p, w, nil
}

// minSights is the least number of frames that make a path.
const minSights = 4

// fastestHands returns the frame in which the hands are fastest, the last
// frame when they were hardly seen.
func fastestHands(t *swing.Track) int {
	var at []int
	var ts, xs, ys []float64
	for i := range t.Points {
		l, r := t.Points[i][swing.LeftWrist], t.Points[i][swing.RightWrist]
		if l.State == swing.Missing || r.State == swing.Missing {
			continue
		}
		h := l.Point().Mid(r.Point())
		at, ts, xs, ys = append(at, i), append(ts, t.Times[i]), append(xs, h.X), append(ys, h.Y)
	}
	if len(at) < minSights {
		return t.Len() - 1
	}
	vx, vy := signal.Derivative(ts, xs), signal.Derivative(ts, ys)
	best := 0
	for i := range vx {
		if math.Hypot(vx[i], vy[i]) > math.Hypot(vx[best], vy[best]) {
			best = i
		}
	}
	return at[best]
}

// sight turns the choice of frame i into what is told.
func (f *frames) sight(chosen []int, i int, o Options) swing.BatSight {
	if chosen[i] < 0 {
		return swing.BatSight{}
	}
	c := f.all[i][chosen[i]]
	var cues swing.BatCue
	if c.tip.Mass >= o.MinMass && f.absent[i] <= o.MaxAbsent {
		cues |= swing.CueNetwork
	}
	if c.edges >= 0.5 {
		cues |= swing.CueEdges
	}
	off, known := f.surprise(chosen, i)
	moves := known && off.angle <= math.Max(3*math.Hypot(off.sigma, c.sigma), steadyAngle)
	if moves {
		cues |= swing.CueMotion
	}
	// One sign alone is not believed.
	if cues&(cues-1) == 0 {
		return swing.BatSight{}
	}
	// What the other places would change, as far as they are likely.
	v := c.sigma * c.sigma
	for _, other := range f.all[i] {
		d := angleBetween(other.dir(), c.dir())
		if d > 3*c.sigma {
			share := other.tip.Mass * other.knob.Mass
			if moves {
				share *= 0.05 // motion tells them apart
			}
			v += share * d * d
		}
	}
	if known {
		// A bat whose motion does not fit what is told of it is told with
		// less certainty.
		if over := off.angle*off.angle - 4*(off.sigma*off.sigma+c.sigma*c.sigma); over > 0 {
			v += over / 4
		}
	} else {
		v *= 4
	}
	if cues&swing.CueEdges == 0 {
		v *= 1.7
	}
	sigma := math.Max(minSigma, math.Sqrt(v))
	if sigma > o.MaxSigma {
		return swing.BatSight{}
	}
	grow := math.Max(1, sigma/math.Max(c.sigma, 1e-6))
	return swing.BatSight{
		Seen: true, Knob: c.knob.At, Tip: c.tip.At, Sigma: sigma,
		KnobSigma: c.knob.Sigma * math.Sqrt(grow), TipSigma: c.tip.Sigma * math.Sqrt(grow), Cues: cues,
	}
}

const (
	// minSigma is the least error of a direction, degrees: half a pixel at
	// the end of a bat of 150 px.
	minSigma = 0.2
	// steadyAngle is the departure from smooth motion, degrees, that says
	// nothing against a sight whatever its sigma.
	steadyAngle = 3.0
)

const (
	// commonLength is the length of a bat as a share of its hitter's stature,
	// with the spread over ages. Common practice, no source: 0.84 m for
	// 1.78 m, 0.76 m for 1.50 m.
	commonLength, commonSpread = 0.48, 0.035
	// tolerance is how far the longest sight may lie from that to be taken
	// for the bat's true length, as a share of stature.
	tolerance = 0.11
)

// length estimates the bat's true length in px at the hitter's distance. In a
// swing the bat turns through the picture plane in both views, so the longest
// sight is nearly its true length, from below.
func length(t *swing.Track, sights []swing.BatSight, o Options) (float64, float64, string) {
	if t.Stature <= 0 {
		return 0, 0, ""
	}
	if o.LengthM > 0 && o.HeightM > 0 {
		l := o.LengthM / o.HeightM * t.Stature
		return l, 0.03 * l, "given"
	}
	var all []float64
	for _, s := range sights {
		if s.Seen && s.Sigma < 3 {
			all = append(all, s.Tip.Sub(s.Knob).Norm())
		}
	}
	if len(all) >= 8 {
		l := signal.Quantile(all, 0.97)
		if math.Abs(l/t.Stature-commonLength) < tolerance {
			return l, 0.035 * l, "learned"
		}
	}
	return commonLength * t.Stature, commonSpread * t.Stature, "common"
}

package swingtest

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

const (
	// batLength is the length of the invented bat, m.
	batLength = 0.84
	// The bat's turn: its speed grows evenly for batRamp s to batRate, deg/s,
	// and stays; it begins batTime s before contact, when the bat is square.
	batTime, batRamp, batRate = 0.16, 0.10, 1600.0
)

// batTurn is the bat's angle at time t, degrees, 0 = square, + = toward the
// pitcher.
func (m Motion) batTurn(t float64) float64 {
	c := m.current(t)
	const wait = -batRate * (batTime - batRamp/2)
	s := t - (c - batTime)
	angle := wait
	switch {
	case s > batRamp:
		angle = math.Min(220, batRate*(t-c))
	case s > 0:
		angle += batRate * s * s / (2 * batRamp)
	}
	return lerp(wait, angle, m.back(t, c))
}

// Bat returns what a bat stage would say of the motion at the times given: the
// bat lies in both hands, with noise degrees of error in its direction and as
// much along it. The picture does not pan or shake. seen tells at which times
// it is found; nil means always.
func (c Camera) Bat(m Motion, times []float64, noise float64, seen func(t float64) bool) swing.BatPath {
	c = c.withDefaults()
	view := c.lens(m)
	r := rand.New(rand.NewPCG(c.Seed, 78))
	low := swing.LeftHand // nearer the knob
	if m.Left {
		low = low.Partner()
	}
	path := swing.BatPath{Length: c.Scale * batLength * c.Focal / c.Distance, LengthSource: "given"}
	path.LengthSigma = 0.03 * path.Length
	for _, t := range times {
		if seen != nil && !seen(t) {
			path.Sights = append(path.Sights, swing.BatSight{})
			continue
		}
		b := m.at(t)
		dir := flat(rad(m.batTurn(t)))
		if m.Left {
			dir[1] = -dir[1]
		}
		knob := b[low].sub(dir.mul(0.05))
		k, tip := view(knob), view(knob.add(dir.mul(batLength)))
		e := rad(noise)
		d := tip.Sub(k)
		d = d.Add(swing.Point{X: -d.Y, Y: d.X}.Scale(e * r.NormFloat64())).Scale(1 + e*r.NormFloat64())
		tip = k.Add(d)
		if c.Mirror {
			k.X, tip.X = picWidth-k.X, picWidth-tip.X
		}
		path.Sights = append(path.Sights, swing.BatSight{
			Seen: true, Knob: k.Scale(c.Scale), Tip: tip.Scale(c.Scale), Sigma: math.Max(noise, 0.2),
			KnobSigma: 1, TipSigma: 2, Cues: swing.CueNetwork | swing.CueEdges,
		})
	}
	return path
}

// BatStart is when the bat begins its forward turn in the k-th swing.
func (m Motion) BatStart(k int) float64 { return m.Contacts[k] - batTime }

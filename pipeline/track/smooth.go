package track

import (
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// fill bridges gaps of each point up to MaxGap and warns of the longer ones.
// Points in dropped already have their warning and get no second one when they
// are bridged.
func (w *work) fill(dropped frameSet) []swing.Warning {
	var bridged, open frameSet
	for j := range swing.NumPoints {
		joint := swing.Joint(j)
		for _, run := range w.runs {
			a, b := run[0], run[1]
			ok := make([]bool, b-a)
			any := false
			for i := range ok {
				ok[i] = w.ok(joint, a+i)
				any = any || ok[i]
			}
			if !any {
				continue // the network does not give this point
			}
			xs, ys := w.axes(joint, a, b)
			xs, filled := signal.Fill(w.times[a:b], xs, ok, w.o.MaxGap)
			ys, _ = signal.Fill(w.times[a:b], ys, ok, w.o.MaxGap)
			prev := 0.0
			for i := range ok {
				switch {
				case ok[i]:
					prev = w.score[j][a+i]
				case filled[i]:
					w.pos[j][a+i] = swing.Point{X: xs[i], Y: ys[i]}
					// Less sure than the sample before it.
					w.score[j][a+i] = prev / 2
					w.state[j][a+i] = swing.Filled
					bridged.add(joint, a+i)
				default:
					open.add(joint, a+i)
				}
			}
		}
	}
	var out []swing.Warning
	out = append(out, bridged.without(dropped).warnings(w.frames, "gap-filled", "%s not seen for a moment; bridged")...)
	return append(out, open.warnings(w.frames, "point-missing", "%s not seen")...)
}

// axes returns the coordinates of a joint over frames [a, b).
func (w *work) axes(j swing.Joint, a, b int) (xs, ys []float64) {
	xs, ys = make([]float64, b-a), make([]float64, b-a)
	for i := range xs {
		xs[i], ys[i] = w.pos[j][a+i].X, w.pos[j][a+i].Y
	}
	return xs, ys
}

// smoothed low-passes every stretch of each point.
func (w *work) smoothed(cutoff float64) [swing.NumPoints][]swing.Point {
	var out [swing.NumPoints][]swing.Point
	for j := range swing.NumPoints {
		out[j] = append([]swing.Point(nil), w.pos[j]...)
		w.stretches(swing.Joint(j), func(a, b int) {
			xs, ys := w.axes(swing.Joint(j), a, b)
			xs = signal.Smooth(w.times[a:b], xs, cutoff)
			ys = signal.Smooth(w.times[a:b], ys, cutoff)
			for i := range xs {
				out[j][a+i] = swing.Point{X: xs[i], Y: ys[i]}
			}
		})
	}
	return out
}

// stretches calls f for each unbroken stretch [a, b) of a point.
func (w *work) stretches(j swing.Joint, f func(a, b int)) {
	for _, run := range w.runs {
		a := run[0]
		for i := run[0]; i <= run[1]; i++ {
			if i < run[1] && w.ok(j, i) {
				continue
			}
			if i > a {
				f(a, i)
			}
			a = i + 1
		}
	}
}

// placing is the one-sigma error (one axis, torso lengths) with which a pose
// network puts a point on the body, apart from frame-to-frame noise: where the
// skin is seen but the joint is inside, behind the body, or moving. From the
// mean distances of BlazePose heavy to the joint centres of rendered hitters
// after its points are moved to joint centres (shoulder .055, elbow .075, wrist
// .070, hip .080, knee .050; both views, up to contact), divided by 1.2533, the
// mean of a Rayleigh distribution of unit sigma. The feet are the feet
// network's: ankle .013, heel .018, big toe .009 there, and half as much again
// because it has learnt on rendered hitters alone. The face is common practice,
// no source.
func placing(j swing.Joint) float64 {
	switch j {
	case swing.LeftShoulder, swing.RightShoulder:
		return 0.055 / rayleighMean
	case swing.LeftWrist, swing.RightWrist, swing.LeftHand, swing.RightHand:
		return 0.070 / rayleighMean
	case swing.LeftElbow, swing.RightElbow:
		return 0.075 / rayleighMean
	case swing.LeftHip, swing.RightHip:
		return 0.080 / rayleighMean
	case swing.LeftKnee, swing.RightKnee:
		return 0.050 / rayleighMean
	case swing.LeftAnkle, swing.RightAnkle:
		return 0.020 / rayleighMean
	case swing.LeftHeel, swing.RightHeel:
		return 0.028 / rayleighMean
	case swing.LeftBigToe, swing.RightBigToe:
		return 0.014 / rayleighMean
	}
	return 0.040 / rayleighMean
}

const rayleighMean = 1.2533141373155003 // sqrt(pi/2)

// sigma returns the one-axis error of each smoothed point, px: placing error
// and what the filter leaves of the frame-to-frame noise, added in squares.
func (w *work) sigma(cutoff float64) [swing.NumPoints]float64 {
	var out [swing.NumPoints]float64
	dt := signal.Spacing(w.times)
	// Share of white-noise power that passes: about cutoff over half the rate.
	pass := math.Sqrt(min(1, 2*cutoff*dt))
	for j := range swing.NumPoints {
		var noise []float64
		w.stretches(swing.Joint(j), func(a, b int) {
			if b-a < 8 {
				return
			}
			xs, ys := w.axes(swing.Joint(j), a, b)
			noise = append(noise, math.Hypot(signal.Noise(xs), signal.Noise(ys))/math.Sqrt2)
		})
		n := 0.0
		if len(noise) > 0 {
			n = signal.Median(noise) * pass
		}
		out[j] = math.Hypot(placing(swing.Joint(j))*w.torso, n)
	}
	return out
}

package lift

import (
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// channels counts the numbers of one sample of the network's input:
//
//	 0..39  x, y of the points against the middle of the hips, in body lengths, 0 where missing
//	40..59  their scores, 0 = missing
//	60      1 within the track
//	61      1 at the stance, falling to 0 over one sample
//	62..65  shoulder line and hip line in widest widths
//	66..67  the view is told: open-side, rear
//	68..70  body length and place in the picture
//	71      frames per second / 100
//	72..73  widest shoulder and hip line in body lengths, times 3
//	74..76  the hitter's true widths are known, and what they are (not used yet)
//	77..79  the camera's yaw is known, its value / 30 deg, its sigma / 10 deg
const channels = 80

// encode writes the network's input, steps x channels. It returns false when hips or
// shoulders are never seen.
func (g *grid) encode(view swing.View, o Options, into []float32) bool {
	root, ok := g.root()
	size := g.bodyLength()
	if !ok || size <= 0 {
		return false
	}
	lines := [2]int{shoulders, hips}
	var widest [2]float64
	for i, k := range lines {
		widest[i] = max(1e-4, g.widest(k))
	}
	general := [14]float64{2: 3 * size, 3: 2 * root.X, 4: 2 * root.Y, 5: g.fps / 100, 6: 3 * widest[0] / size, 7: 3 * widest[1] / size}
	if view == swing.OpenSide {
		general[0] = 1
	} else {
		general[1] = 1
	}
	if o.CameraYawSigma > 0 {
		general[11], general[12], general[13] = 1, o.CameraYaw/30, o.CameraYawSigma/10
	}
	clear(into)
	for i := range g.samples {
		s, row := &g.samples[i], into[i*channels:(i+1)*channels]
		for k := range points {
			if s.score[k] > 0 {
				p := s.at[k].Sub(root).Scale(1 / size)
				row[2*k], row[2*k+1] = within(p.X, 4), within(p.Y, 4)
				row[40+k] = float32(s.score[k])
			}
		}
		if s.valid {
			row[60] = 1
			row[61] = float32(max(0, 1-math.Abs(float64(i)-g.stance)))
		}
		for j, k := range lines {
			if s.has(k, k+1) {
				d := s.at[k].Sub(s.at[k+1]).Scale(1 / widest[j])
				row[62+2*j], row[63+2*j] = within(d.X, 2), within(d.Y, 2)
			}
		}
		for j, v := range general {
			row[66+j] = float32(v)
		}
	}
	return true
}

func within(x, limit float64) float32 { return float32(max(-limit, min(limit, x))) }

// has reports whether all points are there.
func (s *sample) has(k ...int) bool {
	for _, p := range k {
		if s.score[p] <= 0 {
			return false
		}
	}
	return true
}

func (s *sample) mid(k int) swing.Point     { return s.at[k].Mid(s.at[k+1]) }
func (s *sample) distance(a, b int) float64 { return s.at[a].Sub(s.at[b]).Norm() }
func (g *grid) each(k ...int) (out []*sample) {
	for i := range g.samples {
		if g.samples[i].has(k...) {
			out = append(out, &g.samples[i])
		}
	}
	return out
}

// root is the median place of the middle of the hips.
func (g *grid) root() (swing.Point, bool) {
	var x, y []float64
	for _, s := range g.each(hips, hips+1) {
		m := s.mid(hips)
		x, y = append(x, m.X), append(y, m.Y)
	}
	return swing.Point{X: lowerMedian(x), Y: lowerMedian(y)}, len(x) > 0
}

// bodyLength is the median length of the trunk plus that of the legs, as seen.
func (g *grid) bodyLength() float64 {
	var trunk, leg []float64
	for _, s := range g.each(shoulders, shoulders+1, hips, hips+1) {
		trunk = append(trunk, s.mid(shoulders).Sub(s.mid(hips)).Norm())
	}
	for _, s := range g.each(hips, hips+1, knees, knees+1, ankles, ankles+1) {
		sum := 0.0
		for side := range 2 {
			sum += s.distance(hips+side, knees+side) + s.distance(knees+side, ankles+side)
		}
		leg = append(leg, sum/2)
	}
	if len(trunk) == 0 {
		return 0
	}
	return max(1e-4, lowerMedian(trunk)+lowerMedian(leg))
}

// widest is the length of a line that 95 % of its samples stay below: what it
// measures when it turns through the plane of the picture.
func (g *grid) widest(k int) float64 {
	var d []float64
	for _, s := range g.each(k, k+1) {
		d = append(d, s.distance(k, k+1))
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return d[len(d)-1-int(0.05*float64(len(d)))]
}

// lowerMedian returns the median, of an even number the lower of the middle two; 0 of
// none.
func lowerMedian(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[(len(x)-1)/2]
}

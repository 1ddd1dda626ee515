package lift

import (
	"math"
	"sort"

	"plantframe/pipeline/swing"
)

// The grid of times that the network was trained on.
const (
	steps  = 100  // samples
	rate   = 50.0 // per second
	before = 1.5  // s, from the first sample to plant
	points = 20   // body points and bat's ends
	reach  = 0.06 // s; a point is there when a frame with it is no farther
)

// Places of points in a sample; the lead side's points precede the rear side's.
const (
	shoulders = 2
	hips      = 8
	knees     = 10
	ankles    = 12
)

// sample is one body at one time of the grid.
type sample struct {
	at    [points]swing.Point // units of the picture's longer side, from its middle, y down
	score [points]float64     // 0 = missing
	valid bool                // within the track
}

// grid is a swing on the time grid, as a right-handed hitter's.
type grid struct {
	samples [steps]sample
	first   float64 // s, time of the first sample
	stance  float64 // sample of the stance, fractional, within the valid ones
	fps     float64
}

// known is a point over the times at which it is known.
type known struct {
	times []float64
	at    []swing.Point
	score []float64
}

// newGrid samples the swing around plant. Points lie in the first frame's picture,
// so that a camera that turns along changes nothing. stance is a time, s.
func newGrid(sw *swing.Swing, plant, stance float64) *grid {
	t := &sw.Track
	g := &grid{first: plant - before}
	var all [points]known
	for i, at := range t.Times {
		move := func(p swing.Point) swing.Point { return p }
		if i < len(t.Steady) && t.Steady[i] != (swing.Similarity{}) {
			move = t.Steady[i].Apply
		}
		frame := pointsOf(sw, i)
		for k, p := range frame {
			if p.Score > 0 {
				all[k].times = append(all[k].times, at)
				all[k].at = append(all[k].at, g.place(sw, move(p.Point())))
				all[k].score = append(all[k].score, min(1, p.Score))
			}
		}
	}
	last := t.Times[t.Len()-1]
	valid := -1
	for i := range g.samples {
		s := &g.samples[i]
		now := g.first + float64(i)/rate
		if s.valid = now >= t.Times[0]-1e-9 && now <= last+1e-9; !s.valid {
			continue
		}
		if valid < 0 {
			valid = i
		}
		for k := range all {
			s.at[k], s.score[k] = all[k].sample(now)
		}
	}
	g.stance = min(steps-1, max(float64(max(0, valid)), (stance-g.first)*rate))
	g.fps = frameRate(t.Times)
	return g
}

// pointsOf returns the points of frame i in the network's order; a score of 0 marks
// what is missing. A bat's end has score 1.
func pointsOf(sw *swing.Swing, i int) (out [points]swing.TrackPoint) {
	p := &sw.Track.Points[i]
	get := func(j swing.Joint) swing.TrackPoint {
		q := p[j]
		if q.State == swing.Missing {
			return swing.TrackPoint{}
		}
		q.Score = max(q.Score, minScore)
		return q
	}
	lead, rear := sw.Bats.Lead(), sw.Bats.Rear()
	if a, b := get(swing.LeftEar), get(swing.RightEar); a.Score > 0 && b.Score > 0 {
		out[0] = swing.TrackPoint{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2, Score: max(minScore, (p[swing.LeftEar].Score+p[swing.RightEar].Score)/2)}
	}
	out[1] = get(swing.Nose)
	for k, pair := range [][2]swing.Joint{
		{lead.Shoulder, rear.Shoulder},
		{lead.Elbow, rear.Elbow},
		{lead.Wrist, rear.Wrist},
		{lead.Hip, rear.Hip},
		{lead.Knee, rear.Knee},
		{lead.Ankle, rear.Ankle},
		{lead.Heel, rear.Heel},
		{lead.BigToe, rear.BigToe},
	} {
		out[2+2*k], out[3+2*k] = get(pair[0]), get(pair[1])
	}
	if i < len(sw.Bat.Sights) && sw.Bat.Sights[i].Seen {
		b := &sw.Bat.Sights[i]
		out[18] = swing.TrackPoint{X: b.Knob.X, Y: b.Knob.Y, Score: 1}
		out[19] = swing.TrackPoint{X: b.Tip.X, Y: b.Tip.Y, Score: 1}
	}
	return out
}

// minScore is the least score of a point that is there, as in the training.
const minScore = 0.05

// place turns px into the network's units; left-handed hitters are mirrored.
func (g *grid) place(sw *swing.Swing, p swing.Point) swing.Point {
	w, h := float64(sw.Width), float64(sw.Height)
	if sw.Bats == swing.Left {
		p.X = w - p.X
	}
	return swing.Point{X: p.X - w/2, Y: p.Y - h/2}.Scale(1 / max(w, h))
}

// sample returns the point at time t between the frames next to it, and a score of 0
// when the nearest one with the point is too far.
func (k *known) sample(t float64) (swing.Point, float64) {
	n := len(k.times)
	if n < 2 {
		return swing.Point{}, 0
	}
	i := min(max(1, sort.SearchFloat64s(k.times, t)), n-1)
	a, b := k.times[i-1], k.times[i]
	if math.Min(math.Abs(t-a), math.Abs(t-b)) > reach {
		return swing.Point{}, 0
	}
	f := max(0, min(1, (t-a)/(b-a)))
	return k.at[i-1].Scale(1 - f).Add(k.at[i].Scale(f)), (1-f)*k.score[i-1] + f*k.score[i]
}

// frameRate returns frames per second by the median distance, at most 240, which
// the training went up to.
func frameRate(times []float64) float64 {
	d := make([]float64, 0, len(times))
	for i := 1; i < len(times); i++ {
		d = append(d, times[i]-times[i-1])
	}
	sort.Float64s(d)
	n := len(d)
	return min(240, 2/(d[(n-1)/2]+d[n/2]))
}

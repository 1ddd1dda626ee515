package pose

import (
	"fmt"
	"math"
)

// heatmapDecoder reads one map a point: the peak is the place, its value the
// score.
type heatmapDecoder struct {
	w, h   int     // cells
	sx, sy float64 // input px a cell
	logits bool
	refine Refine
	maps   []float32
}

func newHeatmapDecoder(n *Network, points int) (*heatmapDecoder, error) {
	s := n.Spec
	if s.MapWidth < 3 || s.MapHeight < 3 {
		return nil, fmt.Errorf("network %s: map size %dx%d is too small; give the cells of one heatmap", s.Name, s.MapWidth, s.MapHeight)
	}
	d := &heatmapDecoder{
		w: s.MapWidth, h: s.MapHeight, logits: s.Logits, refine: s.Refine,
		sx: float64(s.Width) / float64(s.MapWidth), sy: float64(s.Height) / float64(s.MapHeight),
	}
	switch s.Refine {
	case RefineNone, RefineQuarter, RefineTaylor:
	case "":
		d.refine = RefineQuarter
	default:
		return nil, fmt.Errorf("network %s: refine %q is not none, quarter or taylor", s.Name, s.Refine)
	}
	var err error
	d.maps, err = n.output("heatmap", points*d.w*d.h)
	return d, err
}

// decode fills r; the flag is the mean score.
func (d *heatmapDecoder) decode(r *reading) {
	r.flag = 0
	for k := range r.points {
		m := d.maps[k*d.w*d.h : (k+1)*d.w*d.h]
		at := argmax(m)
		i, j := at/d.w, at%d.w
		x, y := float64(j), float64(i)
		if i > 0 && j > 0 && i < d.h-1 && j < d.w-1 {
			dx, dy := d.shift(m, i, j)
			x, y = x+dx, y+dy
		}
		r.points[k] = point{x: x * d.sx, y: y * d.sy, score: score(float64(m[at]), d.logits)}
		r.flag += r.points[k].score / float64(len(r.points))
	}
}

// shift returns how far the peak lies from the middle of cell (i,j), cells.
// RefineQuarter: Newell et al. 2016 (stacked hourglass networks) section 3.
// RefineTaylor: Zhang et al. 2020 (distribution-aware coordinates) eq. 9,
// without their smoothing of the map; a step longer than a cell means that
// the map is no bump there, and is dropped.
func (d *heatmapDecoder) shift(m []float32, i, j int) (dx, dy float64) {
	v := func(di, dj int) float64 { return float64(m[(i+di)*d.w+j+dj]) }
	switch d.refine {
	case RefineQuarter:
		return 0.25 * sign(v(0, 1)-v(0, -1)), 0.25 * sign(v(1, 0)-v(-1, 0))
	case RefineTaylor:
		l := func(di, dj int) float64 { return math.Log(math.Max(score(v(di, dj), d.logits), 1e-10)) }
		gx, gy := (l(0, 1)-l(0, -1))/2, (l(1, 0)-l(-1, 0))/2
		hxx := l(0, 1) - 2*l(0, 0) + l(0, -1)
		hyy := l(1, 0) - 2*l(0, 0) + l(-1, 0)
		hxy := (l(1, 1) - l(1, -1) - l(-1, 1) + l(-1, -1)) / 4
		det := hxx*hyy - hxy*hxy
		if det <= 0 || hxx >= 0 {
			return 0, 0
		}
		dx, dy = -(hyy*gx-hxy*gy)/det, -(hxx*gy-hxy*gx)/det
		if math.Abs(dx) > 1 || math.Abs(dy) > 1 {
			return 0, 0
		}
		return dx, dy
	}
	return 0, 0
}

// argmax returns the index of the first largest value.
func argmax(m []float32) int {
	at := 0
	for i, v := range m {
		if v > m[at] {
			at = i
		}
	}
	return at
}

// score turns a network value into 0..1.
func score(v float64, logits bool) float64 {
	if logits {
		return sigmoid(v)
	}
	return math.Max(0, math.Min(1, v))
}

func sign(v float64) float64 {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

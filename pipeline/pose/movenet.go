package pose

import (
	"fmt"
	"math"
)

// moveNetStride is the number of input px a cell.
const moveNetStride = 4

// moveNetSpread is the constant of the distance weight: how far from the
// regressed place a heatmap peak may lie, cells. Source: the MoveNet graphs
// (1.8, stored there as half precision).
const moveNetSpread = 1.8

// moveNetDecoder reads the four heads of MoveNet single pose, each stored
// cell by cell.
type moveNetDecoder struct {
	w, h                             int // cells
	heatmap, centre, regress, offset []float32
}

func newMoveNetDecoder(n *Network) (*moveNetDecoder, error) {
	d := &moveNetDecoder{w: n.Spec.Width / moveNetStride, h: n.Spec.Height / moveNetStride}
	if n.Spec.Keypoints != "coco-17" {
		return nil, fmt.Errorf("network %s: decoder movenet needs keypoint set coco-17, not %q", n.Spec.Name, n.Spec.Keypoints)
	}
	cells := d.w * d.h
	var err error
	if d.heatmap, err = n.output("heatmap", cells*17); err != nil {
		return nil, err
	}
	if d.centre, err = n.output("centre", cells); err != nil {
		return nil, err
	}
	if d.regress, err = n.output("regress", cells*34); err != nil {
		return nil, err
	}
	d.offset, err = n.output("offset", cells*34)
	return d, err
}

// decode fills r: the person nearest the crop's middle, then for each joint
// the heatmap peak near the place regressed from that person's centre. The
// flag is the mean score.
func (d *moveNetDecoder) decode(r *reading) {
	at := d.peak(d.centre, 1, 0, float64(d.h)/2, float64(d.w)/2)
	cy, cx := float64(at/d.w), float64(at%d.w)
	r.flag = 0
	for j := range r.points {
		ry := cy + float64(d.regress[34*at+2*j])
		rx := cx + float64(d.regress[34*at+2*j+1])
		k := d.peak(d.heatmap, 17, j, ry, rx)
		p := point{
			x:     (float64(k%d.w) + float64(d.offset[34*k+2*j+1])) * moveNetStride,
			y:     (float64(k/d.w) + float64(d.offset[34*k+2*j])) * moveNetStride,
			score: sigmoid(float64(d.heatmap[17*k+j])),
		}
		r.points[j] = p
		r.flag += p.score / float64(len(r.points))
	}
}

// peak returns the cell with the largest sigmoid(logit)/(distance to (y,x) +
// spread) of channel c of a map with n channels.
func (d *moveNetDecoder) peak(m []float32, n, c int, y, x float64) int {
	best, at := math.Inf(-1), 0
	for i := range d.h {
		dy := float64(i) - y
		for j := range d.w {
			logit := float64(m[(i*d.w+j)*n+c])
			dx := float64(j) - x
			weight := 1 / (math.Sqrt(dy*dy+dx*dx) + moveNetSpread)
			if weight <= best { // a sigmoid is at most 1: most cells need no exponential
				continue
			}
			if s := sigmoid(logit) * weight; s > best {
				best, at = s, i*d.w+j
			}
		}
	}
	return at
}

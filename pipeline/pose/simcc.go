package pose

import (
	"fmt"
	"math"
)

// simccDecoder reads two vectors a point, one an axis; a place is the peak's
// bin divided by the bins a px. Source: Li et al. 2022, "SimCC". The score is
// the lower of the two peaks.
type simccDecoder struct {
	nx, ny int
	split  float64
	logits bool
	x, y   []float32
}

func newSimCCDecoder(n *Network, points int) (*simccDecoder, error) {
	s := n.Spec
	if !(s.Split > 0) || s.Split > 16 {
		return nil, fmt.Errorf("network %s: split is %g, simcc needs the number of bins per px, such as 2", s.Name, s.Split)
	}
	d := &simccDecoder{
		nx: int(math.Round(float64(s.Width) * s.Split)), ny: int(math.Round(float64(s.Height) * s.Split)),
		split: s.Split, logits: s.Logits,
	}
	var err error
	if d.x, err = n.output("x", points*d.nx); err != nil {
		return nil, err
	}
	d.y, err = n.output("y", points*d.ny)
	return d, err
}

// decode fills r; the flag is the mean score.
func (d *simccDecoder) decode(r *reading) {
	r.flag = 0
	for k := range r.points {
		vx, vy := d.x[k*d.nx:(k+1)*d.nx], d.y[k*d.ny:(k+1)*d.ny]
		ix, iy := argmax(vx), argmax(vy)
		r.points[k] = point{
			x: float64(ix) / d.split, y: float64(iy) / d.split,
			score: score(math.Min(float64(vx[ix]), float64(vy[iy])), d.logits),
		}
		r.flag += r.points[k].score / float64(len(r.points))
	}
}

package spot

import (
	"fmt"
	"math"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

// Place is one place that a point may have.
type Place struct {
	At    swing.Point `json:"at"`       // px of the picture
	Sigma float64     `json:"sigma_px"` // one-sigma error along one axis if the point is here, px
	Mass  float64     `json:"mass"`     // probability that the point is here, 0..1
}

// Found is what a look says of one point.
type Found struct {
	Peaks  []Place `json:"peaks"`  // by falling mass; at least one, at most MaxPeaks
	Absent float64 `json:"absent"` // probability that the point is not in the picture, 0..1
}

// Best returns the likeliest place.
func (f Found) Best() Place { return f.Peaks[0] }

const (
	// MaxPeaks is the number of places kept for a point.
	MaxPeaks = 3
	// minMass is the probability under which a further place is not kept.
	minMass = 0.02
	// near is how many cells round a peak belong to it: the network is taught
	// with a bell of 0.8 cells, 2 cells hold it.
	near = 2
	// laplace turns the scale b of a two-dimensional Laplace error, whose
	// density falls as exp(-r/b), into the standard deviation along one axis:
	// E[r^2] = 6 b^2, shared by two axes.
	laplace = 1.7320508
)

// Finder runs one network. It owns buffers and must not be used by two
// goroutines at once.
type Finder struct {
	net     *Network
	sampler *pixel.Sampler
	left    []float32 // heat that no peak has taken yet
	runs    int
}

// New checks that n fits its description.
//
// Errors: KindModel.
func New(n *Network) (*Finder, error) {
	err := n.check()
	var s *pixel.Sampler
	if err == nil {
		s, err = pixel.NewSampler(n.Format)
	}
	if err == nil && len(n.Input()) != s.Len() {
		err = fmt.Errorf("network %s: the input has %d values, its picture %d", n.Name, len(n.Input()), s.Len())
	}
	if err != nil {
		return nil, &swing.Error{
			Op: "spot.New", Frame: -1, Kind: swing.KindModel, Msg: "a network for points cannot be used",
			Hint: "install the models again", Err: err,
		}
	}
	return &Finder{net: n, sampler: s, left: make([]float32, n.Rows*n.Columns)}, nil
}

// Runs returns how often the network has run, and its name.
func (f *Finder) Runs() (string, int) { return f.net.Name, f.runs }

// Points returns the names of the points in the order of Look's answers.
func (f *Finder) Points() []string { return f.net.Points }

// Look finds the points in the upright square of half side half px round
// centre. The answers, one per point, are appended to out.
//
// Errors: KindModel (the network did not run).
func (f *Finder) Look(fr swing.Frame, centre swing.Point, half float64, out []Found) ([]Found, error) {
	to := f.sampler.Crop(fr, pixel.Square(centre, 2*half, 0), f.net.Input())
	if err := f.net.Run(); err != nil {
		return out, &swing.Error{
			Op: "spot.Look", Frame: fr.Index, Kind: swing.KindModel, Msg: "a network did not run",
			Hint: "install the models again; if that does not help, free some memory", Err: err,
		}
	}
	f.runs++
	absent := f.net.Output("absent")
	for k := range f.net.Points {
		out = append(out, Found{Peaks: f.peaks(k, to), Absent: float64(absent[k])})
	}
	return out, nil
}

// peaks lists the places of point k.
func (f *Finder) peaks(k int, to pixel.Affine) []Place {
	rows, cols := f.net.Rows, f.net.Columns
	cells := rows * cols
	copy(f.left, f.net.Output("heat")[k*cells:(k+1)*cells])
	place := f.net.Output("place")[3*k*cells : 3*(k+1)*cells]
	// A cell in crop px, a crop px in picture px.
	cw, ch := float64(f.net.Format.Width)/float64(cols), float64(f.net.Format.Height)/float64(rows)
	px := math.Sqrt(math.Abs(to.XU*to.YV - to.XV*to.YU))
	var out []Place
	for len(out) < MaxPeaks {
		top := 0
		for i, v := range f.left {
			if v > f.left[top] {
				top = i
			}
		}
		var w, x, y, logb float64
		for r := max(0, top/cols-near); r <= min(rows-1, top/cols+near); r++ {
			for c := max(0, top%cols-near); c <= min(cols-1, top%cols+near); c++ {
				i := r*cols + c
				v := float64(f.left[i])
				w += v
				x += v * (float64(c) + float64(place[i]))
				y += v * (float64(r) + float64(place[cells+i]))
				logb += v * float64(place[2*cells+i])
				f.left[i] = 0
			}
		}
		if w <= 0 || len(out) > 0 && w < minMass {
			break
		}
		u, v := (x/w+0.5)*cw, (y/w+0.5)*ch
		b := math.Exp(math.Max(-5, math.Min(3, logb/w))) * math.Sqrt(cw*ch)
		out = append(out, Place{At: to.Apply(u, v), Sigma: laplace * b * px, Mass: math.Min(1, w)})
	}
	if len(out) == 0 {
		w, h := float64(f.net.Format.Width), float64(f.net.Format.Height)
		out = append(out, Place{At: to.Apply(w/2, h/2), Sigma: w * px}) // a map of zeros: anywhere
	}
	return out
}

package pose

import "math"

// Sizes of the BlazePose landmark network.
const (
	blazePoints = 39
	blazeValues = 5  // x, y, z, visibility logit, presence logit
	blazeMap    = 64 // cells of a heatmap side
	blazeWindow = 3  // cells left and right of the middle of a refinement window
	blazePeak   = 0.5
)

// blazeDecoder reads BlazePose landmarks. Source of the formulas: MediaPipe's
// pose landmark graphs (TensorsToLandmarks, RefineLandmarksFromHeatmap) and
// the constants of @tensorflow-models/pose-detection (Apache-2.0).
type blazeDecoder struct {
	size                     float64 // input side, px
	landmarks, flag, heatmap []float32
}

func newBlazeDecoder(n *Network) (*blazeDecoder, error) {
	d := &blazeDecoder{size: float64(n.Spec.Width)}
	var err error
	if d.landmarks, err = n.output("landmarks", blazePoints*blazeValues); err != nil {
		return nil, err
	}
	if d.flag, err = n.output("flag", 1); err != nil {
		return nil, err
	}
	d.heatmap, err = n.output("heatmap", blazeMap*blazeMap*blazePoints)
	return d, err
}

// decode fills r. The flag already has its sigmoid; heatmaps are logits.
func (d *blazeDecoder) decode(r *reading) {
	r.flag = float64(d.flag[0])
	for k := range r.points {
		v := d.landmarks[k*blazeValues:]
		p := point{
			x: float64(v[0]), y: float64(v[1]),
			score: sigmoid(float64(v[3])) * sigmoid(float64(v[4])),
		}
		p.x, p.y = d.refine(k, p.x, p.y)
		r.points[k] = p
	}
}

// refine moves a point to the centre of mass of its heatmap in a 7x7 window
// round the cell of the regressed place, if the map is sure enough there. It
// lowers the mean error by a fifth.
func (d *blazeDecoder) refine(k int, x, y float64) (float64, float64) {
	cell := d.size / blazeMap
	col, row := int(x/cell), int(y/cell) // truncation toward zero, as in the source
	if col < 0 || row < 0 || col >= blazeMap || row >= blazeMap || math.IsNaN(x+y) {
		return x, y
	}
	var sum, sx, sy, peak float64
	for i := max(0, row-blazeWindow); i <= min(blazeMap-1, row+blazeWindow); i++ {
		for j := max(0, col-blazeWindow); j <= min(blazeMap-1, col+blazeWindow); j++ {
			p := sigmoid(float64(d.heatmap[(i*blazeMap+j)*blazePoints+k]))
			sum += p
			sx += p * float64(j)
			sy += p * float64(i)
			peak = math.Max(peak, p)
		}
	}
	if peak < blazePeak {
		return x, y
	}
	return cell * sx / sum, cell * sy / sum
}

// sigmoid is 1/(1+exp(-x)); it is 0 or 1 far out and NaN for NaN.
func sigmoid(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

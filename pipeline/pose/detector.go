package pose

import (
	"cmp"
	"math"
	"slices"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

// detection is one person or thing found in a picture, picture px.
type detection struct {
	box   swing.Box
	score float64
	class int // COCO index; 0 = person
	// hip and radius are the middle of the hips and the radius of the
	// circle round the whole body; up is the direction of the body's axis.
	hip, up swing.Point
	radius  float64
}

// detector finds people in a whole picture.
type detector interface {
	// detect appends people to out, best first; its memory is reused.
	detect(f swing.Frame, out []detection) ([]detection, error)
}

// Settings of the pose detector. Source: MediaPipe's pose detection graph and
// @tensorflow-models/pose-detection (Apache-2.0).
const (
	detInput    = 224
	detMinScore = 0.5
	detOverlap  = 0.3
	detValues   = 12 // box (4), then 4 points
	detClip     = 100
)

// poseDetector reads the BlazePose person detector.
type poseDetector struct {
	run           *runner
	anchors       []swing.Point
	boxes, scores []float32
	found         []raw
}

// raw is a detection in input fractions: box centre and size, four points.
type raw struct {
	score float64
	v     [detValues]float64
}

func newPoseDetector(r *runner) (*poseDetector, error) {
	d := &poseDetector{run: r, anchors: anchors()}
	var err error
	if d.boxes, err = r.output("boxes", len(d.anchors)*detValues); err != nil {
		return nil, err
	}
	d.scores, err = r.output("scores", len(d.anchors))
	return d, err
}

// anchors returns the centres of the detector's anchors, fractions of the
// input: 2 a cell at stride 8, 2 at stride 16, 6 at stride 32 (three layers
// of 2), rows first. Their size is fixed at 1.
func anchors() []swing.Point {
	var a []swing.Point
	for _, layer := range []struct{ stride, per int }{{8, 2}, {16, 2}, {32, 6}} {
		n := detInput / layer.stride
		for y := range n {
			for x := range n {
				p := swing.Point{X: (float64(x) + 0.5) / float64(n), Y: (float64(y) + 0.5) / float64(n)}
				for range layer.per {
					a = append(a, p)
				}
			}
		}
	}
	return a
}

func (d *poseDetector) detect(f swing.Frame, out []detection) ([]detection, error) {
	to := d.run.sampler.Crop(f, pixel.Fit(f.Width, f.Height, detInput, detInput), d.run.Input())
	d.run.runs++
	if err := d.run.Run(); err != nil {
		return out, err
	}
	d.decode()
	first := len(out)
	for i := range d.found {
		v := &d.found[i].v
		at := func(k int) swing.Point { return to.Apply(v[k]*detInput, v[k+1]*detInput) }
		hip, edge := at(4), at(6)
		up := edge.Sub(hip)
		r := up.Norm()
		if !(r > 1) { // also not a number
			continue
		}
		out = append(out, detection{
			score: d.found[i].score, hip: hip, up: up.Scale(1 / r), radius: r,
			// Standing people are about a third as wide as tall.
			box: swing.Box{X0: hip.X - r/2, Y0: hip.Y - r, X1: hip.X + r/2, Y1: hip.Y + r},
		})
	}
	slices.SortStableFunc(out[first:], func(a, b detection) int { return cmp.Compare(b.score, a.score) })
	return out, nil
}

// decode fills found with the merged detections of the last run.
func (d *poseDetector) decode() {
	d.found = d.found[:0]
	for i, logit := range d.scores {
		s := sigmoid(math.Max(-detClip, math.Min(detClip, float64(logit))))
		if !(s >= detMinScore) {
			continue
		}
		c := raw{score: s}
		for k := range detValues {
			c.v[k] = float64(d.boxes[i*detValues+k]) / detInput
		}
		a := d.anchors[i]
		for k := 0; k < detValues; k += 2 {
			if k != 2 { // all but width and height are relative to the anchor
				c.v[k] += a.X
				c.v[k+1] += a.Y
			}
		}
		d.found = append(d.found, c)
	}
	d.found = mergeOverlapping(d.found)
}

// mergeOverlapping is weighted non-maximum suppression: the best detection and
// all that overlap it become their score-weighted mean, under the best score;
// then the next best of the rest. It works in place.
func mergeOverlapping(in []raw) []raw {
	slices.SortStableFunc(in, func(a, b raw) int { return cmp.Compare(b.score, a.score) })
	kept := 0
	for rest := in; len(rest) > 0; kept++ {
		best := rest[0]
		var sum raw
		left := 0
		for i, c := range rest {
			if i > 0 && !(overlap(best.box(), c.box()) > detOverlap) {
				rest[left] = c
				left++
				continue
			}
			sum.score += c.score
			for k := range c.v {
				sum.v[k] += c.score * c.v[k]
			}
		}
		for k := range sum.v {
			sum.v[k] /= sum.score
		}
		sum.score = best.score
		// The merged one takes the place after those already kept; what is
		// left moves up behind it.
		copy(in[kept+1:], rest[:left])
		in[kept] = sum
		rest = in[kept+1 : kept+1+left]
	}
	return in[:kept]
}

func (r *raw) box() swing.Box {
	return swing.Box{X0: r.v[0] - r.v[2]/2, Y0: r.v[1] - r.v[3]/2, X1: r.v[0] + r.v[2]/2, Y1: r.v[1] + r.v[3]/2}
}

// overlap returns intersection over union of two boxes, 0 when they are apart.
func overlap(a, b swing.Box) float64 {
	w := math.Min(a.X1, b.X1) - math.Max(a.X0, b.X0)
	h := math.Min(a.Y1, b.Y1) - math.Max(a.Y0, b.Y0)
	if w <= 0 || h <= 0 {
		return 0
	}
	both := w * h
	return both / ((a.X1-a.X0)*(a.Y1-a.Y0) + (b.X1-b.X0)*(b.Y1-b.Y0) - both)
}

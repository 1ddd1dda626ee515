package pose

import (
	"errors"
	"fmt"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/spot"
)

// Session is a loaded network with one picture input and fixed buffers. Calls
// must not overlap. The stage writes the input in place, calls Run, which
// blocks, and reads outputs in place; nothing is allocated.
type Session interface {
	// Input returns the input tensor, batch 1, of 3*Width*Height floats.
	Input() []float32
	// Run computes all outputs from the input.
	Run() error
	// Output returns the output tensor of a name, nil for an unknown name.
	// The slice is the same after every Run.
	Output(name string) []float32
}

// Layout is the order of an input's axes, "nhwc" or "nchw".
type Layout = pixel.Layout

// Colour is the order of an input's colours, "rgb" or "bgr".
type Colour = pixel.Order

// Decoder names how a network's outputs become points or boxes.
type Decoder string

// Decoders. The roles of their outputs are listed at Spec.Outputs.
const (
	BlazePose    Decoder = "blazepose"          // 39 points with a heatmap to refine them and a person flag
	MoveNet      Decoder = "movenet"            // centre, regression, offsets and heatmap of one person
	Heatmap      Decoder = "heatmap"            // one map a point
	SimCC        Decoder = "simcc"              // two vectors a point, one an axis
	PoseDetector Decoder = "blazepose-detector" // people as circles round the body
	NanoDet      Decoder = "nanodet"            // boxes of 80 COCO classes
)

// Refine names how a heatmap's peak is placed between cells.
type Refine string

// Refinements of a peak.
const (
	RefineNone    Refine = "none"
	RefineQuarter Refine = "quarter" // a quarter cell toward the higher neighbour
	RefineTaylor  Refine = "taylor"  // second-order step on the logarithm of the map
)

// Spec says what a network expects and gives.
type Spec struct {
	Name          string  // id, for messages and run counts
	Decoder       Decoder // see the constants
	Width, Height int     // input, px
	Layout        Layout
	Colour        Colour
	// Mean and Std, in Colour order, turn a byte p into (p-Mean)/Std.
	Mean, Std [3]float64
	// Keypoints is the point set: "blazepose-39", "coco-17" or "custom".
	// Detectors have none.
	Keypoints string
	// Names lists the points of a custom set in network order. Names of the
	// vocabulary (such as "left_big_toe") and "left_pinky", "left_index",
	// "left_thumb" (and right) are used; others are ignored.
	Names []string
	// Outputs maps an output's role to its tensor name. A role that is left
	// out has the tensor name of the role itself. Roles by decoder:
	//   blazepose      landmarks [195], flag [1], heatmap [64,64,39]
	//   movenet        heatmap [h,w,17], centre [h,w,1], regress [h,w,34], offset [h,w,34]; h = Height/4
	//   heatmap        heatmap [K,MapHeight,MapWidth]
	//   simcc          x [K,Width*Split], y [K,Height*Split]
	//   blazepose-detector  boxes [2254,12], scores [2254]
	//   nanodet        scores8, scores16, scores32 [n,80]; boxes8, boxes16, boxes32 [n,44]
	Outputs map[string]string
	// MapWidth and MapHeight are the cells of one map (heatmap only).
	MapWidth, MapHeight int
	// Split is the number of vector bins per input px (simcc only).
	Split float64
	// Logits is true when map or vector values still need a sigmoid to be a
	// score in 0..1 (heatmap, simcc).
	Logits bool
	// Refine places a heatmap's peak; "" = RefineQuarter.
	Refine Refine
	// MinScore is the mean score below which a crop counts as holding no
	// person; 0 = the decoder's own (blazepose 0.5, others 0.25).
	MinScore float64
}

// Network is a session with its description.
type Network struct {
	Session
	Spec Spec
}

// Networks are the networks of one Estimator.
type Networks struct {
	Detector  *Network // finds people: blazepose-detector or nanodet; needed
	Landmarks *Network // points of the followed hitter; needed
	Scan      *Network // cheaper points for coarse passes; nil = Landmarks
	Objects   *Network // nanodet, finds further people and who holds a bat; nil = goes without
	// Feet gives ankles, heels and big toes of the followed hitter more
	// exactly; nil = goes without.
	Feet *spot.Network
	// More are further sessions of Landmarks and Feet that run at the same
	// time, up to AtOnce-1 are used; none = one frame after another. They
	// change no answer.
	More []Lane
}

// output returns the tensor of a role after checking its length.
func (n *Network) output(role string, length int) ([]float32, error) {
	name := role
	if s, ok := n.Spec.Outputs[role]; ok {
		name = s
	}
	out := n.Output(name)
	if len(out) != length {
		return nil, fmt.Errorf("network %s: output %q (%s) has %d values, decoder %s needs %d", n.Spec.Name, name, role, len(out), n.Spec.Decoder, length)
	}
	return out, nil
}

// runner cuts a crop, runs a network and counts.
type runner struct {
	*Network
	sampler *pixel.Sampler
	runs    int
}

var errNoNetwork = errors.New("no network given")

// newRunner prepares n; centre is pixel.Format.Centre.
func newRunner(n *Network, centre float64) (*runner, error) {
	if n == nil || n.Session == nil {
		return nil, errNoNetwork
	}
	s := n.Spec
	sampler, err := pixel.NewSampler(pixel.Format{
		Width: s.Width, Height: s.Height, Layout: s.Layout, Order: s.Colour, Mean: s.Mean, Std: s.Std, Centre: centre,
	})
	if err != nil {
		return nil, fmt.Errorf("network %s: %w", s.Name, err)
	}
	if got := len(n.Input()); got != sampler.Len() {
		return nil, fmt.Errorf("network %s: the input has %d values, a %dx%d picture has %d", s.Name, got, s.Width, s.Height, sampler.Len())
	}
	return &runner{Network: n, sampler: sampler}, nil
}

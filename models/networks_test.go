package models_test

import (
	"iter"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/models"
	"plantframe/pipeline/pixel"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/swing"
)

// Networks of a user's own, from manifest file to body points: the tiny networks of testdata/networks recognize bodies
// drawn as coloured discs, so the true points are known.

// marker is a point of the drawn body by BlazePose index, in torso lengths from the middle of the hips, y down; the
// body's left is at larger x.
func markerBody() [33]swing.Point {
	var b [33]swing.Point
	pair := func(left, right int, x, y float64) {
		b[left], b[right] = swing.Point{X: x, Y: y}, swing.Point{X: -x, Y: y}
	}
	b[0] = swing.Point{Y: -1.6}
	pair(1, 4, .12, -1.78)
	pair(2, 5, .3, -1.85)
	pair(3, 6, .48, -1.78)
	pair(7, 8, .6, -1.55)
	pair(9, 10, .2, -1.38)
	pair(11, 12, .35, -1)
	pair(13, 14, .75, -.7)
	pair(15, 16, .95, -.25)
	pair(17, 18, 1.2, -.1)
	pair(19, 20, 1.1, .1)
	pair(21, 22, .8, 0)
	pair(23, 24, .25, 0)
	pair(25, 26, .3, .9)
	pair(27, 28, .35, 1.75)
	pair(29, 30, .2, 2)
	pair(31, 32, .6, 2)
	return b
}

// markerColour is the colour of a marker: the colours with channels 0, 64, 128, 192, 255 of which one is 255, counted
// up with blue fastest (testdata/networks/README.md).
func markerColour(index int) [3]byte {
	levels := []byte{0, 64, 128, 192, 255}
	for _, r := range levels {
		for _, g := range levels {
			for _, b := range levels {
				if max(r, g, b) == 255 {
					if index == 0 {
						return [3]byte{r, g, b}
					}
					index--
				}
			}
		}
	}
	panic("no such marker")
}

// place is where the body stands in one frame.
type place struct {
	hip        swing.Point // px
	torso, rot float64     // px, radians
}

// truth returns the points of the body in the picture.
func (p place) truth() [33]swing.Point {
	b := markerBody()
	sin, cos := math.Sincos(p.rot)
	for i, q := range b {
		b[i] = swing.Point{X: p.hip.X + p.torso*(cos*q.X-sin*q.Y), Y: p.hip.Y + p.torso*(sin*q.X+cos*q.Y)}
	}
	return b
}

// draw makes a black frame with the body's markers.
func (p place) draw(index, w, h int) swing.Frame {
	f := swing.Frame{Index: index, Time: float64(index) / 30, Width: w, Height: h, Pix: make([]byte, 3*w*h)}
	radius := .085 * p.torso
	for i, c := range p.truth() {
		colour := markerColour(i)
		for y := max(0, int(c.Y-radius)); y <= min(h-1, int(c.Y+radius)); y++ {
			for x := max(0, int(c.X-radius)); x <= min(w-1, int(c.X+radius)); x++ {
				if math.Hypot(float64(x)+.5-c.X, float64(y)+.5-c.Y) <= radius {
					at := 3 * (y*w + x)
					f.Pix[at], f.Pix[at+1], f.Pix[at+2] = colour[2], colour[1], colour[0]
				}
			}
		}
	}
	return f
}

// walk is a body that moves, grows and leans.
func walk() []place {
	var all []place
	for i := range 8 {
		k := float64(i)
		all = append(all, place{
			hip: swing.Point{X: 330.3 + 7.7*k, Y: 362.6 - 4.1*k}, torso: 120 + 2.5*k, rot: (k - 3) * 0.04,
		})
	}
	return all
}

func networkStore(t *testing.T) models.Store {
	t.Helper()
	dir, err := models.DefaultDir()
	if err != nil {
		t.Fatal(err)
	}
	return models.NewStore(dir)
}

// openNetwork opens a manifest file and says what the pose stage wants to know of it.
func openNetwork(t *testing.T, file string) *pose.Network {
	t.Helper()
	m, err := models.Find(file)
	if err != nil {
		t.Fatal(err)
	}
	s, err := networkStore(t).Open(m, models.DefaultSessionOptions())
	if err != nil {
		t.Fatalf("%v\nthis test needs ONNX Runtime: run scripts/test, or plantframe models install once", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	spec := pose.Spec{
		Name: m.ID, Decoder: pose.Decoder(m.Decoder), Width: m.Input.Width, Height: m.Input.Height,
		Layout: pixel.Layout(m.Input.Layout), Colour: pixel.Order(m.Input.Colour), Keypoints: m.Keypoints,
		Split: m.Params["split"], Outputs: map[string]string{},
	}
	for i := range 3 {
		spec.Mean[i], spec.Std[i] = float64(m.Input.Mean[i]), float64(m.Input.Std[i])
	}
	for _, o := range m.Outputs {
		spec.Outputs[o.Name] = o.Name
		if spec.Decoder == pose.Heatmap {
			spec.MapHeight, spec.MapWidth = int(o.Shape[2]), int(o.Shape[3])
		}
	}
	return &pose.Network{Session: s, Spec: spec}
}

// follow runs a landmark network behind the tiny detector on frames of the walking body.
func follow(t *testing.T, landmarks *pose.Network) ([]swing.Pose, error) {
	t.Helper()
	o := pose.DefaultOptions()
	o.JointCentres = false // the markers are the points themselves
	e, err := pose.New(pose.Networks{
		Detector: openNetwork(t, filepath.Join("..", "testdata", "networks", "detector.yaml")), Landmarks: landmarks,
	}, o)
	if err != nil {
		return nil, err
	}
	var frames iter.Seq2[swing.Frame, error] = func(yield func(swing.Frame, error) bool) {
		for i, p := range walk() {
			if !yield(p.draw(i, 720, 640), nil) {
				return
			}
		}
	}
	poses, _, err := e.Follow(t.Context(), frames, pose.Seed{}, pose.Each{})
	return poses, err
}

// cocoMarkers lists the BlazePose index of each COCO point, which are the first points of the vocabulary.
func cocoMarkers() []int {
	return []int{0, 2, 5, 7, 8, 11, 12, 13, 14, 15, 16, 23, 24, 25, 26, 27, 28}
}

func TestNetworksOfTheUsersOwn(t *testing.T) {
	for name, tt := range map[string]struct {
		worst float64 // px of the network's input, any point in any frame
		bias  float64 // the same, mean over everything: a shift by half a cell or px would show
		feet  bool
	}{
		"blazepose": {worst: .5, bias: .05, feet: true},
		"movenet":   {worst: .5, bias: .05},
		// Bins are 0.5 px apart, and the edge of a disc is rough by as much.
		"simcc": {worst: .85, bias: .1},
		// A quarter-cell rule can be a quarter of a 4 px cell off, in x and in y.
		"heatmap": {worst: 1.45, bias: .15},
	} {
		t.Run(name, func(t *testing.T) {
			n := openNetwork(t, filepath.Join("..", "testdata", "networks", name+".yaml"))
			poses, err := follow(t, n)
			if err != nil {
				t.Fatal(err)
			}
			if len(poses) != len(walk()) {
				t.Fatalf("%d poses for %d frames", len(poses), len(walk()))
			}
			var worst float64
			var sum swing.Point
			count := 0
			for i, p := range poses {
				if !p.Found || p.Score < .6 {
					t.Fatalf("frame %d: found %v, score %v", i, p.Found, p.Score)
				}
				body := walk()[i]
				truth := body.truth()
				// A crop spans 4.8 torsos at most; its px are those of the input.
				unit := 4.8 * body.torso / float64(n.Spec.Height)
				near := func(j swing.Joint, want swing.Point) {
					d := p.Points[j].Point().Sub(want).Scale(1 / unit)
					if !(d.Norm() <= tt.worst) {
						t.Errorf("frame %d: %v is %.2f, %.2f px off (picture %.1f, %.1f, want %.1f, %.1f)",
							i, j, d.X, d.Y, p.Points[j].X, p.Points[j].Y, want.X, want.Y)
					}
					worst = max(worst, d.Norm())
					sum, count = sum.Add(d), count+1
					if p.Points[j].Score < .5 {
						t.Errorf("frame %d: %v has score %v", i, j, p.Points[j].Score)
					}
				}
				for j, marker := range cocoMarkers() {
					near(swing.Joint(j), truth[marker])
				}
				if tt.feet {
					near(swing.LeftHeel, truth[29])
					near(swing.RightHeel, truth[30])
					near(swing.LeftBigToe, truth[31])
					near(swing.RightBigToe, truth[32])
					hand := truth[15].Add(truth[17]).Add(truth[19]).Add(truth[21]).Scale(.25)
					near(swing.LeftHand, hand)
				}
			}
			bias := sum.Scale(1 / float64(count))
			if bias.Norm() > tt.bias {
				t.Errorf("mean error %.3f, %.3f px of the input, want at most %v", bias.X, bias.Y, tt.bias)
			}
			t.Logf("worst %.2f px of the input, mean %.3f, %.3f", worst, bias.X, bias.Y)
		})
	}
}

// edited copies a tiny network with a changed manifest.
func edited(t *testing.T, name, from, to string) string {
	t.Helper()
	source := filepath.Join("..", "testdata", "networks")
	b, err := os.ReadFile(filepath.Join(source, name+".onnx"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(source, name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), from) {
		t.Fatalf("%s.yaml does not hold %q", name, from)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, name+".onnx"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, name+".yaml")
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), from, to, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// A manifest that describes the picture wrongly must change the answer, or the tests above would prove nothing.
func TestWrongPictureDescriptionShows(t *testing.T) {
	for name, tt := range map[string]struct{ network, from, to string }{
		"colour order": {"heatmap", "colour: bgr", "colour: rgb"},
		"mean":         {"simcc", "mean: [123.675", "mean: [0"},
		"range":        {"movenet", "std: [1, 1, 1]", "std: [255, 255, 255]"},
		"no range":     {"blazepose", "std: [255, 255, 255]", "std: [1, 1, 1]"},
	} {
		t.Run(name, func(t *testing.T) {
			poses, err := follow(t, openNetwork(t, edited(t, tt.network, tt.from, tt.to)))
			if err != nil {
				t.Fatal(err)
			}
			right, all := 0, 0
			for i, p := range poses {
				truth := walk()[i].truth()
				for j, marker := range cocoMarkers() {
					all++
					if p.Found && p.Points[j].Point().Sub(truth[marker]).Norm() < .1*walk()[i].torso {
						right++
					}
				}
			}
			if right > all/2 {
				t.Errorf("%d of %d points are right in spite of it", right, all)
			}
		})
	}
}

func TestManifestThatDoesNotFitIsRefused(t *testing.T) {
	for name, tt := range map[string]struct{ network, from, to, want string }{
		"checksum":     {"simcc", "sha256: ", "sha256: 00", "sha256"},
		"other file":   {"simcc", "path: simcc.onnx", "path: heatmap.onnx", "not there"},
		"input name":   {"simcc", "name: input", "name: picture", "does not fit"},
		"input size":   {"simcc", "width: 192", "width: 193", "does not fit"},
		"layout":       {"simcc", "layout: nchw", "layout: nhwc", "does not fit"},
		"output name":  {"heatmap", "tensor: maps", "tensor: map", "does not fit"},
		"output shape": {"heatmap", "[1, 17, 64, 48]", "[1, 17, 48, 64]", "does not fit"},
	} {
		t.Run(name, func(t *testing.T) {
			m, err := models.Find(edited(t, tt.network, tt.from, tt.to))
			if err == nil {
				var s *models.Session
				if s, err = networkStore(t).Open(m, models.DefaultSessionOptions()); err == nil {
					_ = s.Close()
					t.Fatal("want an error")
				}
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %q does not say %q", err, tt.want)
			}
		})
	}
	for name, tt := range map[string]struct{ network, from, to string }{
		"decoder":      {"movenet", "decoder: movenet", "decoder: blazepose"},
		"no decoder":   {"movenet", "decoder: movenet", "decoder: other"},
		"split":        {"simcc", "split: 2", "split: 4"},
		"no split":     {"simcc", "params: {split: 2}", "params: {}"},
		"keypoints":    {"heatmap", "keypoints: coco-17", "keypoints: blazepose-39"},
		"no keypoints": {"heatmap", "keypoints: coco-17", "keypoints: other"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := follow(t, openNetwork(t, edited(t, tt.network, tt.from, tt.to)))
			if e, ok := err.(*swing.Error); !ok || e.Kind != swing.KindModel {
				t.Errorf("error %v, want one of kind model", err)
			}
		})
	}
}

package pose

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Body points that some networks have and the vocabulary has not: they enter
// the middle of the hand.
const (
	leftPinky = swing.Joint(swing.NumPoints) + iota
	rightPinky
	leftIndex
	rightIndex
	leftThumb
	rightThumb
	numKnown // counts vocabulary points and the six above
	unused   = swing.Joint(-1)
)

// The alignment points of BlazePose, network indexes: the middle of the hips
// and a point on the circle round the whole body.
const (
	alignCentre = 33
	alignCircle = 34
)

// blazePose39 is BlazePose's order: 33 body points (eye corners and mouth are
// not used), two alignment points, four auxiliary points.
func blazePose39() []swing.Joint {
	t := make([]swing.Joint, 39)
	for i := range t {
		t[i] = unused
	}
	copy(t, []swing.Joint{
		swing.Nose, unused, swing.LeftEye, unused, unused, swing.RightEye, unused, swing.LeftEar, swing.RightEar, unused, unused,
		swing.LeftShoulder, swing.RightShoulder, swing.LeftElbow, swing.RightElbow, swing.LeftWrist, swing.RightWrist,
		leftPinky, rightPinky, leftIndex, rightIndex, leftThumb, rightThumb,
		swing.LeftHip, swing.RightHip, swing.LeftKnee, swing.RightKnee, swing.LeftAnkle, swing.RightAnkle,
		swing.LeftHeel, swing.RightHeel, swing.LeftBigToe, swing.RightBigToe,
	})
	return t
}

// coco17 is the COCO order, which is the vocabulary's own.
func coco17() []swing.Joint {
	t := make([]swing.Joint, 17)
	for i := range t {
		t[i] = swing.Joint(i)
	}
	return t
}

// keypointSet returns the joint of each network point.
func keypointSet(s Spec) ([]swing.Joint, error) {
	switch s.Keypoints {
	case "blazepose-39", "blazepose-33":
		return blazePose39(), nil
	case "coco-17":
		return coco17(), nil
	case "custom":
		return customSet(s)
	}
	return nil, fmt.Errorf("network %s: keypoint set %q is not blazepose-39, coco-17 or custom", s.Name, s.Keypoints)
}

func customSet(s Spec) ([]swing.Joint, error) {
	known := map[string]swing.Joint{
		"left_pinky": leftPinky, "right_pinky": rightPinky, "left_index": leftIndex,
		"right_index": rightIndex, "left_thumb": leftThumb, "right_thumb": rightThumb,
	}
	for j := range swing.Joint(swing.NumPoints) {
		known[j.String()] = j
	}
	t := make([]swing.Joint, len(s.Names))
	seen := map[swing.Joint]bool{}
	for i, name := range s.Names {
		j, ok := known[name]
		if !ok {
			t[i] = unused
			continue
		}
		if seen[j] {
			return nil, fmt.Errorf("network %s: keypoint name %q appears twice", s.Name, name)
		}
		seen[j], t[i] = true, j
	}
	for _, j := range []swing.Joint{swing.LeftShoulder, swing.RightShoulder, swing.LeftHip, swing.RightHip} {
		if !seen[j] {
			return nil, fmt.Errorf("network %s: the keypoint names lack %q, without which no body can be followed", s.Name, j)
		}
	}
	return t, nil
}

// point is a network point in crop px.
type point struct{ x, y, score float64 }

// reading is what a landmark network says of one crop. Buffers are reused.
type reading struct {
	points []point // network order
	flag   float64 // 0..1, belief that a person is there
}

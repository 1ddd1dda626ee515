package pose

import (
	"math"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

// body is what one crop gave, in picture px.
type body struct {
	points [swing.NumPoints]swing.Keypoint
	flag   float64 // 0..1
	hip    swing.Point
	neck   swing.Point // middle of the shoulders
	size   float64     // px, about one torso length; see landmarker.sizeOf
	next   pixel.Region
}

// hand returns the middle of both hands.
func (b *body) hand() swing.Point {
	return b.points[swing.LeftHand].Point().Mid(b.points[swing.RightHand].Point())
}

// box returns the upright box round all points that have a score, with room
// for the outline of head, hands and feet.
func (b *body) box() swing.Box { return pointBox(&b.points, 0.25*b.size) }

// BodyBox returns the upright box round the points of a pose, px, grown by a
// quarter torso so that head, hands and feet lie inside. A pose that was not
// found gives an empty box.
func BodyBox(p swing.Pose) swing.Box {
	if !p.Found {
		return swing.Box{}
	}
	neck := p.Points[swing.LeftShoulder].Point().Mid(p.Points[swing.RightShoulder].Point())
	hip := p.Points[swing.LeftHip].Point().Mid(p.Points[swing.RightHip].Point())
	return pointBox(&p.Points, 0.25*neck.Sub(hip).Norm())
}

func pointBox(pts *[swing.NumPoints]swing.Keypoint, room float64) swing.Box {
	b := swing.Box{X0: math.Inf(1), Y0: math.Inf(1), X1: math.Inf(-1), Y1: math.Inf(-1)}
	for _, p := range pts {
		if p.Score > 0 {
			b.X0, b.X1 = math.Min(b.X0, p.X-room), math.Max(b.X1, p.X+room)
			b.Y0, b.Y1 = math.Min(b.Y0, p.Y-room), math.Max(b.Y1, p.Y+room)
		}
	}
	if b.X0 > b.X1 {
		return swing.Box{}
	}
	return b
}

// trunkAndLimbs are the points by which two bodies are compared.
func trunkAndLimbs() [12]swing.Joint {
	return [12]swing.Joint{
		swing.LeftShoulder, swing.RightShoulder, swing.LeftElbow, swing.RightElbow, swing.LeftWrist, swing.RightWrist,
		swing.LeftHip, swing.RightHip, swing.LeftKnee, swing.RightKnee, swing.LeftAnkle, swing.RightAnkle,
	}
}

// apart returns the mean distance of the points of two bodies, in sizes of a.
func apart(a, b *body) float64 {
	var sum float64
	joints := trunkAndLimbs()
	for _, j := range joints {
		sum += a.points[j].Point().Sub(b.points[j].Point()).Norm()
	}
	return sum / float64(len(joints)) / a.size
}

// landmarker turns crops into bodies.
type landmarker struct {
	run    *runner
	joints []swing.Joint // of each network point
	dec    interface{ decode(*reading) }
	got    reading
	accept float64 // flag below which nobody is there
	blaze  bool
	aspect float64 // width over height of the input
	centres
}

// newLandmarker prepares n; jointCentres is Options.JointCentres.
func newLandmarker(n *Network, jointCentres bool) (*landmarker, error) {
	if n == nil || n.Session == nil {
		return nil, errNoNetwork
	}
	// Landmark networks count crop coordinates from pixel centres.
	r, err := newRunner(n, 0)
	if err != nil {
		return nil, err
	}
	l := &landmarker{run: r, accept: n.Spec.MinScore, aspect: float64(n.Spec.Width) / float64(n.Spec.Height)}
	if l.joints, err = keypointSet(n.Spec); err != nil {
		return nil, err
	}
	if jointCentres {
		l.centres = centresOf(n.Spec.Keypoints)
	}
	l.got.points = make([]point, len(l.joints))
	def := 0.25 // mean score under which a crop shows nobody, common practice
	switch n.Spec.Decoder {
	case BlazePose:
		l.blaze, def = true, 0.5
		if len(l.joints) != blazePoints || n.Spec.Keypoints == "custom" {
			return nil, errorf(n, "decoder blazepose needs keypoint set blazepose-39, not %q", n.Spec.Keypoints)
		}
		l.dec, err = newBlazeDecoder(n)
	case MoveNet:
		l.dec, err = newMoveNetDecoder(n)
	case Heatmap:
		l.dec, err = newHeatmapDecoder(n, len(l.joints))
	case SimCC:
		l.dec, err = newSimCCDecoder(n, len(l.joints))
	default:
		err = errorf(n, "decoder %q gives no body points", n.Spec.Decoder)
	}
	if l.accept == 0 {
		l.accept = def
	}
	return l, err
}

// look runs the network on a region. It reports whether somebody is there;
// if not, b holds what the network said all the same.
func (l *landmarker) look(f swing.Frame, r pixel.Region, b *body) (bool, error) {
	to := l.run.sampler.Crop(f, r, l.run.Input())
	l.run.runs++
	if err := l.run.Run(); err != nil {
		return false, err
	}
	l.dec.decode(&l.got)
	*b = body{flag: math.Max(0, math.Min(1, l.got.flag))}
	fingers := [2]handSum{}
	for i, p := range l.got.points {
		j := l.joints[i]
		if j == unused {
			continue
		}
		q := to.Apply(p.x, p.y)
		if math.IsNaN(q.X+q.Y+p.score) || math.IsInf(q.X+q.Y, 0) {
			continue // a broken network: the point stays unseen
		}
		switch j {
		case swing.LeftWrist, leftPinky, leftIndex, leftThumb, swing.LeftHand:
			fingers[0].add(q, p.score)
		case swing.RightWrist, rightPinky, rightIndex, rightThumb, swing.RightHand:
			fingers[1].add(q, p.score)
		}
		if int(j) < swing.NumPoints {
			b.points[j] = swing.Keypoint{X: q.X, Y: q.Y, Score: math.Max(0, math.Min(1, p.score))}
		}
	}
	b.points[swing.LeftHand], b.points[swing.RightHand] = fingers[0].mean(), fingers[1].mean()
	l.centres.apply(b)
	b.hip = b.points[swing.LeftHip].Point().Mid(b.points[swing.RightHip].Point())
	b.neck = b.points[swing.LeftShoulder].Point().Mid(b.points[swing.RightShoulder].Point())
	b.size = l.sizeOf(b, r)
	b.next = l.follow(f, r, to, b)
	return b.flag >= l.accept && b.next.Valid(), nil
}

// handSum averages the points of one hand.
type handSum struct{ x, y, s, n float64 }

func (h *handSum) add(p swing.Point, score float64) {
	h.x, h.y, h.s, h.n = h.x+p.X, h.y+p.Y, h.s+score, h.n+1
}

func (h *handSum) mean() swing.Keypoint {
	if h.n == 0 {
		return swing.Keypoint{}
	}
	return swing.Keypoint{X: h.x / h.n, Y: h.y / h.n, Score: math.Max(0, math.Min(1, h.s/h.n))}
}

// sizeOf returns a length, px, near one torso that does not collapse when the
// trunk points at the camera: the torso seen, but at least a seventh of the
// body's extent. BlazePose's crop is that extent; the crops of other networks
// may be as wide as the picture, there the points' box is.
func (l *landmarker) sizeOf(b *body, r pixel.Region) float64 {
	extent := r.H
	if !l.blaze {
		box := pointBox(&b.points, 0)
		extent = math.Max(box.X1-box.X0, box.Y1-box.Y0)
	}
	return math.Max(b.neck.Sub(b.hip).Norm(), extent/7)
}

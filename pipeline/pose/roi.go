package pose

import (
	"fmt"
	"math"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

func errorf(n *Network, format string, args ...any) error {
	return fmt.Errorf("network %s: %s", n.Spec.Name, fmt.Sprintf(format, args...))
}

// roiRoom is how much larger a crop is than the circle round the body. Source:
// MediaPipe's pose landmark graphs.
const roiRoom = 1.25

// aligned returns the square round a body from the middle of its hips c and a
// point e on the circle round it, turned so that the body stands upright:
// rotation = pi/2 - atan2(-(ey-cy), ex-cx), in (-pi, pi].
func aligned(c, e swing.Point) pixel.Region {
	d := e.Sub(c)
	rot := math.Pi/2 - math.Atan2(-d.Y, d.X)
	if rot > math.Pi {
		rot -= 2 * math.Pi
	}
	return pixel.Square(c, 2*roiRoom*d.Norm(), rot)
}

// start returns the region in which the network first looks for a detected
// person. Only BlazePose was trained on turned crops.
func (l *landmarker) start(d *detection) pixel.Region {
	if l.blaze {
		return aligned(d.hip, d.hip.Add(d.up.Scale(d.radius)))
	}
	h := 2 * roiRoom * d.radius
	return pixel.Region{CX: d.hip.X, CY: d.hip.Y, W: h * l.aspect, H: h}
}

// follow returns the region for the next frame from what this frame's crop r
// showed; to maps crop to picture coordinates.
func (l *landmarker) follow(f swing.Frame, r pixel.Region, to pixel.Affine, b *body) pixel.Region {
	switch {
	case l.blaze:
		c, e := l.got.points[alignCentre], l.got.points[alignCircle]
		return aligned(to.Apply(c.x, c.y), to.Apply(e.x, e.y))
	case l.run.Spec.Decoder == MoveNet:
		return moveNetRegion(f, r, b)
	}
	return boxRegion(b, l.aspect, r)
}

// Constants of MoveNet's crop rule. Source: @tensorflow-models/pose-detection
// (Apache-2.0).
const (
	moveNetMinScore = 0.2
	moveNetTorso    = 1.9
	moveNetBody     = 1.2
	moveNetNewest   = 0.9 // weight of the new crop's edges in the low pass
)

// moveNetRegion is MoveNet's rule: a square round the middle of the hips,
// wide enough for the torso and for every point seen, not wider than the
// picture; the whole picture when no shoulder or no hip is seen.
func moveNetRegion(f swing.Frame, prev pixel.Region, b *body) pixel.Region {
	w, h := float64(f.Width), float64(f.Height)
	whole := pixel.Fit(f.Width, f.Height, 1, 1)
	seen := func(j swing.Joint) bool { return b.points[j].Score > moveNetMinScore }
	if !(seen(swing.LeftHip) || seen(swing.RightHip)) || !(seen(swing.LeftShoulder) || seen(swing.RightShoulder)) {
		return whole
	}
	c := b.hip
	var torso, all float64
	for j, p := range b.points[:swing.RightAnkle+1] {
		d := math.Max(math.Abs(p.X-c.X), math.Abs(p.Y-c.Y))
		switch swing.Joint(j) {
		case swing.LeftShoulder, swing.RightShoulder, swing.LeftHip, swing.RightHip:
			torso = math.Max(torso, d)
		}
		if p.Score >= moveNetMinScore {
			all = math.Max(all, d)
		}
	}
	half := math.Max(moveNetTorso*torso, moveNetBody*all)
	half = math.Min(half, math.Max(math.Max(c.X, w-c.X), math.Max(c.Y, h-c.Y)))
	if half > math.Max(w, h)/2 {
		return whole
	}
	k := moveNetNewest
	return pixel.Region{
		CX: k*c.X + (1-k)*prev.CX, CY: k*c.Y + (1-k)*prev.CY,
		W: k*2*half + (1-k)*prev.W, H: k*2*half + (1-k)*prev.H,
	}
}

// boxMinScore is the score from which a point shapes the next crop of a
// heatmap or simcc network.
const boxMinScore = 0.3

// boxRegion is the top-down rule: the box round the points seen, a quarter
// larger, in the input's shape. With fewer than four points the region stays.
func boxRegion(b *body, aspect float64, prev pixel.Region) pixel.Region {
	n := 0
	box := swing.Box{X0: math.Inf(1), Y0: math.Inf(1), X1: math.Inf(-1), Y1: math.Inf(-1)}
	for _, p := range b.points {
		if p.Score >= boxMinScore {
			n++
			box.X0, box.X1 = math.Min(box.X0, p.X), math.Max(box.X1, p.X)
			box.Y0, box.Y1 = math.Min(box.Y0, p.Y), math.Max(box.Y1, p.Y)
		}
	}
	if n < 4 {
		return prev
	}
	h := roiRoom * math.Max(box.Y1-box.Y0, (box.X1-box.X0)/aspect)
	return pixel.Region{CX: (box.X0 + box.X1) / 2, CY: (box.Y0 + box.Y1) / 2, W: h * aspect, H: h}
}

// Limits of what one body can do between two looks. Positions are those of
// the middle of the hips, in sizes (about torsos).
const (
	// jumpFree allows for the networks' own disagreement about the hips
	// (up to 0.3 torso in turned views).
	jumpFree = 0.35
	// jumpSpeed, torsos a second, is 4 m/s at half a metre a torso: a hitter's
	// hips stay under 2 m/s, and a hand-held camera adds its own motion.
	jumpSpeed = 8.0
	// After jumpTime, s, unseen people are taken to walk on at wanderSpeed.
	jumpTime    = 0.1
	wanderSpeed = 2.0
	// sizeFree is how much larger or smaller a body may look; turning and
	// bending change the torso's projection by up to a third.
	sizeFree = 1.7
	// seenApart is the mean point distance under which two looks at one
	// frame show the same person: neighbours stand a torso apart or more.
	seenApart = 0.4
)

// place is where somebody was.
type place struct {
	time float64
	hip  swing.Point
	size float64
}

// step returns how far b lies from where p was, as a share of what a body can
// move in the time between; above 1 it is somebody else.
func (p place) step(b *body, time float64) float64 {
	return p.distance(b.hip, b.size, time)
}

func (p place) distance(hip swing.Point, size, time float64) float64 {
	if ratio := size / p.size; ratio > sizeFree || ratio < 1/sizeFree {
		return math.Inf(1)
	}
	dt := math.Abs(time - p.time)
	reach := jumpFree + jumpSpeed*math.Min(dt, jumpTime) + wanderSpeed*math.Max(0, dt-jumpTime)
	return hip.Sub(p.hip).Norm() / p.size / reach
}

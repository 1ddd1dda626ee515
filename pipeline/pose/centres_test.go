package pose

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

// The shifts run along the body: turning or mirroring the body turns or
// mirrors them.
func TestJointCentresFollowTheBody(t *testing.T) {
	h := standing(100, 40)
	h.step = 0.4
	var b body
	for j, p := range h.points() {
		b.points[j] = swing.Keypoint{X: p.X, Y: p.Y, Score: 1}
	}
	c := centres{shoulder: 0.05, hip: 0.02, ankle: 0.08}
	got := b
	c.apply(&got)
	near(t, "shoulder goes down a twentieth of the trunk", got.points[swing.LeftShoulder].Y-b.points[swing.LeftShoulder].Y, 2, 1e-9)
	near(t, "shoulder stays beside", got.points[swing.LeftShoulder].X, b.points[swing.LeftShoulder].X, 1e-9)
	shank := b.points[swing.RightAnkle].Point().Sub(b.points[swing.RightKnee].Point())
	moved := got.points[swing.RightAnkle].Point().Sub(b.points[swing.RightAnkle].Point())
	near(t, "ankle", moved.Sub(shank.Scale(0.08)).Norm(), 0, 1e-9)
	if got.points[swing.LeftElbow] != b.points[swing.LeftElbow] || got.points[swing.LeftHeel] != b.points[swing.LeftHeel] {
		t.Error("points without a shift moved")
	}
	turn := func(b body, mirror float64) body {
		sin, cos := math.Sincos(0.8)
		for j, p := range b.points {
			x := mirror * p.X
			b.points[j].X, b.points[j].Y = cos*x-sin*p.Y, sin*x+cos*p.Y
		}
		return b
	}
	for _, mirror := range []float64{1, -1} {
		want, also := turn(got, mirror), turn(b, mirror)
		c.apply(&also)
		for j := range want.points {
			near(t, swing.Joint(j).String(), want.points[j].Point().Sub(also.points[j].Point()).Norm(), 0, 1e-9)
		}
	}
}

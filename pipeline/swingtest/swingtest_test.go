package swingtest

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

// TestBodyHoldsTogether: limbs keep about their lengths, no point leaves the
// ground downward, and nothing jumps.
func TestBodyHoldsTogether(t *testing.T) {
	for _, st := range []Stride{Steps, Kicks, TapsToe, HeelOnly, NoStride} {
		m := Default()
		m.Stride = st
		m.Contacts = []float64{2, 5.6}
		last := m.at(0)
		for s := 0.002; s < 7; s += 0.002 {
			b := m.at(s)
			for j := range b {
				if v := b[j].sub(last[j]).norm() / 0.002; v > 12 {
					t.Fatalf("%s: %s moves at %.1f m/s at %.3f s", st, swing.Joint(j), v, s)
				}
				if b[j][2] < 0 {
					t.Fatalf("%s: %s is %.3f m under the ground at %.3f s", st, swing.Joint(j), -b[j][2], s)
				}
			}
			if d := b[swing.LeftHand].sub(b[swing.RightHand]).norm(); math.Abs(d-0.05*m.Height) > 1e-9 {
				t.Fatalf("hands %.3f m apart", d)
			}
			last = b
		}
	}
}

// TestPlantByDefinition against the same by hand: the heel drops heelLift
// statures within ToeFirst, so the ankle is one tolerance high at
// plant - ToeFirst*0.006/heelLift.
func TestPlantByDefinition(t *testing.T) {
	m := Default()
	want := m.Contacts[0] - m.Tempo - m.ToeFirst*0.006/heelLift
	if d := m.PlantByDefinition(0) - want; math.Abs(d) > 0.001 {
		t.Errorf("off by %.4f s", d)
	}
	m.Left = true
	if d := m.PlantByDefinition(0) - want; math.Abs(d) > 0.001 {
		t.Errorf("left-hander off by %.4f s", d)
	}
}

// TestFilm: a left-hander's film is the mirror image of a right-hander's, and
// the maps undo the camera's motion.
func TestFilm(t *testing.T) {
	m := Default()
	r, _, moves := Camera{}.Film(m)
	m.Left = true
	l, _, _ := Camera{}.Film(m)
	if moves || len(r) != 180 || len(l) != 180 {
		t.Fatalf("%d and %d frames, moves %v", len(r), len(l), moves)
	}
	for j := range swing.NumPoints {
		a, b := r[100].Points[j], l[100].Points[swing.Joint(j).Partner()]
		if math.Abs(a.X-(picWidth-b.X)) > 1e-6 || math.Abs(a.Y-b.Y) > 1e-6 {
			t.Errorf("%s: %v and %v", swing.Joint(j), a, b)
		}
	}
	p, steady, moves := Camera{Pan: 90, Shake: 4, Seed: 1}.Film(Default())
	if !moves {
		t.Fatal("does not move")
	}
	d := p[0].Points[0].Point().Sub(r[0].Points[0].Point())
	for i := range p {
		q := steady[i].Apply(p[i].Points[0].Point()).Sub(d)
		if q.Sub(r[i].Points[0].Point()).Norm() > 1e-6 {
			t.Fatalf("frame %d: %v, want %v", i, q, r[i].Points[0])
		}
	}
}

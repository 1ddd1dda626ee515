package pose

import (
	"fmt"
	"math"
	"slices"

	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

const (
	// feetReach is half the side of the square round knees and ankles in
	// which the feet network looks, sizes; it learnt on 1.5.
	feetReach = 1.5
	// feetTrust is how far an ankle may lie from where the large network has
	// it, sizes: farther off it is another foot.
	feetTrust = 0.35
	// feetMass is the probability that the likeliest place of a point must
	// hold to be taken.
	feetMass = 0.4
	// feetDoubt is the error, sizes, at which the score of a point falls to
	// 1/e. A point in sight has 0.005, one behind the other leg 0.02.
	feetDoubt = 0.03
)

// feetPoints are the points of the feet network, in its order.
func feetPoints() []swing.Joint {
	return []swing.Joint{
		swing.LeftAnkle, swing.LeftHeel, swing.LeftBigToe, swing.RightAnkle, swing.RightHeel, swing.RightBigToe,
	}
}

// feet puts the points of both feet more exactly than the large network does,
// which sees the whole body at a quarter of the size.
type feet struct {
	net    *spot.Finder
	joints []swing.Joint
	found  []spot.Found
}

func newFeet(n *spot.Network) (*feet, error) {
	f, err := spot.New(n)
	if err != nil {
		return nil, err
	}
	w := &feet{net: f, joints: feetPoints()}
	var want []string
	for _, j := range w.joints {
		want = append(want, j.String())
	}
	if !slices.Equal(f.Points(), want) {
		return nil, fmt.Errorf("the network gives the points %v, not %v", f.Points(), want)
	}
	return w, nil
}

// refine replaces the foot points of b, px of f, by those of the feet network
// where both agree on which foot is where.
func (w *feet) refine(f swing.Frame, b *body) error {
	at := func(j swing.Joint) swing.Point { return b.points[j].Point() }
	centre := at(swing.LeftKnee).Mid(at(swing.RightKnee)).Mid(at(swing.LeftAnkle).Mid(at(swing.RightAnkle)))
	var err error
	if w.found, err = w.net.Look(f, centre, feetReach*b.size, w.found[:0]); err != nil {
		return err
	}
	got := w.found
	left, right := got[0].Best().At, got[3].Best().At
	straight := left.Sub(at(swing.LeftAnkle)).Norm() + right.Sub(at(swing.RightAnkle)).Norm()
	crossed := left.Sub(at(swing.RightAnkle)).Norm() + right.Sub(at(swing.LeftAnkle)).Norm()
	if crossed < straight-feetTrust*b.size {
		// The sides are the large network's: what it swaps is repaired for
		// the whole body later.
		got = []spot.Found{got[3], got[4], got[5], got[0], got[1], got[2]}
	}
	for side := range 2 {
		foot, joints := got[3*side:3*side+3], w.joints[3*side:3*side+3]
		ankle := foot[0].Best()
		if ankle.Mass < feetMass || ankle.At.Sub(at(joints[0])).Norm() > feetTrust*b.size {
			continue
		}
		for i, j := range joints {
			if p := foot[i].Best(); p.Mass >= feetMass && p.At.Sub(ankle.At).Norm() < b.size {
				b.points[j] = swing.Keypoint{X: p.At.X, Y: p.At.Y, Score: p.Mass * math.Exp(-p.Sigma/(feetDoubt*b.size))}
			}
		}
	}
	return nil
}

package models_test

import (
	"encoding/json"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"plantframe/models"
	"plantframe/pipeline/pixel"
	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

// The networks trained by this project are tried on two rendered hitters with exact truth (testdata/pictures).

func readPicture(t *testing.T, file string) swing.Frame {
	t.Helper()
	r, err := os.Open(filepath.Join("..", "testdata", "pictures", file))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	m, err := png.Decode(r)
	if err != nil {
		t.Fatal(err)
	}
	b := m.Bounds()
	f := swing.Frame{Width: b.Dx(), Height: b.Dy(), Pix: make([]byte, 0, 3*b.Dx()*b.Dy())}
	for y := range f.Height {
		for x := range f.Width {
			r, g, bl, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA()
			f.Pix = append(f.Pix, byte(bl>>8), byte(g>>8), byte(r>>8))
		}
	}
	return f
}

// openOwn opens a network that the program carries.
func openOwn(t *testing.T, id string) (models.Manifest, *models.Session) {
	t.Helper()
	m, err := models.Lookup(id)
	if err != nil {
		t.Fatal(err)
	}
	s, err := networkStore(t).Open(m, models.DefaultSessionOptions())
	if err != nil {
		t.Fatalf("%v\nthis test needs the networks: run scripts/test, or plantframe models install once", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return m, s
}

func openFinder(t *testing.T, id string) *spot.Finder {
	t.Helper()
	m, s := openOwn(t, id)
	f, err := spot.New(&spot.Network{
		Session: s, Name: m.ID, Points: m.Points, Rows: 64, Columns: 64, Format: pixel.Format{
			Width: m.Input.Width, Height: m.Input.Height, Layout: pixel.NCHW, Order: pixel.RGB, Std: [3]float64{255, 255, 255}, Centre: 0.5,
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestOwnNetworksFindBatAndFeet(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "testdata", "pictures", "hitters.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth map[string]map[string][2]float64
	if err := json.Unmarshal(b, &truth); err != nil {
		t.Fatal(err)
	}
	bat, feet := openFinder(t, "bat-points"), openFinder(t, "feet-points")
	for file, points := range truth {
		f := readPicture(t, file)
		at := func(name string) swing.Point { return swing.Point{X: points[name][0], Y: points[name][1]} }
		mid := func(a, b string) swing.Point { return at(a).Mid(at(b)) }
		torso := mid("left_shoulder", "right_shoulder").Sub(mid("left_hip", "right_hip")).Norm()
		got, err := bat.Look(f, mid("left_wrist", "right_wrist"), 2.2*torso, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, name := range bat.Points() {
			if name == "grip" {
				continue // its truth is a convention of the training
			}
			p := got[i].Best()
			if off := p.At.Sub(at(name)).Norm() / torso; off > 0.06 || p.Mass < 0.8 || got[i].Absent > 0.1 {
				t.Errorf("%s: %s is %.3f torsos off, mass %.2f, absent %.2f", file, name, off, p.Mass, got[i].Absent)
			}
		}
		got, err = feet.Look(f, mid("left_knee", "right_knee").Mid(mid("left_ankle", "right_ankle")), 1.5*torso, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, name := range feet.Points() {
			if off := got[i].Best().At.Sub(at(name)).Norm() / torso; off > 0.08 {
				t.Errorf("%s: %s is %.3f torsos off, mass %.2f", file, name, off, got[i].Best().Mass)
			}
		}
		// Lawn and netting hold no bat.
		none, err := bat.Look(f, swing.Point{X: float64(f.Width) - 20, Y: float64(f.Height) - 20}, 0.9*torso, nil)
		if err != nil {
			t.Fatal(err)
		}
		if none[2].Absent < 0.5 {
			t.Errorf("%s: a bat is seen in the lawn, absent %.2f", file, none[2].Absent)
		}
	}
}

// A smaller picture of the same hitter gives the same places.
func TestOwnNetworksAreIndifferentToSize(t *testing.T) {
	bat := openFinder(t, "bat-points")
	f := readPicture(t, "hitter-open.png")
	half := swing.Frame{Width: f.Width / 2, Height: f.Height / 2}
	for y := range half.Height {
		for x := range half.Width {
			for c := range 3 {
				sum := 0
				for k := range 4 {
					sum += int(f.Pix[3*((2*y+k/2)*f.Width+2*x+k%2)+c])
				}
				half.Pix = append(half.Pix, byte(sum/4))
			}
		}
	}
	hands, reach := swing.Point{X: 262, Y: 186}, 200.0
	a, err := bat.Look(f, hands, reach, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := bat.Look(half, hands.Scale(0.5), reach/2, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a {
		if d := a[i].Best().At.Sub(b[i].Best().At.Scale(2)).Norm(); math.IsNaN(d) || d > 4 {
			t.Errorf("%s moves by %.1f px", bat.Points()[i], d)
		}
	}
}

package bat

import (
	"math"
	"testing"

	"plantframe/pipeline/swing"
)

// picture draws a bat from k to t over a background with a slope of brightness.
func picture(k, t swing.Point, torso float64) swing.Frame {
	f := swing.Frame{Width: 320, Height: 320, Pix: make([]byte, 3*320*320)}
	d := t.Sub(k)
	n := d.Norm()
	u := d.Scale(1 / n)
	for y := range f.Height {
		for x := range f.Width {
			p := swing.Point{X: float64(x) + 0.5, Y: float64(y) + 0.5}.Sub(k)
			q := p.Dot(u) / n
			off := math.Abs(p.X*u.Y - p.Y*u.X)
			r := torso * (handleRadius + (barrelRadius-handleRadius)*math.Min(1, math.Max(0, (q-0.35)/0.35)))
			v := 90 + 30*float64(x)/320
			if q >= 0 && q <= 1 && off < r {
				v = 170
			}
			for c := range 3 {
				f.Pix[3*(y*f.Width+x)+c] = byte(v)
			}
		}
	}
	return f
}

func TestAxisFollowsTheBarrel(t *testing.T) {
	const torso = 100
	k, tip := swing.Point{X: 120, Y: 250}, swing.Point{X: 190, Y: 110}
	f := picture(k, tip, torso)
	want := math.Atan2(tip.Y-k.Y, tip.X-k.X) * 180 / math.Pi
	for _, wrong := range []float64{-9, -4, 0, 3, 8} { // degrees about the tip
		sin, cos := math.Sincos(wrong * math.Pi / 180)
		d := k.Sub(tip)
		guess := tip.Add(swing.Point{X: cos*d.X - sin*d.Y, Y: sin*d.X + cos*d.Y})
		x := axis(f, guess, tip, torso)
		gk, gt := x.along(guess, tip)
		got := math.Atan2(gt.Y-gk.Y, gt.X-gk.X) * 180 / math.Pi
		if math.Abs(math.Remainder(got-want, 360)) > 0.6 || x.Strength < 0.6 {
			t.Errorf("line %g degrees off: axis at %.2f (turn %.2f, strength %.2f), bat at %.2f", wrong, got, x.Turn, x.Strength, want)
		}
	}
	// Without a bat no axis stands out.
	plain := swing.Frame{Width: 320, Height: 320, Pix: make([]byte, 3*320*320)}
	if x := axis(plain, k, tip, torso); x.Strength > 0.05 {
		t.Errorf("an empty picture shows an axis of strength %.2f", x.Strength)
	}
}

func TestStandsOut(t *testing.T) {
	k, tip := swing.Point{X: 120, Y: 250}, swing.Point{X: 190, Y: 110}
	f := picture(k, tip, 100)
	if v := standsOut(f, k, tip, 100); v < 0.9 {
		t.Errorf("a bat in sight stands out by %.2f", v)
	}
	if v := standsOut(f, k, swing.Point{X: 60, Y: 100}, 100); v > 0.1 {
		t.Errorf("a line beside the bat stands out by %.2f", v)
	}
}

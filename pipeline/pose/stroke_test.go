package pose

import (
	"testing"

	"plantframe/pipeline/swing"
)

// looksOf samples a person as a coarse pass does.
func looksOf(h func(t float64) human, score, rate, seconds float64) []look {
	var out []look
	for t := 0.0; t < seconds; t += 1 / rate {
		p := h(t).points()
		hip := p[swing.LeftHip].Mid(p[swing.RightHip])
		out = append(out, look{time: t, hip: hip, left: p[swing.LeftHand], right: p[swing.RightHand], score: score, size: h(t).torso})
	}
	return out
}

func TestStrokes(t *testing.T) {
	hit := func(t float64) human { return hitting(100, 40, t, 2) }
	for _, c := range []struct {
		name  string
		looks []look
		want  int
	}{
		{"a swing", looksOf(hit, 0.7, 13, 4), 1},
		{"a swing at 30 looks a second", looksOf(hit, 0.7, 30, 4), 1},
		{"hands that the network does not see", looksOf(hit, 0.15, 13, 4), 0},
		{"two swings", looksOf(func(t float64) human {
			if t > 3 && t < 5 { // the hands go back slowly
				return hitting(100, 40, 2+(4-t)*0.1, 2)
			}
			if t >= 5 {
				t -= 5
			}
			return hitting(100, 40, t, 2)
		}, 0.7, 13, 9), 2},
		{"one look gone wrong", looksOf(func(t float64) human {
			h := standing(100, 40)
			y := -0.1
			if t > 1.99 && t < 2.06 {
				y = -1
			}
			h.left, h.right = swing.Point{X: 0.1, Y: y}, swing.Point{X: -0.1, Y: y}
			return h
		}, 0.7, 13, 4), 0},
		{"hands apart", looksOf(func(t float64) human {
			h := hitting(100, 40, t, 2)
			h.left.X += 0.8
			return h
		}, 0.7, 13, 4), 0},
		{"a short jerk", looksOf(func(t float64) human {
			h := hitting(100, 40, t, 2)
			mid := swing.Point{X: -0.7, Y: -0.9}
			h.left = mid.Add(h.left.Sub(mid).Scale(0.3))
			h.right = mid.Add(h.right.Sub(mid).Scale(0.3))
			return h
		}, 0.7, 13, 4), 0},
	} {
		got := strokes(c.looks, 40, DefaultOptions().MinHandSpeed)
		if len(got) != c.want {
			t.Errorf("%s: %v, want %d", c.name, got, c.want)
		}
		if c.want > 0 && len(got) > 0 {
			near(t, c.name, got[0].time, 2, 0.08)
		}
	}
	// Mirrored in the picture, the same strokes.
	a := looksOf(hit, 0.7, 13, 4)
	b := looksOf(hit, 0.7, 13, 4)
	for i := range b {
		for _, p := range []*swing.Point{&b[i].hip, &b[i].left, &b[i].right} {
			p.X = 1000 - p.X
		}
	}
	near(t, "mirrored speed", strokes(b, 40, 5)[0].speed, strokes(a, 40, 5)[0].speed, 1e-9)
}

// A bat looked for and never seen asks for faster hands.
func TestNoBatAsksForMore(t *testing.T) {
	p := person{looks: looksOf(func(t float64) human { return hitting(100, 40, t, 2) }, 0.7, 13, 4)}
	v := p.swings(40, 1)[0].speed
	limit := v / 1.2
	if len(p.swings(40, limit)) != 1 {
		t.Fatal("not asked: the plain limit counts")
	}
	p.tries = 5
	if len(p.swings(40, limit)) != 0 {
		t.Error("no bat in five looks: half as fast again is needed")
	}
	p.holding = 1
	if len(p.swings(40, limit)) != 1 {
		t.Error("a bat was seen: the plain limit counts")
	}
}

package main

import (
	"math"
	"slices"
	"sort"

	"plantframe/pipeline/measure"
	"plantframe/pipeline/swing"
)

// neededPoints are the points, both sides, that a truth file must hold.
var neededPoints = []string{
	"ear", "shoulder", "elbow", "wrist", "hip", "knee", "ankle", "big_toe", "heel",
}

// vec is a place in the world of the truth: x to the pitcher, y to the plate
// (turned so for both hands), z up, m.
type vec [3]float64

func (a vec) sub(b vec) vec       { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) add(b vec) vec       { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) scale(k float64) vec { return vec{k * a[0], k * a[1], k * a[2]} }
func (a vec) dot(b vec) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) norm() float64       { return math.Sqrt(a.dot(a)) }

// times returns the frames' times.
func (t *truth) times() []float64 {
	out := make([]float64, len(t.Frames))
	for i, f := range t.Frames {
		out[i] = f.T
	}
	return out
}

// around returns the frames before and after time s and the weight of the
// second.
func (t *truth) around(s float64) (a, b int, f float64) {
	n := len(t.Frames)
	i := sort.Search(n, func(i int) bool { return t.Frames[i].T >= s })
	switch {
	case i == 0:
		return 0, 0, 0
	case i == n:
		return n - 1, n - 1, 0
	}
	return i - 1, i, (s - t.Frames[i-1].T) / (t.Frames[i].T - t.Frames[i-1].T)
}

// side turns lead/rear into the person's left/right.
func (t *truth) side(role, point string) string {
	if (role == "lead") == (t.Bats == "R") {
		return "left_" + point
	}
	return "right_" + point
}

// at returns the place of a point at time s by linear interpolation. Right-
// handed hitters of the truth files face -y, left-handed ones +y.
func (t *truth) at(role, point string, s float64) vec {
	return t.place(t.index[t.side(role, point)], s)
}

func (t *truth) place(k int, s float64) vec {
	a, b, f := t.around(s)
	p, q := vec(t.Frames[a].KP3[k]), vec(t.Frames[b].KP3[k])
	v := p.add(q.sub(p).scale(f))
	if t.Bats == "R" {
		v[1] = -v[1]
	}
	return v
}

// mid returns the middle of a lead and a rear point.
func (t *truth) mid(point string, s float64) vec {
	return t.at("lead", point, s).add(t.at("rear", point, s)).scale(0.5)
}

// pixel returns the place of a point in the picture at time s, px.
func (t *truth) pixel(k int, s float64) (x, y float64) {
	a, b, f := t.around(s)
	p, q := t.Frames[a].KP[k], t.Frames[b].KP[k]
	return p[0] + f*(q[0]-p[0]), p[1] + f*(q[1]-p[1])
}

// torso returns the median distance mid-shoulder to mid-hip in the picture, px.
func (t *truth) torso() float64 {
	var d []float64
	for _, f := range t.Frames {
		mid := func(p string) (x, y float64) {
			a, b := f.KP[t.index["left_"+p]], f.KP[t.index["right_"+p]]
			return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
		}
		sx, sy := mid("shoulder")
		hx, hy := mid("hip")
		d = append(d, math.Hypot(sx-hx, sy-hy))
	}
	return median(d)
}

// centre returns the centre of mass at time s (de Leva 1996, mean of both
// tables, as in the measures).
func (t *truth) centre(s float64) vec {
	var c vec
	for j, w := range measure.MassWeights("") {
		if w != 0 {
			c = c.add(t.place(t.index[swing.Joint(j).String()], s).scale(w))
		}
	}
	return c
}

// event returns the time of the first of the named events that the file holds.
func (t *truth) event(names ...string) (float64, bool) {
	for _, n := range names {
		if e, ok := t.Events[n]; ok {
			return e.S, true
		}
	}
	return 0, false
}

// Thresholds of the kinematic definitions.
const (
	plantLevel = 0.006 // statures above the lowest level of the ankle
	plantSpeed = 0.29  // statures/s, horizontal
	touchLevel = 0.012 // statures above the lowest level of the foot's lowest point
	touchSpeed = 0.14  // statures/s, downward
	strideTime = 1.2   // s before contact in which the stride's top is looked for
	fine       = 0.001 // s, step of the search
)

// events returns the true times of the events that the file allows.
//
//   - contact: given, or estimated from the motion;
//   - plant: the front ankle is within 0.006 stature of its lowest level between
//     the stride's top and contact, slower than 0.29 stature/s horizontally, and
//     stays so until contact;
//   - touch: given where the front foot's landing was constructed; else the
//     lowest point of the foot is within 0.012 stature of its lowest level and
//     falls slower than 0.14 stature/s for the first time after the top;
//   - lift: given;
//   - load: the centre of mass is farthest back before touch, from 1.2 s before.
func (t *truth) events() map[string]float64 {
	out := map[string]float64{}
	contact, ok := t.event("contact_s", "estimated.contact_s")
	if !ok {
		return out
	}
	out["contact"] = contact
	var grid []float64
	for s := max(t.Frames[0].T, contact-strideTime); s < contact; s += fine {
		grid = append(grid, s)
	}
	if len(grid) < 10 {
		return out
	}
	if plant, ok := t.plant(grid); ok {
		out["plant"] = plant
	}
	if s, ok := t.event("toe_touch_s"); ok {
		out["touch"] = s
	} else if s, ok := t.touch(grid); ok {
		out["touch"] = s
	}
	if s, ok := t.event("lift_off_s"); ok {
		out["lift"] = s
	}
	if touch, ok := out["touch"]; ok {
		best := math.Inf(1)
		for s := max(t.Frames[0].T, touch-strideTime); s < touch; s += fine {
			if x := t.centre(s)[0]; x < best {
				best, out["load"] = x, s
			}
		}
	}
	return out
}

// top returns the index of the stride's top in grid and the heights above it.
func top(z []float64) int {
	k := 0
	for i, v := range z {
		if v > z[k] {
			k = i
		}
	}
	return k
}

func (t *truth) plant(grid []float64) (float64, bool) {
	n := len(grid)
	z, speed := make([]float64, n), make([]float64, n)
	h := t.Frames[1].T - t.Frames[0].T
	for i, s := range grid {
		z[i] = t.at("lead", "ankle", s)[2]
		// Central difference over one frame to each side, the resolution that
		// the truth has.
		d := t.at("lead", "ankle", s+h).sub(t.at("lead", "ankle", s-h))
		speed[i] = math.Hypot(d[0], d[1]) / (2 * h)
	}
	k := top(z)
	low := slices.Min(z[k:])
	last := -1
	for i := k; i < n; i++ {
		if z[i] > low+plantLevel*t.Stature || speed[i] >= plantSpeed*t.Stature {
			last = i
		}
	}
	if last == n-1 || last < 0 {
		return 0, false
	}
	return grid[last+1], true
}

func (t *truth) touch(grid []float64) (float64, bool) {
	n := len(grid)
	z, low := make([]float64, n), make([]float64, n)
	foot := []string{"heel", "big_toe"}
	if _, ok := t.index["left_small_toe"]; ok {
		foot = append(foot, "small_toe")
	}
	h := t.Frames[1].T - t.Frames[0].T
	lowest := func(s float64) float64 {
		m := math.Inf(1)
		for _, p := range foot {
			m = min(m, t.at("lead", p, s)[2])
		}
		return m
	}
	for i, s := range grid {
		z[i] = t.at("lead", "ankle", s)[2]
		low[i] = lowest(s)
	}
	k := top(z)
	ground := slices.Min(low[k:])
	for i := k; i < n; i++ {
		fall := (lowest(grid[i]-h/2) - lowest(grid[i]+h/2)) / h
		if low[i] < ground+touchLevel*t.Stature && fall < touchSpeed*t.Stature {
			return grid[i], true
		}
	}
	return 0, false
}

package pose

import (
	"errors"
	"iter"
	"math"
	"testing"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

// fakeSession is a Session whose Run is a function.
type fakeSession struct {
	in  []float32
	out map[string][]float32
	run func(*fakeSession) error
}

func (s *fakeSession) Input() []float32             { return s.in }
func (s *fakeSession) Output(name string) []float32 { return s.out[name] }
func (s *fakeSession) Run() error {
	if s.run == nil {
		return nil
	}
	return s.run(s)
}

// human is one made-up person at one instant, px.
type human struct {
	hip         swing.Point
	torso       float64
	left, right swing.Point // hands, from the hip, torsos, y down
	bat         bool
	step        float64 // of the feet, torsos
}

// points returns the body points in picture px.
func (h human) points() [swing.NumPoints]swing.Point {
	at := func(x, y float64) swing.Point { return h.hip.Add(swing.Point{X: x, Y: y}.Scale(h.torso)) }
	var p [swing.NumPoints]swing.Point
	for j := range p {
		p[j] = at(0, -1.5) // the head
	}
	p[swing.LeftShoulder], p[swing.RightShoulder] = at(0.3, -1), at(-0.3, -1)
	p[swing.LeftHip], p[swing.RightHip] = at(0.2, 0), at(-0.2, 0)
	p[swing.LeftKnee], p[swing.RightKnee] = at(0.2+h.step/2, 0.85), at(-0.2-h.step/2, 0.85)
	p[swing.LeftAnkle], p[swing.RightAnkle] = at(0.2+h.step, 1.7), at(-0.2-h.step, 1.7)
	p[swing.LeftHeel], p[swing.RightHeel] = p[swing.LeftAnkle], p[swing.RightAnkle]
	p[swing.LeftBigToe], p[swing.RightBigToe] = p[swing.LeftAnkle], p[swing.RightAnkle]
	p[swing.LeftWrist], p[swing.RightWrist] = at(h.left.X, h.left.Y), at(h.right.X, h.right.Y)
	p[swing.LeftHand], p[swing.RightHand] = p[swing.LeftWrist], p[swing.RightWrist]
	p[swing.LeftElbow] = p[swing.LeftShoulder].Mid(p[swing.LeftWrist])
	p[swing.RightElbow] = p[swing.RightShoulder].Mid(p[swing.RightWrist])
	return p
}

// world is a made-up clip. Its pictures tell every pixel's own place by its
// colour (blue = x, green = y) and the frame (red = 255 - index % 200), so that a fake
// network can find out from its input alone which part of which picture it was
// given.
type world struct {
	w, h   int
	fps    float64
	frames int
	people func(t float64) []human
	// slip, if set, makes the landmark network look at another person.
	slip   func(t float64) int
	fail   error
	more   []Lane // for estimator
	newest int    // index of the last frame handed out
}

// time returns the instant, s, of a picture that says it is frame k modulo 200:
// the newest such.
func (w *world) time(k int) float64 { return float64(w.newest-((w.newest-k)%200+200)%200) / w.fps }

// at returns the people of such a picture.
func (w *world) at(k int) []human { return w.people(w.time(k)) }

func (w *world) iter() iter.Seq2[swing.Frame, error] {
	f := swing.Frame{Width: w.w, Height: w.h, Pix: make([]byte, 3*w.w*w.h)}
	for y := range w.h {
		for x := range w.w {
			copy(f.Pix[3*(y*w.w+x):], []byte{byte(x), byte(y)})
		}
	}
	return func(yield func(swing.Frame, error) bool) {
		for i := range w.frames {
			f.Index, f.Time, w.newest = i, float64(i)/w.fps, i
			for k := 2; k < len(f.Pix); k += 3 {
				f.Pix[k] = byte(255 - i%200)
			}
			if !yield(f, nil) {
				return
			}
		}
	}
}

// crop finds the map from crop to picture px from an RGB NHWC input of side n
// in 0..1, by least squares over the pixels that lie inside the picture.
// centre is the sampling convention of the input. frame is the picture's index.
func crop(in []float32, n int, unit func(float32) float64, centre float64) (a pixel.Affine, frame int, ok bool) {
	red := 0.0
	for v := 0; v < n; v += 14 {
		for u := 0; u < n; u += 14 {
			red = math.Max(red, unit(in[3*(v*n+u)]))
		}
	}
	frame = int(math.Round(255 - red))
	// Normal equations for x = a0*u + a1*v + a2 (and y).
	var m [3][3]float64
	var bx, by [3]float64
	for v := 0; v < n; v += 14 {
		for u := 0; u < n; u += 14 {
			p := in[3*(v*n+u):]
			if unit(p[0]) < red-0.1 {
				continue
			}
			r := [3]float64{float64(u) + centre, float64(v) + centre, 1}
			for i := range 3 {
				for j := range 3 {
					m[i][j] += r[i] * r[j]
				}
				bx[i] += r[i] * (unit(p[2]) + 0.5)
				by[i] += r[i] * (unit(p[1]) + 0.5)
			}
		}
	}
	det := func(c [3][3]float64) float64 {
		return c[0][0]*(c[1][1]*c[2][2]-c[1][2]*c[2][1]) - c[0][1]*(c[1][0]*c[2][2]-c[1][2]*c[2][0]) + c[0][2]*(c[1][0]*c[2][1]-c[1][1]*c[2][0])
	}
	d := det(m)
	if math.Abs(d) < 1e-6 {
		return a, frame, false
	}
	solve := func(b [3]float64) (s [3]float64) {
		for k := range 3 {
			c := m
			for i := range 3 {
				c[i][k] = b[i]
			}
			s[k] = det(c) / d
		}
		return s
	}
	sx, sy := solve(bx), solve(by)
	return pixel.Affine{XU: sx[0], XV: sx[1], X0: sx[2], YU: sy[0], YV: sy[1], Y0: sy[2]}, frame, true
}

// back maps a picture point to crop px.
func back(a pixel.Affine, p swing.Point) (u, v float64) {
	d := a.XU*a.YV - a.XV*a.YU
	x, y := p.X-a.X0, p.Y-a.Y0
	return (a.YV*x - a.XV*y) / d, (a.XU*y - a.YU*x) / d
}

// landmarks returns a BlazePose network that sees the people of w.
func (w *world) landmarks(name string) *Network {
	s := &fakeSession{in: make([]float32, 3*256*256), out: map[string][]float32{
		"landmarks": make([]float32, 195), "flag": make([]float32, 1), "heatmap": make([]float32, 64*64*39),
	}}
	for i := range s.out["heatmap"] {
		s.out["heatmap"][i] = -9
	}
	s.run = func(s *fakeSession) error {
		if w.fail != nil {
			return w.fail
		}
		s.out["flag"][0] = 0.01
		a, frame, ok := crop(s.in, 256, func(v float32) float64 { return float64(v) * 255 }, 0)
		if !ok {
			return nil
		}
		best, at := math.Inf(1), -1
		mid := a.Apply(128, 128)
		side := math.Hypot(a.XU, a.YU) * 256
		for i, h := range w.at(frame) {
			// Somebody much smaller or larger than the crop is not seen.
			if d := h.hip.Sub(mid).Norm(); d < best && d < side/3 && h.torso > side/14 && h.torso < side/2.5 {
				best, at = d, i
			}
		}
		if w.slip != nil {
			if k := w.slip(w.time(frame)); k >= 0 {
				at = k
			}
		}
		if at < 0 {
			return nil
		}
		s.out["flag"][0] = 0.97
		h := w.at(frame)[at]
		pts := h.points()
		set := func(k int, p swing.Point) {
			u, v := back(a, p)
			copy(s.out["landmarks"][5*k:], []float32{float32(u), float32(v), 0, 4, 4})
		}
		for k, j := range blazePose39() {
			switch {
			case j == unused:
			case j == leftPinky || j == leftIndex || j == leftThumb:
				set(k, pts[swing.LeftHand])
			case j >= swing.Joint(swing.NumPoints):
				set(k, pts[swing.RightHand])
			default:
				set(k, pts[j])
			}
		}
		set(alignCentre, h.hip)
		set(alignCircle, h.hip.Add(swing.Point{Y: -radiusPerSize * h.torso}))
		return nil
	}
	return &Network{Session: s, Spec: Spec{
		Name: name, Decoder: BlazePose, Width: 256, Height: 256, Layout: pixel.NHWC, Colour: pixel.RGB,
		Std: [3]float64{255, 255, 255}, Keypoints: "blazepose-39",
	}}
}

// detector returns a person detector that sees everybody in w.
func (w *world) detector() *Network {
	s := &fakeSession{in: make([]float32, 3*224*224), out: map[string][]float32{
		"boxes": make([]float32, 2254*12), "scores": make([]float32, 2254),
	}}
	s.run = func(s *fakeSession) error {
		for i := range s.out["scores"] {
			s.out["scores"][i] = -50
		}
		a, frame, ok := crop(s.in, 224, func(v float32) float64 { return (float64(v) + 1) * 127.5 }, 0.5)
		if !ok {
			return errors.New("the letterbox shows nothing")
		}
		for i, h := range w.at(frame) {
			k := 100 * (i + 1) // any anchor serves
			an := anchors()[k]
			u, v := back(a, h.hip)
			_, top := back(a, h.hip.Add(swing.Point{Y: -radiusPerSize * h.torso}))
			size := (v - top) * 0.6
			b := s.out["boxes"][12*k:]
			for c := range 12 {
				b[c] = 0
			}
			b[0], b[1] = float32(u-224*an.X), float32(v-224*an.Y)
			b[2], b[3] = float32(size), float32(size)
			b[4], b[5] = b[0], b[1]
			b[6], b[7] = b[0], float32(top-224*an.Y)
			s.out["scores"][k] = float32(3 - 0.1*float64(i))
		}
		return nil
	}
	return &Network{Session: s, Spec: Spec{
		Name: "det", Decoder: PoseDetector, Width: 224, Height: 224, Layout: pixel.NHWC, Colour: pixel.RGB,
		Mean: [3]float64{127.5, 127.5, 127.5}, Std: [3]float64{127.5, 127.5, 127.5},
	}}
}

// objects returns a NanoDet that sees the people of w and their bats: one box of side 1.2 torsos round the hands.
func (w *world) objects() *Network {
	s := &fakeSession{in: make([]float32, 3*416*416), out: map[string][]float32{}}
	for i, st := range []int{8, 16, 32} {
		n := 416 / st
		s.out[[]string{"scores8", "scores16", "scores32"}[i]] = make([]float32, n*n*80)
		s.out[[]string{"boxes8", "boxes16", "boxes32"}[i]] = make([]float32, n*n*44)
	}
	s.run = func(s *fakeSession) error {
		sc, bx := s.out["scores32"], s.out["boxes32"]
		clear(sc)
		clear(s.out["scores16"])
		a, frame, ok := crop(s.in, 416, func(v float32) float64 { return float64(v) * 255 }, 0.5)
		if !ok {
			return nil
		}
		px := 1 / math.Hypot(a.XU, a.YU)          // crop px a picture px
		side := func(bins []float32, v float64) { // a distribution with mean v over two bins
			for i := range bins {
				bins[i] = -30
			}
			v = max(0, min(9.99, v))
			bins[int(v)] = float32(math.Log(1 - v + math.Floor(v)))
			bins[int(v)+1] = float32(math.Log(v - math.Floor(v) + 1e-9))
		}
		for _, h := range w.at(frame) {
			if u, v := back(a, h.hip); u > 0 && v > 0 && u < 416 && v < 416 {
				i := int(v/16)*26 + int(u/16)
				s.out["scores16"][i*80+classPerson] = 0.7
				cu, cv := (math.Floor(u/16)+0.5)*16, (math.Floor(v/16)+0.5)*16
				r := h.torso * px
				for k, d := range []float64{cu - u + r/2, cv - v + 1.75*r, u - cu + r/2, v - cv + 1.75*r} {
					side(s.out["boxes16"][(4*i+k)*11:][:11], d/16)
				}
			}
			if !h.bat {
				continue
			}
			u, v := back(a, h.hip.Add(h.left.Mid(h.right).Scale(h.torso)))
			if u < 0 || v < 0 || u >= 416 || v >= 416 {
				continue
			}
			cell := int(v/32)*13 + int(u/32)
			sc[cell*80+classBat] = 0.8
			for k := range 4 {
				side(bx[(4*cell+k)*11:][:11], 0.6*h.torso*px/32)
			}
		}
		return nil
	}
	return &Network{Session: s, Spec: Spec{
		Name: "obj", Decoder: NanoDet, Width: 416, Height: 416, Layout: pixel.NHWC, Colour: pixel.RGB, Std: [3]float64{255, 255, 255},
	}}
}

func (w *world) estimator(t testing.TB, o Options) *Estimator {
	t.Helper()
	o.JointCentres = false // made-up people have their joints where they say
	e, err := New(Networks{Detector: w.detector(), Landmarks: w.landmarks("fine"), Scan: w.landmarks("coarse"), Objects: w.objects(), More: w.more}, o)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// The people of the tests. Hands are relative to the hip in torsos, y down.

func standing(x float64, torso float64) human {
	return human{hip: swing.Point{X: x, Y: 110}, torso: torso, left: swing.Point{X: 0.5, Y: 0}, right: swing.Point{X: -0.5, Y: 0}}
}

// hitting swings once, hands fastest at time at: from the rear shoulder past
// the body in 0.2 s.
func hitting(x, torso, t, at float64) human {
	h := standing(x, torso)
	s := 1 / (1 + math.Exp(-(t-at)/0.035)) // 0 before, 1 after
	hand := swing.Point{X: -0.7 + 1.9*s, Y: -0.9 + 0.6*math.Sin(math.Pi*s)}
	h.left, h.right = hand.Add(swing.Point{X: 0.08}), hand.Sub(swing.Point{X: 0.08})
	return h
}

func walking(x0, speed, torso, t float64) human {
	h := standing(x0+speed*torso*t, torso)
	h.left.X += 0.3 * math.Sin(6*t)
	h.right.X -= 0.3 * math.Sin(6*t)
	h.step = 0.3 * math.Sin(6*t)
	return h
}

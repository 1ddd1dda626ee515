package pose

import (
	"math"
	"math/rand/v2"
	"testing"

	"plantframe/pipeline/pixel"
	"plantframe/pipeline/swing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g (± %g)", what, got, want, tol)
	}
}

func session(in int, out map[string]int) *fakeSession {
	s := &fakeSession{in: make([]float32, in), out: map[string][]float32{}}
	for k, n := range out {
		s.out[k] = make([]float32, n)
	}
	return s
}

// MediaPipe's anchor layout: 2254 = 2*28*28 + 2*14*14 + 6*7*7.
func TestAnchors(t *testing.T) {
	a := anchors()
	if len(a) != 2254 {
		t.Fatalf("%d anchors, want 2254", len(a))
	}
	for _, c := range []struct {
		i    int
		x, y float64
	}{
		{0, 0.5 / 28, 0.5 / 28},
		{1, 0.5 / 28, 0.5 / 28},
		{2, 1.5 / 28, 0.5 / 28},
		{56, 0.5 / 28, 1.5 / 28},
		{1567, 27.5 / 28, 27.5 / 28},
		{1568, 0.5 / 14, 0.5 / 14},
		{1570, 1.5 / 14, 0.5 / 14},
		{1960, 0.5 / 7, 0.5 / 7},
		{1965, 0.5 / 7, 0.5 / 7},
		{1966, 1.5 / 7, 0.5 / 7},
		{2253, 6.5 / 7, 6.5 / 7},
	} {
		near(t, "anchor x", a[c.i].X, c.x, 1e-12)
		near(t, "anchor y", a[c.i].Y, c.y, 1e-12)
	}
}

func blazeNet() (*Network, *fakeSession) {
	s := session(3*256*256, map[string]int{"landmarks": 195, "flag": 1, "heatmap": 64 * 64 * 39})
	return &Network{Session: s, Spec: Spec{
		Name: "b", Decoder: BlazePose, Width: 256, Height: 256, Layout: pixel.NHWC, Colour: pixel.RGB,
		Std: [3]float64{255, 255, 255}, Keypoints: "blazepose-39",
	}}, s
}

func TestBlazePoseDecode(t *testing.T) {
	n, s := blazeNet()
	d, err := newBlazeDecoder(n)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.out["heatmap"] {
		s.out["heatmap"][i] = -20
	}
	heat := func(k, col, row int, p float64) {
		s.out["heatmap"][(row*64+col)*39+k] = float32(math.Log(p / (1 - p)))
	}
	s.out["flag"][0] = 0.75
	put := func(k int, x, y, vis, pres float32) {
		copy(s.out["landmarks"][5*k:], []float32{x, y, 7, vis, pres})
	}
	put(0, 100.5, 30.25, 0, 0) // no heat: stays
	put(5, 41, 83, 2, 1)       // cell (10, 20)
	heat(5, 10, 20, 0.8)
	heat(5, 11, 20, 0.4)
	heat(5, 10, 18, 0.4)
	heat(5, 14, 20, 0.9) // 4 cells away: outside the window
	put(6, 41, 83, 2, 1)
	heat(6, 10, 20, 0.49) // not sure enough
	put(7, 2, 255, 0, 0)  // at the border: window clipped
	heat(7, 0, 63, 0.6)
	heat(7, 3, 63, 0.3)
	put(8, -3, 12, 0, 0) // outside: stays, although -3/4 truncates to cell 0
	put(9, -9, 12, 0, 0)
	r := reading{points: make([]point, 39)}
	d.decode(&r)
	near(t, "flag", r.flag, 0.75, 1e-7)
	near(t, "x without heat", r.points[0].x, 100.5, 1e-6)
	near(t, "score", r.points[0].score, 0.25, 1e-9)
	near(t, "score", r.points[5].score, 1/(1+math.Exp(-2))/(1+math.Exp(-1)), 1e-6)
	near(t, "refined x", r.points[5].x, 4*(0.8*10+0.4*11+0.4*10)/1.6, 1e-4)
	near(t, "refined y", r.points[5].y, 4*(0.8*20+0.4*20+0.4*18)/1.6, 1e-4)
	near(t, "unsure x", r.points[6].x, 41, 1e-6)
	near(t, "border x", r.points[7].x, 4*(0.3*3)/0.9, 1e-4)
	near(t, "border y", r.points[7].y, 4*63, 1e-4)
	near(t, "outside x", r.points[9].x, -9, 1e-6)
}

func TestPoseDetectorDecodeAndMerge(t *testing.T) {
	s := session(3*224*224, map[string]int{"boxes": 2254 * 12, "scores": 2254})
	n := &Network{Session: s, Spec: Spec{Name: "d", Decoder: PoseDetector, Width: 224, Height: 224, Layout: pixel.NHWC, Colour: pixel.RGB, Std: [3]float64{1, 1, 1}}}
	r, err := newRunner(n, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	d, err := newPoseDetector(r)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.out["scores"] {
		s.out["scores"][i] = -1000 // clipped, not overflowing
	}
	// Two overlapping detections around (112,112) in input px, one apart,
	// one too weak.
	put := func(k int, logit float32, cx, cy, side float32) {
		a := anchors()[k]
		ax, ay := float32(224*a.X), float32(224*a.Y)
		s.out["scores"][k] = logit
		copy(s.out["boxes"][12*k:], []float32{cx - ax, cy - ay, side, side, cx - ax, cy - ay + 10, cx - ax, cy - ay - 50})
	}
	put(400, 2, 112, 112, 40)
	put(1700, 0.5, 116, 112, 40)
	put(2000, 1, 30, 150, 30)
	put(900, -0.1, 200, 100, 30)
	d.decode()
	if len(d.found) != 2 {
		t.Fatalf("%d people, want 2", len(d.found))
	}
	w1, w2 := sigmoid(2), sigmoid(0.5)
	m := d.found[0]
	near(t, "score of the best", m.score, w1, 1e-6)
	near(t, "merged x", 224*m.v[0], (112*w1+116*w2)/(w1+w2), 1e-4)
	near(t, "merged hip x", 224*m.v[4], (112*w1+116*w2)/(w1+w2), 1e-4)
	near(t, "merged hip y", 224*m.v[5], 122, 1e-4)
	near(t, "merged circle y", 224*m.v[7], 62, 1e-4)
	near(t, "second", 224*d.found[1].v[0], 30, 1e-4)
	// In the picture: 448x224 letterboxed has scale 2 and 56 px bands.
	f := swing.Frame{Width: 448, Height: 224, Pix: make([]byte, 3*448*224)}
	out, err := d.detect(f, nil)
	if err != nil || len(out) != 2 {
		t.Fatalf("%d people, %v", len(out), err)
	}
	near(t, "hip x in the picture", out[1].hip.X, 60, 1e-3)
	near(t, "hip y in the picture", out[1].hip.Y, 2*(160-56), 1e-3)
	near(t, "radius in the picture", out[1].radius, 120, 1e-3)
}

// The merge against a plain restatement of its definition.
func TestMergeOverlapping(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		in := make([]raw, rng.IntN(12))
		for i := range in {
			in[i].score = 0.5 + 0.5*rng.Float64()
			in[i].v[0], in[i].v[1] = rng.Float64(), rng.Float64()
			in[i].v[2], in[i].v[3] = 0.3, 0.3
		}
		rest := append([]raw(nil), in...)
		var want []raw
		for len(rest) > 0 {
			b := 0
			for i := range rest {
				if rest[i].score > rest[b].score {
					b = i
				}
			}
			best := rest[b]
			var group, left []raw
			for _, c := range rest {
				if overlap(best.box(), c.box()) > 0.3 {
					group = append(group, c)
				} else {
					left = append(left, c)
				}
			}
			var m raw
			sum := 0.0
			for _, c := range group {
				sum += c.score
				for k := range c.v {
					m.v[k] += c.score * c.v[k]
				}
			}
			for k := range m.v {
				m.v[k] /= sum
			}
			m.score = best.score
			want, rest = append(want, m), left
		}
		got := mergeOverlapping(in)
		if len(got) != len(want) {
			t.Fatalf("%d merged, want %d", len(got), len(want))
		}
		for i := range got {
			near(t, "score", got[i].score, want[i].score, 1e-12)
			for k := range got[i].v {
				near(t, "value", got[i].v[k], want[i].v[k], 1e-12)
			}
		}
	}
	bad := []raw{{score: 0.9}, {score: 0.8}}
	bad[0].v[0] = math.NaN()
	mergeOverlapping(bad) // must end
}

func TestMoveNetDecode(t *testing.T) {
	const side, cells = 192, 48
	s := session(3*side*side, map[string]int{"heatmap": cells * cells * 17, "centre": cells * cells, "regress": cells * cells * 34, "offset": cells * cells * 34})
	n := &Network{Session: s, Spec: Spec{
		Name: "m", Decoder: MoveNet, Width: side, Height: side, Layout: pixel.NHWC, Colour: pixel.RGB,
		Std: [3]float64{1, 1, 1}, Keypoints: "coco-17",
	}}
	d, err := newMoveNetDecoder(n)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range []string{"heatmap", "centre"} {
		for i := range s.out[m] {
			s.out[m][i] = -12
		}
	}
	// Two people: one in the middle wins over a slightly surer one far out.
	s.out["centre"][24*cells+26] = 1
	s.out["centre"][4*cells+4] = 2
	at := 24*cells + 26
	s.out["regress"][34*at+2*5], s.out["regress"][34*at+2*5+1] = -10, 3 // joint 5 near row 14, column 29
	s.out["heatmap"][17*(13*cells+30)+5] = 1.5
	s.out["heatmap"][17*(40*cells+5)+5] = 3 // another person's shoulder
	s.out["offset"][34*(13*cells+30)+10], s.out["offset"][34*(13*cells+30)+11] = 0.25, 0.5
	r := reading{points: make([]point, 17)}
	d.decode(&r)
	near(t, "y", r.points[5].y, (13+0.25)*4, 1e-5)
	near(t, "x", r.points[5].x, (30+0.5)*4, 1e-5)
	near(t, "score", r.points[5].score, sigmoid(1.5), 1e-6)
	// The pruned search against the plain one on random maps.
	rng := rand.New(rand.NewPCG(3, 4))
	for i := range s.out["heatmap"] {
		s.out["heatmap"][i] = float32(rng.NormFloat64() * 4)
	}
	for j := range 17 {
		y, x := rng.Float64()*cells, rng.Float64()*cells
		best, want := -1.0, 0
		for k := range cells * cells {
			v := sigmoid(float64(s.out["heatmap"][17*k+j])) / (math.Hypot(float64(k/cells)-y, float64(k%cells)-x) + 1.8)
			if v > best {
				best, want = v, k
			}
		}
		if got := d.peak(d.heatmap, 17, j, y, x); got != want {
			t.Errorf("joint %d: cell %d, want %d", j, got, want)
		}
	}
}

// bump fills a map with a Gaussian of sigma 1.5 cells around (x,y).
func bump(m []float32, w, h int, x, y, height float64) {
	for i := range h {
		for j := range w {
			dx, dy := float64(j)-x, float64(i)-y
			m[i*w+j] = float32(height * math.Exp(-(dx*dx+dy*dy)/4.5))
		}
	}
}

func heatNet(refine Refine, k, w, h int) (*Network, *fakeSession) {
	s := session(3*4*w*4*h, map[string]int{"heatmap": k * w * h})
	return &Network{Session: s, Spec: Spec{
		Name: "h", Decoder: Heatmap, Width: 4 * w, Height: 4 * h, Layout: pixel.NCHW, Colour: pixel.RGB, Std: [3]float64{1, 1, 1},
		MapWidth: w, MapHeight: h, Refine: refine, Keypoints: "coco-17",
	}}, s
}

func TestHeatmapDecode(t *testing.T) {
	for _, c := range []struct {
		refine Refine
		tol    float64 // cells
	}{{RefineNone, 0.51}, {RefineQuarter, 0.26}, {RefineTaylor, 1e-3}, {"", 0.26}} {
		n, s := heatNet(c.refine, 17, 48, 64)
		d, err := newHeatmapDecoder(n, 17)
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		rng := rand.New(rand.NewPCG(9, 9))
		for range 20 {
			want := make([]swing.Point, 17)
			for k := range 17 {
				want[k] = swing.Point{X: 3 + rng.Float64()*41, Y: 3 + rng.Float64()*57}
				bump(s.out["heatmap"][k*48*64:][:48*64], 48, 64, want[k].X, want[k].Y, 0.8)
			}
			r := reading{points: make([]point, 17)}
			d.decode(&r)
			for k, p := range r.points {
				worst = math.Max(worst, math.Max(math.Abs(p.x/4-want[k].X), math.Abs(p.y/4-want[k].Y)))
				if p.score < 0.7 || p.score > 0.8001 {
					t.Errorf("score %g, want the peak, near 0.8", p.score)
				}
			}
		}
		if worst > c.tol || (c.refine != RefineTaylor && worst < c.tol/2) {
			t.Errorf("%q: worst error %.4f cells, want up to %g", c.refine, worst, c.tol)
		}
	}
}

// A mirrored map gives the mirrored place.
func TestHeatmapMirror(t *testing.T) {
	for _, refine := range []Refine{RefineNone, RefineQuarter, RefineTaylor} {
		n, s := heatNet(refine, 17, 32, 32)
		d, _ := newHeatmapDecoder(n, 17)
		bump(s.out["heatmap"], 32, 32, 10.3, 12.4, 1)
		bump(s.out["heatmap"][32*32:], 32, 32, 31-10.3, 12.4, 1)
		r := reading{points: make([]point, 17)}
		d.decode(&r)
		near(t, string(refine), r.points[1].x, 31*4-r.points[0].x, 1e-3)
		near(t, string(refine), r.points[1].y, r.points[0].y, 1e-3)
	}
}

func TestSimCCDecode(t *testing.T) {
	s := session(3*192*256, map[string]int{"x": 17 * 384, "y": 17 * 512})
	n := &Network{Session: s, Spec: Spec{Name: "s", Decoder: SimCC, Width: 192, Height: 256, Layout: pixel.NCHW, Colour: pixel.RGB, Std: [3]float64{1, 1, 1}, Split: 2}}
	d, err := newSimCCDecoder(n, 17)
	if err != nil {
		t.Fatal(err)
	}
	s.out["x"][3*384+101], s.out["y"][3*512+300] = 0.9, 0.6
	s.out["x"][4*384+383], s.out["y"][4*512+511] = 1.7, 1.2
	r := reading{points: make([]point, 17)}
	d.decode(&r)
	near(t, "x", r.points[3].x, 50.5, 1e-9)
	near(t, "y", r.points[3].y, 150, 1e-9)
	near(t, "score is the lower peak", r.points[3].score, 0.6, 1e-6)
	near(t, "score is capped", r.points[4].score, 1, 1e-9)
	near(t, "last bin", r.points[4].x, 191.5, 1e-9)
	if _, err := newSimCCDecoder(&Network{Session: s, Spec: Spec{Width: 192, Height: 256}}, 17); err == nil {
		t.Error("a split of 0 was accepted")
	}
}

func TestNanoDetDecode(t *testing.T) {
	w := &world{w: 208, h: 208, people: func(float64) []human { return nil }}
	n := w.objects()
	s := n.Session.(*fakeSession)
	s.run = nil
	e := &Estimator{}
	d, err := e.newNanoDet(n)
	if err != nil {
		t.Fatal(err)
	}
	put := func(level string, cell int, class int, score float32, sides [4]int) {
		s.out["scores"+level][cell*80+class] = score
		for k, v := range sides {
			for b := range 11 {
				s.out["boxes"+level][(4*cell+k)*11+b] = -40
			}
			s.out["boxes"+level][(4*cell+k)*11+v] = 40
		}
	}
	put("16", 3*26+5, classBat, 0.6, [4]int{1, 2, 3, 4})
	put("16", 3*26+6, classBat, 0.5, [4]int{2, 2, 2, 4}) // the same box again: suppressed
	put("8", 40*52+40, classBat, 0.3, [4]int{1, 1, 1, 1})
	put("32", 0, classPerson, 0.9, [4]int{1, 1, 1, 1})
	put("32", 5, classBat, 0.05, [4]int{1, 1, 1, 1}) // too weak
	// Half a bin between 2 and 3: the mean of an even distribution.
	s.out["boxes8"][(4*(40*52+40)+0)*11+1] = -40
	s.out["boxes8"][(4*(40*52+40)+0)*11+2] = 7
	s.out["boxes8"][(4*(40*52+40)+0)*11+3] = 7
	f := swing.Frame{Width: 208, Height: 208, Pix: make([]byte, 3*208*208)}
	got, err := d.look(f, pixel.Fit(208, 208, 416, 416), classBat, 0.1)
	if err != nil || len(got) != 2 {
		t.Fatalf("%d boxes, %v", len(got), err)
	}
	// Cell (5,3) at stride 16: centre (88,56); the picture is half as large.
	near(t, "x0", got[0].box.X0, (88-16)/2, 1e-4)
	near(t, "y0", got[0].box.Y0, (56-32)/2, 1e-4)
	near(t, "x1", got[0].box.X1, (88+48)/2, 1e-4)
	near(t, "y1", got[0].box.Y1, (56+64)/2, 1e-4)
	near(t, "x0 between bins", got[1].box.X0, (324-20)/2.0, 1e-4)
	people, err := d.detect(f, nil)
	if err != nil || len(people) != 1 {
		t.Fatalf("%d people, %v", len(people), err)
	}
	near(t, "person's middle", people[0].hip.X, 8, 1e-4)
	near(t, "person's radius", people[0].radius, 16, 1e-4)
}

func TestKeypointSets(t *testing.T) {
	b := blazePose39()
	for i, j := range map[int]swing.Joint{0: swing.Nose, 2: swing.LeftEye, 5: swing.RightEye, 11: swing.LeftShoulder, 16: swing.RightWrist, 19: leftIndex, 22: rightThumb, 24: swing.RightHip, 29: swing.LeftHeel, 32: swing.RightBigToe, 9: unused, 33: unused, 38: unused} {
		if b[i] != j {
			t.Errorf("BlazePose point %d is %v, want %v", i, b[i], j)
		}
	}
	names := []string{"head", "left_hip", "right_hip", "left_shoulder", "right_shoulder", "left_big_toe", "left_small_toe", "left_thumb"}
	set, err := keypointSet(Spec{Keypoints: "custom", Names: names})
	if err != nil || set[0] != unused || set[5] != swing.LeftBigToe || set[6] != unused || set[7] != leftThumb {
		t.Errorf("custom set %v, %v", set, err)
	}
	for _, bad := range []Spec{
		{Keypoints: "coco"}, {Keypoints: "custom", Names: names[1:3]}, {Keypoints: "custom", Names: append(names, "left_hip")},
	} {
		if _, err := keypointSet(bad); err == nil {
			t.Errorf("%v accepted", bad)
		}
	}
}

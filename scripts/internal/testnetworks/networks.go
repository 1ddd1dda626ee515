package main

import "plantframe/models/onnx"

// heatmap: one map a point at stride 4; the peak is where the marker is, and the higher neighbour tells on which side
// of the cell it lies.
func heatmap() network {
	p := picture{
		w: 192, h: 256, nchw: true, bgr: true,
		mean: [3]float32{103.53, 116.28, 123.675}, std: [3]float32{57.375, 57.12, 58.395},
	}
	m := find("heatmap", p, coco())
	m.Add("Clip", "maps", []string{m.scaled(m.cells(m.match), 1.2, 0), m.Float32("low", 0), m.Float32("high", 1)})
	m.Output("maps", 1, m.k, p.h/4, p.w/4)
	return network{"heatmap", m.Graph, `# A tiny network for tests; see README.md. Written by scripts/make-test-networks.
id: test-heatmap
title: "17 coloured markers, one map a point"
purpose: landmarks
licence: none
origin: made for tests
source: {path: heatmap.onnx}
convert: none
sha256: %s
input: {name: input, width: 192, height: 256, layout: nchw, colour: bgr, mean: [103.53, 116.28, 123.675], std: [57.375, 57.12, 58.395]}
keypoints: coco-17
decoder: heatmap
outputs:
  - {name: heatmap, tensor: maps, shape: [1, 17, 64, 48]} # scores 0..1
`}
}

// simcc: two vectors a point, two bins a px; bin i stands for px i/2.
func simcc() network {
	p := picture{
		w: 192, h: 256, nchw: true,
		mean: [3]float32{123.675, 116.28, 103.53}, std: [3]float32{58.395, 57.12, 57.375},
	}
	m := find("simcc", p, coco())
	vector := func(out string, along, across, length, rows, columns int64) {
		v := m.sum(out+"_profile", m.match, across)
		v = m.smooth(v, rows, columns)
		shape := []int64{1, m.k, 1, 1}
		shape[along] = 2 * length
		v = m.Add("Resize", out+"_fine", []string{v, "", "", m.Int64s("size", shape...)}, onnx.String("mode", "linear"),
			onnx.String("coordinate_transformation_mode", "asymmetric"))
		peak := m.Add("ReduceMax", out+"_peak", []string{v}, onnx.Ints("axes", along))
		peak = m.Add("Max", out+"_divisor", []string{peak, m.Float32("epsilon", 1e-6)})
		v = m.times(m.Add("Div", out+"_unit", []string{v, peak}), m.seen)
		m.reshape(out, v, 1, m.k, 2*length)
		m.Output(out, 1, m.k, 2*length)
	}
	vector("simcc_x", 3, 2, p.w, 1, 9)
	vector("simcc_y", 2, 3, p.h, 9, 1)
	return network{"simcc", m.Graph, `# A tiny network for tests; see README.md. Written by scripts/make-test-networks.
id: test-simcc
title: "17 coloured markers, two vectors a point"
purpose: landmarks
licence: none
origin: made for tests
source: {path: simcc.onnx}
convert: none
sha256: %s
input: {name: input, width: 192, height: 256, layout: nchw, colour: rgb, mean: [123.675, 116.28, 103.53], std: [58.395, 57.12, 57.375]}
keypoints: coco-17
decoder: simcc
params: {split: 2} # bins a px
outputs:
  - {name: x, tensor: simcc_x, shape: [1, 17, 384]} # scores 0..1
  - {name: y, tensor: simcc_y, shape: [1, 17, 512]}
`}
}

// blazepose: 39 points whose regressed place is off by (+1.5, -1) px on purpose, which the heatmap puts right; points
// 33 and 34 are the middle of the hips and a point 1.2 times as far from it as the nose.
func blazepose() network {
	p := picture{w: 256, h: 256, std: [3]float32{255, 255, 255}}
	points := make([]int, 33)
	for i := range points {
		points[i] = i
	}
	m := find("blazepose", p, points)
	column := func(body string, v string, shift float32) string {
		hips := m.scaled(m.plus(m.slice(v, 23, 24), m.slice(v, 24, 25)), 0.5, 0)
		nose := m.slice(v, 0, 1)
		edge := m.plus(hips, m.scaled(m.minus(nose, hips), 1.2, 0))
		rest := m.floats("rest", []int64{1, 4, 1, 1}, 0, 0, 0, 0)
		return m.join(body, 1, m.scaled(v, 1, shift), hips, edge, rest)
	}
	depth := m.floats("depth", []int64{1, 39, 1, 1}, make([]float32, 39)...)
	sure := m.scaled(m.join("sure", 1, m.seen, m.floats("unmarked", []int64{1, 6, 1, 1}, 0, 0, 0, 0, 0, 0)), 20, -10)
	all := m.join("table", 2, column("column_x", m.x, 1.5), column("column_y", m.y, -1), depth, sure, sure)
	m.reshape("points", all, 1, 195)
	m.Output("points", 1, 195)
	m.reshape("person", m.Add("ReduceMean", "mean_seen", []string{m.seen}, onnx.Ints("axes", 1)), 1, 1)
	m.Output("person", 1, 1)
	// The logit of the share of a cell that has the marker's colour.
	share := m.Add("Clip", "share", []string{m.scaled(m.cells(m.match), 1.2, 0), m.Float32("low", 6e-6), m.Float32("high", 0.99)})
	maps := m.Add("Log", "logit", []string{m.Add("Div", "odds", []string{share, m.scaled(share, -1, 1)})})
	maps = m.Add("Pad", "maps_39", []string{maps, m.Int64s("pads", 0, 0, 0, 0, 0, 6, 0, 0), m.Float32("nothing", -12)})
	m.last("maps", maps)
	m.Output("maps", 1, 64, 64, 39)
	return network{"blazepose", m.Graph, `# A tiny network for tests; see README.md. Written by scripts/make-test-networks.
id: test-blazepose
title: "33 coloured markers in the form of BlazePose"
purpose: landmarks
licence: none
origin: made for tests
source: {path: blazepose.onnx}
convert: none
sha256: %s
input: {name: input, width: 256, height: 256, layout: nhwc, colour: rgb, mean: [0, 0, 0], std: [255, 255, 255]}
keypoints: blazepose-39
decoder: blazepose
outputs:
  - {name: landmarks, tensor: points, shape: [1, 195]}
  - {name: flag, tensor: person, shape: [1, 1]} # 0..1
  - {name: heatmap, tensor: maps, shape: [1, 64, 64, 39]} # logits
`}
}

// movenet: the four heads at stride 4. Each point's map shows the marker of the other side as well, so that only the
// regressed place tells them apart; that place is right near the centre alone, and offsets end at 0.75 cells.
func movenet() network {
	p := picture{w: 256, h: 256, std: [3]float32{1, 1, 1}}
	m := find("movenet", p, coco())
	const n = 64 // cells a side
	maps := m.scaled(m.cells(m.match), 20, -6)
	other := m.Add("Gather", "other_side", []string{maps, m.Int64s("swap", 0, 2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11, 14, 13, 16, 15)}, onnx.Int("axis", 1))
	m.last("kpt_heatmap", m.Add("Max", "both_sides", []string{maps, other}))
	m.Output("kpt_heatmap", 1, n, n, m.k)

	x, y := m.scaled(m.x, 0.25, 0), m.scaled(m.y, 0.25, 0) // cells
	columns, rows := m.ramp("cell_columns", n, 1, 1, 1, n), m.ramp("cell_rows", n, 1, 1, n, 1)
	hips := func(v string) string { return m.scaled(m.plus(m.slice(v, 11, 12), m.slice(v, 12, 13)), 0.5, 0) }
	square := func(v string) string { return m.times(v, v) }
	far := m.plus(square(m.minus(columns, hips(x))), square(m.minus(rows, hips(y)))) // [1,1,n,n], square cells
	// 2 at the centre, 0 one cell away: steeper than the decoder's liking for the middle of the crop.
	m.last("center", m.scaled(far, -2, 2))
	m.Output("center", 1, n, n, 1)

	dx, dy := m.minus(x, columns), m.minus(y, rows) // [1,17,1,n], [1,17,n,1]
	full := m.Int64s("cells", 1, m.k, n, n)
	pair := func(name string, change func(string) string) string { // y and x of each point in turn
		var parts []string
		for _, v := range []string{dy, dx} {
			parts = append(parts, m.reshape(m.New(name+"_part"), change(m.Add("Expand", m.New(name+"_cells"), []string{v, full})), 1, m.k, 1, n, n))
		}
		return m.reshape(m.New(name+"_pairs"), m.join(m.New(name+"_joined"), 2, parts...), 1, 2*m.k, n, n)
	}
	near := m.Add("Clip", "near", []string{m.scaled(far, -1, 3), m.Float32("low", 0), m.Float32("high", 1)})
	m.last("kpt_regress", pair("regress", func(v string) string { return m.times(v, near) }))
	m.Output("kpt_regress", 1, n, n, 2*m.k)
	m.last("kpt_offset", pair("offset", func(v string) string {
		return m.Add("Clip", m.New("short"), []string{v, m.Float32("least", -0.75), m.Float32("most", 0.75)})
	}))
	m.Output("kpt_offset", 1, n, n, 2*m.k)
	return network{"movenet", m.Graph, `# A tiny network for tests; see README.md. Written by scripts/make-test-networks.
id: test-movenet
title: "17 coloured markers in the form of MoveNet's heads"
purpose: landmarks
licence: none
origin: made for tests
source: {path: movenet.onnx}
convert: none
sha256: %s
input: {name: input, width: 256, height: 256, layout: nhwc, colour: rgb, mean: [0, 0, 0], std: [1, 1, 1]}
keypoints: coco-17
decoder: movenet
outputs:
  - {name: heatmap, tensor: kpt_heatmap, shape: [1, 64, 64, 17]} # logits
  - {name: centre, tensor: center, shape: [1, 64, 64, 1]} # logit
  - {name: regress, tensor: kpt_regress, shape: [1, 64, 64, 34]}
  - {name: offset, tensor: kpt_offset, shape: [1, 64, 64, 34]}
`}
}

// detector: the nose and the hips give one box; the anchors near the hips report it.
func detector() network {
	const size = 224
	p := picture{w: size, h: size, mean: [3]float32{127.5, 127.5, 127.5}, std: [3]float32{127.5, 127.5, 127.5}}
	m := find("detector", p, []int{0, 23, 24})
	// Coordinates count from the corner of the picture: the middle of px i is i + 0.5.
	at := func(v string) (hips, edge string) {
		v = m.scaled(m.reshape(m.New("row"), v, 1, 3, 1), 1, 0.5)
		hips = m.scaled(m.plus(m.slice(v, 1, 2), m.slice(v, 2, 3)), 0.5, 0)
		return hips, m.plus(hips, m.scaled(m.minus(m.slice(v, 0, 1), hips), 1.2, 0))
	}
	hx, ex := at(m.x)
	hy, ey := at(m.y)
	radius := m.Add("Abs", "radius", []string{m.minus(hy, ey)})
	row := m.join("numbers", 2, hx, hy, radius, m.scaled(radius, 2, 0), hx, hy, ex, ey, hx, hy, ex, ey)

	// Anchors: 2 a cell at stride 8 and 16, 6 at stride 32; rows first.
	var xs, ys []string
	for _, layer := range []struct{ stride, per int64 }{{8, 2}, {16, 2}, {32, 6}} {
		n := size / layer.stride
		centres := m.scaled(m.ramp("cells", n, n), float32(layer.stride), float32(layer.stride)/2)
		whole := m.Int64s("grid", n, n, layer.per)
		for i, list := range []*[]string{&xs, &ys} {
			shape := []int64{n, 1, 1}
			if i == 0 {
				shape = []int64{1, n, 1}
			}
			v := m.Add("Expand", m.New("anchor"), []string{m.reshape(m.New("line"), centres, shape...), whole})
			*list = append(*list, m.reshape(m.New("anchors"), v, 1, -1, 1))
		}
	}
	ax, ay := m.join("anchors_x", 1, xs...), m.join("anchors_y", 1, ys...)
	none := m.times(ax, m.Float32("zero", 0))
	m.Add("Sub", "regressors", []string{row, m.join("anchors_row", 2, ax, ay, none, none, ax, ay, ax, ay, ax, ay, ax, ay)})
	m.Output("regressors", 1, 2254, 12)

	// 10 at the hips, 0 from 32 px away; 20 less without the three markers.
	square := func(v string) string { return m.times(v, v) }
	far := m.plus(square(m.minus(ax, hx)), square(m.minus(ay, hy)))
	all := m.Add("ReduceMin", "all_seen", []string{m.reshape(m.New("row"), m.seen, 1, 3, 1)}, onnx.Ints("axes", 1))
	m.Add("Add", "classificators", []string{m.scaled(far, -10./(32*32), 10), m.scaled(all, 20, -20)})
	m.Output("classificators", 1, 2254, 1)
	return network{"detector", m.Graph, `# A tiny network for tests; see README.md. Written by scripts/make-test-networks.
id: test-detector
title: "A body of coloured markers in the form of the BlazePose detector"
purpose: detector
licence: none
origin: made for tests
source: {path: detector.onnx}
convert: none
sha256: %s
input: {name: input, width: 224, height: 224, layout: nhwc, colour: rgb, mean: [127.5, 127.5, 127.5], std: [127.5, 127.5, 127.5]}
decoder: blazepose-detector
outputs:
  - {name: boxes, tensor: regressors, shape: [1, 2254, 12]} # px of the input
  - {name: scores, tensor: classificators, shape: [1, 2254, 1]} # logits
`}
}

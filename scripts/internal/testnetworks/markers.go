package main

import "plantframe/models/onnx"

// colours are the colours of the markers, by BlazePose index: the colours whose channels are 0, 64, 128, 192 or 255 and
// of which at least one is 255, counted up with blue fastest. Any two differ by 63 or more in the sum of channels, and
// so does a mixture of one of them with black from every other one.
func colours() [][3]float32 {
	levels := []float32{0, 64, 128, 192, 255}
	var list [][3]float32
	for _, r := range levels {
		for _, g := range levels {
			for _, b := range levels {
				if max(r, g, b) == 255 {
					list = append(list, [3]float32{r, g, b})
				}
			}
		}
	}
	return list
}

// coco lists the BlazePose indexes of the 17 COCO points.
func coco() []int { return []int{0, 2, 5, 7, 8, 11, 12, 13, 14, 15, 16, 23, 24, 25, 26, 27, 28} }

// picture is how a network takes its input.
type picture struct {
	w, h      int64
	nchw, bgr bool
	mean, std [3]float32 // in the order of the tensor
}

// markers finds markers in a picture.
type markers struct {
	*onnx.Graph
	picture
	k     int64  // number of markers
	match string // [1,k,h,w], 1 where the picture has the marker's colour, 0 from 60 levels away
	mass  string // [1,k,1,1], sum of match
	x, y  string // [1,k,1,1], centre of match, index of px
	seen  string // [1,k,1,1], 1 when a marker has 2 px or more, 0 for none
}

// find starts a network that looks for the markers of the given BlazePose indexes.
func find(name string, p picture, points []int) *markers {
	g := onnx.NewGraph(name)
	m := &markers{Graph: g, picture: p, k: int64(len(points))}
	var in string
	if p.nchw {
		in = g.Input("input", 1, 3, p.h, p.w)
	} else {
		in = g.Add("Transpose", "channels_first", []string{g.Input("input", 1, p.h, p.w, 3)}, onnx.Ints("perm", 0, 3, 1, 2))
	}
	// Three differences a marker: (byte - colour) / 60, the byte being value*std + mean.
	const tolerance = 60
	weights, bias := make([]float32, 9*m.k), make([]float32, 3*m.k)
	for i, point := range points {
		for c, level := range colours()[point] {
			t := c // place of the colour in the tensor
			if p.bgr {
				t = 2 - c
			}
			weights[(3*i+c)*3+t] = p.std[t] / tolerance
			bias[3*i+c] = (p.mean[t] - level) / tolerance
		}
	}
	d := g.Add("Conv", "difference", []string{
		in, m.floats("colour", []int64{3 * m.k, 3, 1, 1}, weights...), m.floats("offset", []int64{3 * m.k}, bias...),
	})
	// 1 - the sum of the three sizes, not below 0.
	ones, one := make([]float32, 3*m.k), make([]float32, m.k)
	for i := range ones {
		ones[i] = -1
	}
	for i := range one {
		one[i] = 1
	}
	d = g.Add("Abs", "size", []string{d})
	d = g.Add("Conv", "likeness", []string{
		d, m.floats("minus", []int64{m.k, 3, 1, 1}, ones...), m.floats("one", []int64{m.k}, one...),
	}, onnx.Int("group", m.k))
	m.match = g.Add("Relu", "match", []string{d})

	m.mass = m.sum("mass", m.match, 2, 3)
	some := g.Add("Max", "some", []string{m.mass, g.Float32("epsilon", 1e-6)})
	m.x = g.Add("Div", "x_centre", []string{m.sum("x_sum", m.times(m.match, m.ramp("columns", p.w, 1, 1, 1, p.w)), 2, 3), some})
	m.y = g.Add("Div", "y_centre", []string{m.sum("y_sum", m.times(m.match, m.ramp("rows", p.h, 1, 1, p.h, 1)), 2, 3), some})
	m.seen = g.Add("Min", "seen", []string{m.times(m.mass, g.Float32("half", 0.5)), g.Float32("full", 1)})
	return m
}

// floats adds a constant.
func (m *markers) floats(hint string, dims []int64, v ...float32) string {
	return m.Constant(onnx.Float32s(m.New(hint), dims, v))
}

// ramp adds the constant 0, 1, 2 ... n-1 of a shape.
func (m *markers) ramp(hint string, n int64, dims ...int64) string {
	v := make([]float32, n)
	for i := range v {
		v[i] = float32(i)
	}
	return m.floats(hint, dims, v...)
}

func (m *markers) times(a, b string) string { return m.Add("Mul", m.New("product"), []string{a, b}) }
func (m *markers) plus(a, b string) string  { return m.Add("Add", m.New("sum"), []string{a, b}) }
func (m *markers) minus(a, b string) string { return m.Add("Sub", m.New("difference"), []string{a, b}) }

// scaled is a*v + b.
func (m *markers) scaled(v string, a, b float32) string {
	return m.plus(m.times(v, m.Float32("factor", a)), m.Float32("summand", b))
}

// sum adds up along axes, which stay with length 1.
func (m *markers) sum(out, v string, axes ...int64) string {
	return m.Add("ReduceSum", out, []string{v, m.Int64s("axes", axes...)})
}

// reshape gives a shape.
func (m *markers) reshape(out, v string, dims ...int64) string {
	return m.Add("Reshape", out, []string{v, m.Int64s("shape", dims...)})
}

// slice takes channels from..to-1 of axis 1.
func (m *markers) slice(v string, from, to int64) string {
	return m.Add("Slice", m.New("slice"), []string{v, m.Int64s("from", from), m.Int64s("to", to), m.Int64s("axis", 1)})
}

// smooth averages n rows and n columns twice, 1 for none; n is odd.
func (m *markers) smooth(v string, rows, columns int64) string {
	for range 2 {
		v = m.Add("AveragePool", m.New("smooth"), []string{v}, onnx.Ints("kernel_shape", rows, columns),
			onnx.Ints("pads", rows/2, columns/2, rows/2, columns/2), onnx.Int("count_include_pad", 1))
	}
	return v
}

// cells shrinks a map to cells of 4 px; the middle of cell j lies on px 4j. Two averages over 4 px, one ahead of the
// other, weigh px by 1 2 3 4 3 2 1, so that a px counts for its two neighbouring cells by how near they are.
func (m *markers) cells(v string) string {
	kernel, count := onnx.Ints("kernel_shape", 4, 4), onnx.Int("count_include_pad", 1)
	v = m.Add("AveragePool", m.New("cells"), []string{v}, kernel, onnx.Ints("pads", 1, 1, 2, 2), count)
	return m.Add("AveragePool", m.New("cells"), []string{v}, kernel, onnx.Ints("pads", 2, 2, 1, 1), count, onnx.Ints("strides", 4, 4))
}

// last brings channels to the end.
func (m *markers) last(out, v string) string {
	return m.Add("Transpose", out, []string{v}, onnx.Ints("perm", 0, 2, 3, 1))
}

// join concatenates along an axis.
func (m *markers) join(out string, axis int64, parts ...string) string {
	return m.Add("Concat", out, parts, onnx.Int("axis", axis))
}

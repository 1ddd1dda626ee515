package tfjs_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// Every operator on a graph small enough to work the answer out by hand.

type operatorCase struct {
	name  string
	graph *graph
	in    []float32
	shape []int64
	want  []float32
}

func check(t *testing.T, tests []operatorCase) {
	t.Helper()
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, shape := tt.graph.run(t, tt.in)
			if !slices.Equal(shape, tt.shape) {
				t.Fatalf("shape %v, want %v", shape, tt.shape)
			}
			if len(got) != len(tt.want) {
				t.Fatalf("%d values, want %d", len(got), len(tt.want))
			}
			for i := range got {
				if !(math.Abs(float64(got[i]-tt.want[i])) <= 1e-5) {
					t.Fatalf("value %d is %v, want %v\n got %v\nwant %v", i, got[i], tt.want[i], got, tt.want)
				}
			}
		})
	}
}

func TestConvolutions(t *testing.T) {
	ones := slices.Repeat([]float32{1}, 9)
	window := func(channel0 ...float32) []float32 { // a 3x3 filter for channel 0 of 3
		var w []float32
		for _, x := range channel0 {
			w = append(w, x, 0, 0)
		}
		return w
	}
	nchw := &graph{}
	nchw.placeholder("x", "DT_FLOAT", 1, 3, 1, 2)
	nchw.floats("w", []int{1, 1, 3, 2}, 1, 10, 2, 20, 3, 30).
		op("Conv2D", "y", []string{"x", "w"}, attrs{"data_format": txt("NCHW"), "strides": nums(1, 1, 1, 1)})
	inside := input(1, 1)
	wide := &graph{}
	wide.placeholder("x", "DT_FLOAT", 1, 3, 1, 3)
	wide.floats("w", []int{1, 2, 3, 1}, 1, 0, 0, 10, 0, 0).op("Conv2D", "y", []string{"x", "w"}, attrs{
		"data_format": txt("NCHW"), "strides": nums(1, 1, 3, 2), "padding": txt("SAME"),
	})
	check(t, []operatorCase{
		{
			// y0 = x0 + 2 x1 + 3 x2, y1 ten times that
			"1x1", input(1, 2).floats("w", []int{1, 1, 3, 2}, 1, 10, 2, 20, 3, 30).op("Conv2D", "y", []string{"x", "w"}, nil),
			[]float32{1, 2, 3, 4, 5, 6},
			[]int64{1, 1, 2, 2},
			[]float32{14, 140, 32, 320},
		},
		{
			// Columns two apart, times 1 and 10: rows and columns must not change places.
			"channels first columns", wide,
			[]float32{1, 2, 3, 0, 0, 0, 0, 0, 0},
			[]int64{1, 1, 1, 2},
			[]float32{21, 3},
		},
		{
			// A border that is not 0 is no padding of the convolution.
			"border of ones", inside.ints("p", []int{4, 2}, 0, 0, 0, 0, 1, 1, 0, 0).floats("v", nil, 1).
				op("PadV2", "padded", []string{inside.through("x"), "p", "v"}, nil).floats("w", []int{1, 3, 3, 1}, 1, 0, 0, 10, 0, 0, 100, 0, 0).
				op("Conv2D", "y", []string{"padded", "w"}, nil),
			first(5),
			[]int64{1, 1, 1, 1},
			[]float32{151},
		},
		{"channels first", nchw, []float32{1, 4, 2, 5, 3, 6}, []int64{1, 2, 1, 2}, []float32{14, 32, 140, 320}},
		{
			// SAME with stride 2 on an even size pads behind only: sums over rows and columns 0-2 and 2-3 of
			// 4r+c = 45, 39, 66, 50. Channel 0: a tenth of that - 4, channel 1: all above 6.
			"SAME stride 2 bias relu6", input(4, 4).
				floats("w", []int{3, 3, 3, 2}, func() []float32 {
					var w []float32
					for range 9 {
						w = append(w, 0.1, 1, 0, 0, 0, 0)
					}
					return w
				}()...).floats("b", []int{2}, -4, 0).
				op("_FusedConv2D", "y", []string{"x", "w", "b"}, attrs{
					"strides": nums(1, 2, 2, 1), "padding": txt("SAME"), "fused_ops": texts("BiasAdd", "Relu6"),
				}),
			first(ramp(16)...),
			[]int64{1, 2, 2, 2},
			[]float32{.5, 6, 0, 6, 2.6, 6, 1, 6},
		},
		{
			// Odd size, stride 2: one cell on both sides. Sums over rows 0-1, 1-2 of 3r+c: corners.
			"SAME stride 2 odd", input(3, 3).floats("w", []int{3, 3, 3, 1}, window(ones...)...).
				op("Conv2D", "y", []string{"x", "w"}, attrs{"strides": nums(1, 2, 2, 1), "padding": txt("SAME")}),
			first(ramp(9)...),
			[]int64{1, 2, 2, 1},
			[]float32{0 + 1 + 3 + 4, 1 + 2 + 4 + 5, 3 + 4 + 6 + 7, 4 + 5 + 7 + 8},
		},
		{
			// A filter that is not symmetric tells correlation from convolution and rows from columns.
			"VALID 3x3", input(3, 4).floats("w", []int{3, 3, 3, 1}, window(1, 2, 0, 0, 0, 0, 0, 0, 100)...).
				op("Conv2D", "y", []string{"x", "w"}, attrs{"strides": nums(1, 1, 1, 1), "padding": txt("VALID")}),
			first(ramp(12)...),
			[]int64{1, 1, 2, 1},
			[]float32{0 + 2*1 + 1000, 1 + 2*2 + 1100},
		},
		{
			"dilation", input(1, 4).floats("w", []int{1, 2, 3, 1}, 1, 0, 0, 10, 0, 0).
				op("Conv2D", "y", []string{"x", "w"}, attrs{"dilations": nums(1, 1, 2, 1), "padding": txt("VALID")}),
			first(1, 2, 3, 4),
			[]int64{1, 1, 2, 1},
			[]float32{31, 42},
		},
		{
			"explicit padding", input(1, 2).floats("w", []int{1, 2, 3, 1}, 1, 0, 0, 10, 0, 0).
				op("Conv2D", "y", []string{"x", "w"}, attrs{
					"padding": txt("EXPLICIT"), "explicit_paddings": nums(0, 0, 0, 0, 1, 2, 0, 0),
				}),
			first(1, 2),
			[]int64{1, 1, 4, 1},
			[]float32{10, 21, 2, 0},
		},
		{
			"groups", input(1, 1).floats("w", []int{1, 1, 1, 6}, 1, 2, 3, 4, 5, 6).op("Conv2D", "y", []string{"x", "w"}, nil),
			[]float32{1, 10, 100},
			[]int64{1, 1, 1, 6},
			[]float32{1, 2, 30, 40, 500, 600},
		},
		{
			// Result channel = channel * multiplier + index.
			"depthwise multiplier 2", input(1, 1).floats("w", []int{1, 1, 3, 2}, 1, 2, 3, 4, 5, 6).
				op("DepthwiseConv2dNative", "y", []string{"x", "w"}, attrs{"strides": nums(1, 1, 1, 1)}),
			[]float32{1, 10, 100},
			[]int64{1, 1, 1, 6},
			[]float32{1, 2, 30, 40, 500, 600},
		},
		{
			"depthwise SAME bias leaky", input(1, 3).
				floats("w", []int{1, 3, 3, 1}, 1, 1, 1, 1, 2, 0, 1, 0, 0).floats("b", []int{3}, 0, -10, -3).
				op("FusedDepthwiseConv2dNative", "y", []string{"x", "w", "b"}, attrs{
					"padding": txt("SAME"), "fused_ops": texts("BiasAdd", "LeakyRelu"), "leakyrelu_alpha": flo(.5),
				}),
			[]float32{1, 1, 1, 2, 2, 2, 3, 3, 3},
			[]int64{1, 1, 3, 3},
			// channel 0 sums neighbours; channel 1 left + 2 own - 10; channel 2 left - 3; below 0 halved
			[]float32{3, -4, -1.5, 6, -2.5, -1, 5, -1, -.5},
		},
		{
			"prelu", input(1, 1).floats("w", []int{1, 1, 3, 2}, 1, -1, 0, 0, 0, 0).floats("b", []int{2}, 0, 0).
				floats("a", []int{2}, 3, 5).
				op("_FusedConv2D", "y", []string{"x", "w", "b", "a"}, attrs{"fused_ops": texts("BiasAdd", "Prelu")}),
			[]float32{2, 0, 0},
			[]int64{1, 1, 1, 2},
			[]float32{2, -10},
		},
		{
			// Padded cells are no zeros for a maximum and do not count in a mean.
			"maximum SAME", input(3, 3).op("MaxPool", "y", []string{"x"}, attrs{
				"ksize": nums(1, 2, 2, 1), "strides": nums(1, 2, 2, 1), "padding": txt("SAME"),
			}),
			first(-9, -8, -7, -6, -5, -4, -3, -2, -1),
			[]int64{1, 2, 2, 3},
			first(-5, -4, -2, -1),
		},
		{
			"mean SAME", input(3, 3).op("AvgPool", "y", []string{"x"}, attrs{
				"ksize": nums(1, 2, 2, 1), "strides": nums(1, 2, 2, 1), "padding": txt("SAME"),
			}),
			first(ramp(9)...),
			[]int64{1, 2, 2, 3},
			first(2, 3.5, 6.5, 8),
		},
		{
			// (x - mean) / sqrt(var + eps) * scale + offset, with var + eps = 4, 1, 1
			"batch normalisation", input(1, 1).floats("s", []int{3}, 1, 2, 3).floats("o", []int{3}, 0, 1, 0).
				floats("m", []int{3}, 1, 0, -1).floats("v", []int{3}, 3.5, .5, .5).
				op("FusedBatchNormV3", "y", []string{"x", "s", "o", "m", "v"}, attrs{"epsilon": flo(.5)}),
			[]float32{5, 2, 1},
			[]int64{1, 1, 1, 3},
			[]float32{2, 5, 6},
		},
	})
}

func TestResize(t *testing.T) {
	resize := func(op string, in, out int, a attrs) *graph {
		return input(1, in).ints("size", []int{2}, 1, int32(out)).op(op, "y", []string{"x", "size"}, a)
	}
	half, corners := attrs{"half_pixel_centers": yes()}, attrs{"align_corners": yes()}
	two, four := first(0, 1), first(0, 10, 20, 40)
	up := []int64{1, 1, 4, 3}
	down := []int64{1, 1, 2, 3}
	check(t, []operatorCase{
		{"linear half", resize("ResizeBilinear", 2, 4, half), two, up, first(0, .25, .75, 1)},
		{"linear corners", resize("ResizeBilinear", 2, 4, corners), two, up, first(0, 1./3, 2./3, 1)},
		{"linear plain", resize("ResizeBilinear", 2, 4, nil), two, up, first(0, .5, 1, 1)},
		// No smoothing when shrinking: cell x of 2 lies between cells 2x and 2x+1 of 4.
		{"linear half down", resize("ResizeBilinear", 4, 2, half), four, down, first(5, 30)},
		{"nearest half", resize("ResizeNearestNeighbor", 2, 4, half), two, up, first(0, 0, 1, 1)},
		{"nearest half down", resize("ResizeNearestNeighbor", 4, 2, half), four, down, first(10, 40)},
		{"nearest plain", resize("ResizeNearestNeighbor", 4, 2, nil), four, down, first(0, 20)},
		{"nearest corners", resize("ResizeNearestNeighbor", 2, 4, corners), two, up, first(0, 0, 1, 1)},
	})
}

func TestArithmetic(t *testing.T) {
	// Each case runs on the input itself and behind a convolution that changes only the order in memory.
	for _, behind := range []bool{false, true} {
		start := func(h, w int) (*graph, string) {
			g := input(h, w)
			if behind {
				return g, g.through("x")
			}
			return g, "x"
		}
		one := func(op string, a attrs) *graph {
			g, x := start(1, 1)
			return g.op(op, "y", []string{x}, a)
		}
		with := func(op string, flip bool, shape []int, v ...float32) *graph {
			g, x := start(1, 2)
			in := []string{x, "c"}
			if flip {
				in = []string{"c", x}
			}
			return g.floats("c", shape, v...).op(op, "y", in, nil)
		}
		gt, x := start(2, 2)
		gt.ints("perm", []int{4}, 0, 2, 1, 3).op("Transpose", "t", []string{x, "perm"}, nil).
			op("Sub", "y", []string{x, "t"}, nil)
		in := []float32{1, 2, 3, 4, 5, 6}
		is := []int64{1, 1, 2, 3}
		cell := []int64{1, 1, 1, 3}
		sigmoid := func(x float64) float32 { return float32(1 / (1 + math.Exp(-x))) }
		t.Run(fmt.Sprintf("behind=%v", behind), func(t *testing.T) {
			check(t, []operatorCase{
				{"add channels", with("AddV2", false, []int{3}, 10, 20, 30), in, is, []float32{11, 22, 33, 14, 25, 36}},
				{"add scalar", with("Add", true, nil, 10), in, is, []float32{11, 12, 13, 14, 15, 16}},
				{"add columns", with("Add", false, []int{1, 2, 1}, 10, 20), in, is, []float32{11, 12, 13, 24, 25, 26}},
				{"sub from constant", with("Sub", true, []int{3}, 10, 20, 30), in, is, []float32{9, 18, 27, 6, 15, 24}},
				{"mul full", with("Mul", false, []int{1, 1, 2, 3}, 1, 2, 3, 4, 5, 6), in, is, []float32{1, 4, 9, 16, 25, 36}},
				{"div", with("RealDiv", false, []int{3}, 2, 4, 8), in, is, []float32{.5, .5, .375, 2, 1.25, .75}},
				{"max", with("Maximum", false, []int{3}, 2, 2, 9), in, is, []float32{2, 2, 9, 4, 5, 9}},
				{"min", with("Minimum", false, []int{3}, 2, 2, 9), in, is, []float32{1, 2, 3, 2, 2, 6}},
				{"bias", with("BiasAdd", false, []int{3}, 10, 20, 30), in, is, []float32{11, 22, 33, 14, 25, 36}},
				{"prelu", with("Prelu", false, []int{3}, 2, 2, 2), []float32{-1, -2, 3, -4, 5, -6}, is, []float32{-2, -4, 3, -8, 5, -12}},
				{
					// the difference of a picture and its transpose: 3(r,c) order 0..11
					"two orders", gt,
					ramp(12),
					[]int64{1, 2, 2, 3},
					[]float32{0, 0, 0, -3, -3, -3, 3, 3, 3, 0, 0, 0},
				},
				{"relu", one("Relu", nil), []float32{-1, 0, 7}, cell, []float32{0, 0, 7}},
				{"relu6", one("Relu6", nil), []float32{-1, 3, 7}, cell, []float32{0, 3, 6}},
				{"leaky", one("LeakyRelu", attrs{"alpha": flo(.1)}), []float32{-1, 3, 7}, cell, []float32{-.1, 3, 7}},
				{"leaky default", one("LeakyRelu", nil), []float32{-1, 3, 7}, cell, []float32{-.2, 3, 7}},
				{"elu", one("Elu", nil), []float32{-1, 0, 7}, cell, []float32{float32(math.Exp(-1) - 1), 0, 7}},
				{"sigmoid", one("Sigmoid", nil), []float32{-1, 0, 2}, cell, []float32{sigmoid(-1), .5, sigmoid(2)}},
				{"tanh", one("Tanh", nil), []float32{-1, 0, 2}, cell, []float32{float32(math.Tanh(-1)), 0, float32(math.Tanh(2))}},
				{"cast", one("Cast", attrs{"SrcT": typ("DT_INT32"), "DstT": typ("DT_FLOAT")}), []float32{1, 2, 3}, cell, []float32{1, 2, 3}},
				{"identity", one("Identity", nil), []float32{1, 2, 3}, cell, []float32{1, 2, 3}},
			})
		})
	}
}

// Hard swish as files write it: x * relu6(x + 3) / 6.
func TestHardSwish(t *testing.T) {
	g := input(1, 1)
	x := g.through("x")
	g.floats("three", nil, 3).floats("sixth", nil, 1./6).op("AddV2", "a", []string{x, "three"}, nil).
		op("Relu6", "r", []string{"a"}, nil).op("Mul", "m", []string{x, "r"}, nil).
		op("Mul", "y", []string{"m", "sixth"}, nil)
	check(t, []operatorCase{{"", g, []float32{-4, 1, 5}, []int64{1, 1, 1, 3}, []float32{0, 4. / 6, 5}}})
}

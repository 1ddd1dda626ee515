package tfjs_test

import (
	"fmt"
	"testing"
)

func TestShapeOperators(t *testing.T) {
	for _, behind := range []bool{false, true} {
		start := func(h, w int) (*graph, string) {
			g := input(h, w)
			if behind {
				return g, g.through("x")
			}
			return g, "x"
		}
		with := func(h, w int, op string, a attrs, shape []int, v ...int32) *graph {
			g, x := start(h, w)
			return g.ints("c", shape, v...).op(op, "y", []string{x, "c"}, a)
		}
		perm := func(p ...int32) *graph { return with(1, 2, "Transpose", nil, []int{4}, p...) }
		in := []float32{1, 2, 3, 4, 5, 6}

		padv2, x := start(1, 1)
		padv2.ints("p", []int{4, 2}, 0, 0, 0, 0, 0, 1, 1, 0).floats("v", nil, -7).
			op("PadV2", "y", []string{x, "p", "v"}, nil)

		concat, x := start(1, 2)
		concat.ints("axis", nil, -1).floats("k", []int{1, 1, 2, 1}, 8, 9).
			op("ConcatV2", "y", []string{x, "k", x, "axis"}, nil)

		concatColumns, x := start(1, 1)
		concatColumns.ints("axis", nil, 2).op("ConcatV2", "y", []string{x, x, "axis"}, nil)

		split, x := start(1, 2)
		split.ints("axis", nil, 2).op("Split", "s", []string{"axis", x}, attrs{"num_split": num(2)}).
			op("Sub", "y", []string{"s:1", "s"}, nil)

		splitV, x := start(1, 2)
		splitV.ints("axis", nil, 3).ints("n", []int{2}, 1, -1).op("SplitV", "s", []string{x, "n", "axis"}, nil).
			op("Identity", "y", []string{"s:1"}, nil)

		unpack, x := start(1, 2)
		unpack.op("Unpack", "u", []string{x}, attrs{"axis": num(2), "num": num(2)}).op("Sub", "y", []string{"u:1", "u:0"}, nil)

		// Rows and columns swapped twice with a step between: nothing may be left of it.
		twice, x := start(1, 2)
		twice.ints("p", []int{4}, 0, 3, 1, 2).op("Transpose", "a", []string{x, "p"}, nil).
			op("Relu", "b", []string{"a"}, nil).ints("q", []int{4}, 0, 2, 3, 1).op("Transpose", "y", []string{"b", "q"}, nil)

		// A shape built from an empty sparse tensor, as nanodet's exporter leaves it: [1,2,-1] + zeros.
		sparse, x := start(1, 2)
		sparse.ints("where", []int{0, 1}).ints("size", []int{1}, 3).ints("values", []int{0}).ints("zero", nil, 0).
			ints("base", []int{3}, 1, 2, -1).op("SparseToDense", "z", []string{"where", "size", "values", "zero"}, nil).
			op("AddV2", "shape", []string{"base", "z"}, nil).op("Reshape", "y", []string{x, "shape"}, nil)

		// The same with something in it: [0,0,0] with 6 at 1 -> [0,6,0] + [1,0,1] = [1,6,1].
		dense, x := start(1, 2)
		dense.ints("where", []int{1, 1}, 1).ints("size", []int{1}, 3).ints("values", []int{1}, 6).ints("zero", nil, 0).
			ints("base", []int{3}, 1, 0, 1).op("SparseToDense", "z", []string{"where", "size", "values", "zero"}, nil).
			op("AddV2", "shape", []string{"base", "z"}, nil).op("Reshape", "y", []string{x, "shape"}, nil)

		t.Run(fmt.Sprintf("behind=%v", behind), func(t *testing.T) {
			check(t, []operatorCase{
				{"reshape", with(1, 2, "Reshape", nil, []int{2}, -1, 2), in, []int64{3, 2}, in},
				{"transpose to channels first", perm(0, 3, 1, 2), in, []int64{1, 3, 1, 2}, []float32{1, 4, 2, 5, 3, 6}},
				{"transpose cyclic", perm(0, 2, 3, 1), in, []int64{1, 2, 3, 1}, in},
				{"transpose from the end", perm(0, -1, 1, 2), in, []int64{1, 3, 1, 2}, []float32{1, 4, 2, 5, 3, 6}},
				{"transpose and back", twice, in, []int64{1, 1, 2, 3}, in},
				{"expand", with(1, 2, "ExpandDims", nil, nil, -1), in, []int64{1, 1, 2, 3, 1}, in},
				{"pad", with(1, 1, "Pad", nil, []int{4, 2}, 0, 0, 1, 0, 0, 1, 0, 0), in[:3], []int64{1, 2, 2, 3}, []float32{0, 0, 0, 0, 0, 0, 1, 2, 3, 0, 0, 0}},
				{"pad with a value", padv2, in[:3], []int64{1, 1, 2, 4}, []float32{-7, 1, 2, 3, -7, -7, -7, -7}},
				{"concat channels", concat, in, []int64{1, 1, 2, 7}, []float32{1, 2, 3, 8, 1, 2, 3, 4, 5, 6, 9, 4, 5, 6}},
				{"concat columns", concatColumns, in[:3], []int64{1, 1, 2, 3}, []float32{1, 2, 3, 1, 2, 3}},
				{"split", split, in, []int64{1, 1, 1, 3}, []float32{3, 3, 3}},
				{"split by lengths", splitV, in, []int64{1, 1, 2, 2}, []float32{2, 3, 5, 6}},
				{"unpack", unpack, in, []int64{1, 1, 3}, []float32{3, 3, 3}},
				{"sparse shape, empty", sparse, in, []int64{1, 2, 3}, in},
				{"sparse shape", dense, in, []int64{1, 6, 1}, in},
			})
			for name, a := range map[string]attrs{"listed": {"squeeze_dims": nums(0, 1)}, "all": nil} {
				g, x := start(1, 2)
				g.op("Squeeze", "y", []string{x}, a)
				check(t, []operatorCase{{"squeeze " + name, g, in, []int64{2, 3}, in}})
			}
		})
	}
}

func TestStoredWeights(t *testing.T) {
	scaled := func(dtype string, scale, min float64) any {
		return map[string]any{"dtype": dtype, "scale": scale, "min": min}
	}
	add := func(c func(*graph)) *graph {
		g := input(1, 1)
		c(g)
		return g.op("Add", "y", []string{"x", "c"}, nil)
	}
	zero, shape := []float32{0, 0, 0}, []int64{1, 1, 1, 3}
	check(t, []operatorCase{
		{
			// bit patterns from the definition of the format: 1, -2.5, and the smallest subnormal 2^-24 times 2^9
			"half", add(func(g *graph) {
				g.constant("c", "float32", map[string]any{"dtype": "float16"}, []byte{0x00, 0x3c, 0x00, 0xc1, 0x00, 0x02}, []int{3})
			}),
			zero, shape,
			[]float32{1, -2.5, 1. / (1 << 15)},
		},
		{
			"8 bits", add(func(g *graph) {
				g.constant("c", "float32", scaled("uint8", .5, -10), []byte{0, 1, 255}, []int{3})
			}),
			zero, shape,
			[]float32{-10, -9.5, 117.5},
		},
		{
			"16 bits", add(func(g *graph) {
				g.constant("c", "float32", scaled("uint16", .5, 1), []byte{0, 0, 1, 0, 0, 1}, []int{3})
			}),
			zero, shape,
			[]float32{1, 1.5, 129},
		},
		{
			"8-bit integers", input(1, 2).constant("c", "int32", scaled("uint8", 1, -1), []byte{0, 4}, []int{2}).
				op("Reshape", "y", []string{"x", "c"}, nil),
			ramp(6),
			[]int64{2, 3},
			ramp(6),
		},
	})
}

// What the converter takes in one step must not stay behind as two.
func TestFewNodes(t *testing.T) {
	g := input(4, 4)
	g.ints("p", []int{4, 2}, 0, 0, 1, 1, 1, 1, 0, 0).op("Pad", "padded", []string{"x", "p"}, nil)
	g.ints("to", []int{4}, 0, 3, 1, 2).ints("back", []int{4}, 0, 2, 3, 1)
	g.op("Transpose", "t", []string{"padded", "to"}, nil).op("Transpose", "u", []string{"t", "back"}, nil)
	w := make([]float32, 3*3*3*2)
	w[0], w[8*6+1] = 1, 1 // result 0 looks up and left, result 1 down and right
	g.floats("w", []int{3, 3, 3, 2}, w...).op("Conv2D", "c", []string{"u", "w"}, attrs{"padding": txt("VALID")})
	g.floats("b", []int{2}, 100, 200).op("Add", "y", []string{"b", "c"}, nil)
	m := g.convert(t)
	for op, want := range map[string]int{"Conv": 1, "Transpose": 2, "Add": 0, "Cast": 0} {
		if got := countOps(m, op); got != want {
			t.Errorf("%d nodes %s, want %d", got, op, want)
		}
	}
	// On the picture's own order the border is written out, for the Transpose lies between it and the convolution.
	want := make([]float32, 32)
	for r := range 4 {
		for c := range 4 {
			want[2*(4*r+c)], want[2*(4*r+c)+1] = 100, 200
			if r > 0 && c > 0 {
				want[2*(4*r+c)] += float32(4*(r-1) + c - 1)
			}
			if r < 3 && c < 3 {
				want[2*(4*r+c)+1] += float32(4*(r+1) + c + 1)
			}
		}
	}
	check(t, []operatorCase{{"values", g, first(ramp(16)...), []int64{1, 4, 4, 2}, want}})

	// Channels first in the file: the border becomes the convolution's and no Transpose is left inside.
	n := &graph{}
	n.placeholder("x", "DT_FLOAT", 1, 3, 4, 4)
	n.ints("p", []int{4, 2}, 0, 0, 0, 0, 1, 1, 1, 1).op("Pad", "padded", []string{"x", "p"}, nil)
	n.ints("back", []int{4}, 0, 2, 3, 1).op("Transpose", "u", []string{"padded", "back"}, nil)
	n.floats("w", []int{3, 3, 3, 2}, w...).op("Conv2D", "c", []string{"u", "w"}, attrs{"padding": txt("VALID")})
	n.floats("b", []int{2}, 100, 200).op("Add", "y", []string{"b", "c"}, nil)
	m = n.convert(t)
	for op, want := range map[string]int{"Conv": 1, "Pad": 0, "Transpose": 1, "Add": 0} {
		if got := countOps(m, op); got != want {
			t.Errorf("channels first: %d nodes %s, want %d", got, op, want)
		}
	}
	check(t, []operatorCase{{"values channels first", n, append(ramp(16), make([]float32, 32)...), []int64{1, 4, 4, 2}, want}})
}

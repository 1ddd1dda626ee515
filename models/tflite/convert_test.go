package tflite_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/models"
	"plantframe/models/onnx"
	"plantframe/models/tflite"
)

// Operator numbers of the TFLite schema.
const (
	add, concat, conv, depthwise, depthToSpace, dequantize = 0, 2, 3, 4, 5, 6
	logistic, maxPool, reshape, resize, pad, densify       = 14, 17, 22, 23, 34, 124
)

func b(id, v int) option { return option{id, 'b', v} }
func i(id, v int) option { return option{id, 'i', v} }

// one is a network of one operator: tensor 0 is the input, 1 the output, the rest are constants.
func one(code int, in, out tensor, options []option, constants ...tensor) net {
	n := net{tensors: append([]tensor{in, out}, constants...), inputs: []int{0}, outputs: []int{1}}
	o := op{code: code, in: []int32{0}, out: []int32{1}, options: options}
	for k := range constants {
		o.in = append(o.in, int32(2+k))
	}
	n.ops = []op{o}
	return n
}

// convOptions: padding, stride width and height, activation. Depthwise has the depth multiplier before the activation.
func convOptions(padding, sw, sh, act int) []option {
	return []option{b(0, padding), i(1, sw), i(2, sh), b(3, act)}
}

func depthwiseOptions(padding, sw, sh, act int) []option {
	return []option{b(0, padding), i(1, sw), i(2, sh), i(3, 1), b(4, act)}
}

func upTo(n int) []float32 {
	v := make([]float32, n)
	for k := range v {
		v[k] = float32(k)
	}
	return v
}

// sparseConv multiplies 4 channels by the sparse float16 rows (0 5 0 0) and (1 0 0 -2), which pass DENSIFY and DEQUANTIZE.
func sparseConv(width byte) net {
	w := halves("w", []int32{2, 1, 1, 4}, 5, 1, -2)
	w.sparse = &sparse{order: []int32{0, 1, 2, 3}, dense: []int32{2, 1, 1}, segments: []int{0, 1, 3}, indices: []int{1, 0, 3}, width: width}
	return net{
		tensors: []tensor{
			activation("in", 1, 1, 1, 4), activation("out", 1, 1, 1, 2), w,
			{name: "dense", shape: []int32{2, 1, 1, 4}, kind: 1},
			activation("full", 2, 1, 1, 4),
		},
		inputs: []int{0}, outputs: []int{1},
		ops: []op{
			{code: densify, in: []int32{2}, out: []int32{3}},
			{code: dequantize, in: []int32{3}, out: []int32{4}},
			{code: conv, in: []int32{0, 4, -1}, out: []int32{1}, options: convOptions(1, 1, 1, 0)},
		},
	}
}

// halfConv is a 1x1 convolution of 2 channels to 3 with float16 weights and bias and a fused RELU6.
func halfConv() net {
	return net{
		tensors: []tensor{
			activation("in", 1, 1, 2, 2), activation("out", 1, 1, 2, 3),
			halves("w16", []int32{3, 1, 1, 2}, 1, 2, -1, 0.5, 0, 3), halves("b16", []int32{3}, 0.25, 0, -1),
			activation("w", 3, 1, 1, 2), activation("bias", 3),
		},
		inputs: []int{0}, outputs: []int{1},
		ops: []op{
			{code: dequantize, in: []int32{2}, out: []int32{4}},
			{code: dequantize, in: []int32{3}, out: []int32{5}},
			{code: conv, in: []int32{0, 4, 5}, out: []int32{1}, options: convOptions(1, 1, 1, 3)},
		},
	}
}

// twice joins the input with itself through the operator code.
func twice(code int, in, out tensor, options ...option) net {
	return net{
		tensors: []tensor{in, out}, inputs: []int{0}, outputs: []int{1},
		ops: []op{{code: code, in: []int32{0, 0}, out: []int32{1}, options: options}},
	}
}

func resizeOptions(align, half int) []option { return []option{b(2, align), b(3, half)} }

// TestOperators runs every operator on numbers whose result was worked out by hand from its definition.
func TestOperators(t *testing.T) {
	row := func(n int32) tensor { return activation("in", 1, 1, n, 1) }
	tests := map[string]struct {
		net      net
		in, want []float32
	}{
		// pixel (1,2): 1+4+.25, -1+1, 6-1; pixel (3,4): 11.25 -> 6, -1 -> 0, 11 -> 6
		"CONV_2D, float16 weights, RELU6": {halfConv(), []float32{1, 2, 3, 4}, []float32{5.25, 0, 5, 6, 0, 6}},
		// kernel of height 2 and width 1, stride 1 down and 2 across, over a picture 3 high and 4 wide
		"CONV_2D, height before width": {
			one(conv, activation("in", 1, 3, 4, 1), activation("out", 1, 2, 2, 1), convOptions(1, 2, 1, 0), floats("w", []int32{1, 2, 1, 1}, 1, 10)),
			upTo(12),
			[]float32{40, 62, 84, 106},
		},
		// taps 0 and 2 pixels to the right: 0+2*10 ...
		"CONV_2D, dilated": {
			one(conv, row(4), activation("out", 1, 1, 2, 1), append(convOptions(1, 1, 1, 0), i(4, 2), i(5, 1)), floats("w", []int32{1, 1, 2, 1}, 1, 10)),
			upTo(4),
			[]float32{20, 31},
		},
		"CONV_2D, RELU": {
			one(conv, row(2), activation("out", 1, 1, 2, 1), convOptions(1, 1, 1, 1), floats("w", []int32{1, 1, 1, 1}, -10)),
			[]float32{-1, 1},
			[]float32{10, 0},
		},
		// SAME with stride 2 on an even size pads at the end alone: sums of rows and columns 0-2 and 2-3
		"DEPTHWISE_CONV_2D, SAME stride 2 even": {
			one(depthwise, activation("in", 1, 4, 4, 1), activation("out", 1, 2, 2, 1), depthwiseOptions(0, 2, 2, 0), floats("w", []int32{1, 3, 3, 1}, 1, 1, 1, 1, 1, 1, 1, 1, 1)),
			upTo(16),
			[]float32{45, 39, 66, 50},
		},
		// SAME with stride 2 on an odd size pads one on each side: 0+1, 1+2+3, 3+4
		"DEPTHWISE_CONV_2D, SAME stride 2 odd": {
			one(depthwise, row(5), activation("out", 1, 1, 3, 1), depthwiseOptions(0, 2, 1, 0), floats("w", []int32{1, 1, 3, 1}, 1, 1, 1)),
			upTo(5),
			[]float32{1, 6, 7},
		},
		// each channel has its own kernel; bias 100 and 200
		"DEPTHWISE_CONV_2D, channels": {
			one(depthwise, activation("in", 1, 1, 2, 2), activation("out", 1, 1, 1, 2), depthwiseOptions(1, 1, 1, 0),
				floats("w", []int32{1, 1, 2, 2}, 1, 10, 2, 20), floats("bias", []int32{2}, 100, 200)),
			[]float32{1, 2, 3, 4},
			[]float32{107, 300},
		},
		// two kernels a channel: output channel = 2*channel + kernel
		"DEPTHWISE_CONV_2D, multiplier 2": {
			one(depthwise, activation("in", 1, 1, 1, 2), activation("out", 1, 1, 1, 4), depthwiseOptions(1, 1, 1, 0), floats("w", []int32{1, 1, 1, 4}, 1, 2, 3, 4)),
			[]float32{1, 10},
			[]float32{1, 2, 30, 40},
		},
		"ADD":        {twice(add, row(2), activation("out", 1, 1, 2, 1)), []float32{-1, 4}, []float32{-2, 8}},
		"ADD, RELU6": {twice(add, row(3), activation("out", 1, 1, 3, 1), b(0, 3)), []float32{-1, 2, 4}, []float32{0, 4, 6}},
		// one row above, two columns right
		"PAD": {
			one(pad, activation("in", 1, 1, 2, 1), activation("out", 1, 2, 4, 1), nil, ints("p", []int32{4, 2}, 0, 0, 1, 0, 0, 2, 0, 0)),
			[]float32{1, 2},
			[]float32{0, 0, 0, 0, 1, 2, 0, 0},
		},
		"PAD, channels": {
			one(pad, activation("in", 1, 1, 2, 2), activation("out", 1, 1, 2, 3), nil, ints("p", []int32{4, 2}, 0, 0, 0, 0, 0, 0, 0, 1)),
			[]float32{1, 2, 3, 4},
			[]float32{1, 2, 0, 3, 4, 0},
		},
		// sample positions -.25 .25 .75 1.25, held at the border
		"RESIZE_BILINEAR, half pixel": {
			one(resize, row(2), activation("out", 1, 1, 4, 1), resizeOptions(0, 1), ints("s", []int32{2}, 1, 4)),
			[]float32{0, 4},
			[]float32{0, 1, 3, 4},
		},
		"RESIZE_BILINEAR, corners": {
			one(resize, row(2), activation("out", 1, 1, 4, 1), resizeOptions(1, 0), ints("s", []int32{2}, 1, 4)),
			[]float32{0, 3},
			[]float32{0, 1, 2, 3},
		},
		"RESIZE_BILINEAR, neither": {
			one(resize, row(2), activation("out", 1, 1, 4, 1), resizeOptions(0, 0), ints("s", []int32{2}, 1, 4)),
			[]float32{0, 4},
			[]float32{0, 2, 4, 4},
		},
		"MAX_POOL_2D": {
			one(maxPool, activation("in", 1, 2, 4, 1), activation("out", 1, 1, 2, 1), []option{b(0, 1), i(1, 2), i(2, 2), i(3, 2), i(4, 2)}),
			[]float32{1, 9, 3, 4, 5, 6, 7, 8},
			[]float32{9, 8},
		},
		// channels 0-1 go to the upper row: block (row, column) above channel
		"DEPTH_TO_SPACE": {
			one(depthToSpace, activation("in", 1, 1, 2, 4), activation("out", 1, 2, 4, 1), []option{i(0, 2)}),
			upTo(8),
			[]float32{0, 1, 4, 5, 2, 3, 6, 7},
		},
		"RESHAPE, picture to rows": {
			one(reshape, activation("in", 1, 2, 1, 3), activation("out", 1, 6), nil), upTo(6), upTo(6),
		},
		"RESHAPE, rows to picture": {
			one(reshape, activation("in", 1, 1, 2, 3), activation("out", 1, 3, 1, 2), nil), upTo(6), upTo(6),
		},
		"CONCATENATION, channels": {
			twice(concat, activation("in", 1, 1, 2, 2), activation("out", 1, 1, 2, 4), i(0, -1)), upTo(4), []float32{0, 1, 0, 1, 2, 3, 2, 3},
		},
		"CONCATENATION, rows": {
			twice(concat, activation("in", 1, 1, 2, 2), activation("out", 1, 2, 2, 2), i(0, 1)), upTo(4), []float32{0, 1, 2, 3, 0, 1, 2, 3},
		},
		"LOGISTIC": {
			one(logistic, row(3), activation("out", 1, 1, 3, 1), nil), []float32{0, float32(math.Log(3)), -100}, []float32{0.5, 0.75, 0},
		},
		"DENSIFY, int32 indices":  {sparseConv(1), []float32{1, 2, 3, 4}, []float32{10, -7}},
		"DENSIFY, uint16 indices": {sparseConv(2), []float32{1, 2, 3, 4}, []float32{10, -7}},
		"DENSIFY, uint8 indices":  {sparseConv(3), []float32{1, 2, 3, 4}, []float32{10, -7}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			m, err := tflite.Convert(test.net.build(), tflite.Options{})
			if err != nil {
				t.Fatal(err)
			}
			got := run(t, m, test.net.tensors[0], test.net.tensors[1], test.in)
			if len(got) != len(test.want) {
				t.Fatalf("got %d numbers, want %d", len(got), len(test.want))
			}
			for k := range got {
				if math.Abs(float64(got[k]-test.want[k])) > 1e-5 {
					t.Fatalf("got %v, want %v", got, test.want)
				}
			}
		})
	}
}

// run opens the model in ONNX Runtime and returns its output for the input numbers.
func run(t *testing.T, m *onnx.ModelProto, in, out tensor, values []float32) []float32 {
	t.Helper()
	dir, err := models.DefaultDir()
	if err != nil {
		t.Fatal(err)
	}
	store := models.NewStore(dir)
	if err := store.Start(); err != nil {
		t.Fatalf("%v\nthe tests need the ONNX Runtime library: run scripts/test, which installs it", err)
	}
	file, err := onnx.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "net.onnx")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := models.OpenTensors(path,
		models.Tensor{Name: in.name, Shape: widen(in.shape)}, []models.Output{{Name: "out", Tensor: out.name, Shape: widen(out.shape)}},
		models.DefaultSessionOptions())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	if n := copy(s.Input(), values); n != len(s.Input()) || n != len(values) {
		t.Fatalf("the test gives %d numbers to an input of %d", len(values), len(s.Input()))
	}
	if err := s.Run(); err != nil {
		t.Fatal(err)
	}
	return append([]float32(nil), s.Output("out")...)
}

func widen(v []int32) []int64 {
	out := make([]int64, len(v))
	for k, x := range v {
		out[k] = int64(x)
	}
	return out
}

// TestOutputsAreChosen: a dropped output takes the layers with it that serve it alone.
func TestOutputsAreChosen(t *testing.T) {
	n := halfConv()
	n.tensors = append(n.tensors, activation("extra", 1, 1, 2, 3))
	n.outputs = []int{1, 6}
	n.ops = append(n.ops, op{code: logistic, in: []int32{1}, out: []int32{6}})
	all, err := tflite.Convert(n.build(), tflite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	some, err := tflite.Convert(n.build(), tflite.Options{Outputs: []string{"out"}})
	if err != nil {
		t.Fatal(err)
	}
	count := func(m *onnx.ModelProto, kind string) (k int) {
		for _, node := range m.GetGraph().GetNode() {
			if node.GetOpType() == kind {
				k++
			}
		}
		return k
	}
	if len(all.GetGraph().GetOutput()) != 2 || count(all, "Sigmoid") != 1 {
		t.Errorf("all outputs: %d outputs, %d Sigmoid; want 2 and 1", len(all.GetGraph().GetOutput()), count(all, "Sigmoid"))
	}
	if len(some.GetGraph().GetOutput()) != 1 || count(some, "Sigmoid") != 0 || count(some, "Conv") != 1 {
		t.Errorf("one output: %d outputs, %d Sigmoid, %d Conv; want 1, 0, 1",
			len(some.GetGraph().GetOutput()), count(some, "Sigmoid"), count(some, "Conv"))
	}
	_, err = tflite.Convert(n.build(), tflite.Options{Outputs: []string{"nothing"}})
	if err == nil || !strings.Contains(err.Error(), "out, extra") {
		t.Errorf("an unknown output gives %v, want an error that lists the outputs", err)
	}
}

// TestRefused: what the conversion does not know or does not believe.
func TestRefused(t *testing.T) {
	change := func(n net, f func(*net)) net { f(&n); return n }
	unsupported, format := tflite.ErrUnsupported, tflite.ErrFormat
	in, out := activation("in", 1, 1, 2, 1), activation("out", 1, 1, 2, 1)
	weights := floats("w", []int32{1, 1, 1, 1}, 1)
	tests := map[string]struct {
		net  net
		want error
		text string
	}{
		"unknown operator": {one(59, in, out, nil), unsupported, "operator number 59"},
		"custom operator":  {change(one(32, in, out, nil), func(n *net) { n.ops[0].custom = "Magic" }), unsupported, `"Magic"`},
		"schema version":   {change(one(logistic, in, out, nil), func(n *net) { n.version = 2 }), unsupported, "version 2"},
		"activation":       {one(conv, in, out, convOptions(1, 1, 1, 4), weights), unsupported, "activation number 4"},
		"padding":          {one(conv, in, out, convOptions(7, 1, 1, 0), weights), unsupported, "padding number 7"},
		"stride 0":         {one(conv, in, out, convOptions(1, 0, 0, 0), weights), format, "stride"},
		"declared shape":   {one(conv, in, activation("out", 1, 1, 3, 1), convOptions(1, 1, 1, 0), weights), format, "computed"},
		"grouped":          {one(conv, in, out, convOptions(1, 1, 1, 0), floats("w", []int32{1, 1, 1, 2}, 1, 2)), unsupported, "grouped"},
		"bias length":      {one(conv, in, out, convOptions(1, 1, 1, 0), weights, floats("b", []int32{2}, 1, 2)), unsupported, "bias"},
		"computed weights": {one(conv, in, out, convOptions(1, 1, 1, 0), activation("w", 1, 1, 1, 1)), unsupported, "weights"},
		"window too large": {one(conv, in, out, convOptions(1, 1, 1, 0), floats("w", []int32{1, 1, 3, 1}, 1, 2, 3)), format, "window"},
		"broadcast":        {one(add, in, out, nil, floats("c", []int32{1}, 1)), unsupported, "not computed"},
		"order":            {change(twice(add, in, out), func(n *net) { n.ops[0].in = []int32{1, 1} }), unsupported, "not computed"},
		"missing input":    {change(twice(add, in, out), func(n *net) { n.ops[0].in = nil }), format, "missing"},
		"batch":            {one(maxPool, activation("in", 2, 1, 2, 1), activation("out", 2, 1, 2, 1), nil), unsupported, "want [1, height"},
		"quantized":        {one(dequantize, in, out, nil), unsupported, "float16"},
		"reshape":          {one(reshape, in, activation("out", 1, 3), nil), format, "becomes"},
		"two resize modes": {one(resize, in, out, resizeOptions(1, 1), ints("s", []int32{2}, 1, 2)), format, "at once"},
		"nameless output":  {one(logistic, in, activation("", 1, 1, 2, 1), nil), format, "name"},
		"tensor number":    {change(twice(add, in, out), func(n *net) { n.ops[0].in = []int32{0, 9} }), format, "tensor 9 of 2"},
		"never written":    {change(twice(add, in, out), func(n *net) { n.ops = nil }), format, "no operator writes"},
		"sparse order":     {change(sparseConv(1), func(n *net) { n.tensors[2].sparse.order = []int32{3, 1, 2, 0} }), unsupported, "axis order"},
		"sparse blocks":    {change(sparseConv(1), func(n *net) { n.tensors[2].sparse.blockMap = []int32{0} }), unsupported, "blocks"},
		"sparse index":     {change(sparseConv(1), func(n *net) { n.tensors[2].sparse.indices = []int{4, 0, 3} }), format, "add up"},
		"sparse segments":  {change(sparseConv(1), func(n *net) { n.tensors[2].sparse.segments = []int{0, 1, 9} }), format, "add up"},
		"sparse values":    {change(sparseConv(1), func(n *net) { n.tensors[2].sparse.segments = []int{0, 1, 2} }), format, "add up"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := tflite.Convert(test.net.build(), tflite.Options{})
			if !errors.Is(err, test.want) || !strings.Contains(err.Error(), test.text) {
				t.Errorf("got error %v, want %q and the text %q", err, test.want, test.text)
			}
		})
	}
}

// TestDamage cuts a file at every byte and turns every byte over: no panic, and no cut file is taken for a whole one.
func TestDamage(t *testing.T) {
	for name, n := range map[string]net{"sparse": sparseConv(2), "half": halfConv()} {
		whole := n.build()
		for k := range whole {
			if _, err := tflite.Convert(whole[:k], tflite.Options{}); !errors.Is(err, tflite.ErrFormat) && !errors.Is(err, tflite.ErrUnsupported) {
				t.Errorf("%s cut to %d of %d bytes: error %v", name, k, len(whole), err)
			}
			for _, mask := range []byte{0xff, 0x01, 0x80, 0x7f} {
				bad := append([]byte(nil), whole...)
				bad[k] ^= mask
				_, _ = tflite.Convert(bad, tflite.Options{}) // may succeed: a weight may have changed
			}
		}
	}
}

func FuzzConvert(f *testing.F) {
	f.Add(sparseConv(1).build())
	f.Add(halfConv().build())
	f.Fuzz(func(t *testing.T, file []byte) {
		_, err := tflite.Convert(file, tflite.Options{})
		if err != nil && !errors.Is(err, tflite.ErrFormat) && !errors.Is(err, tflite.ErrUnsupported) {
			t.Errorf("error %v wraps neither sentinel", err)
		}
	})
}

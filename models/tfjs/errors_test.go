package tfjs_test

import (
	"bytes"
	"strings"
	"testing"

	"plantframe/models/onnx"
	"plantframe/models/tfjs"
)

func TestErrorsNameWhatIsWrong(t *testing.T) {
	w3 := make([]float32, 6)
	conv := func(a attrs) *graph {
		return input(4, 4).floats("w", []int{1, 1, 3, 2}, w3...).op("Conv2D", "y", []string{"x", "w"}, a)
	}
	with := func(op string, shape []int, v ...int32) *graph {
		return input(2, 2).ints("c", shape, v...).op(op, "y", []string{"x", "c"}, nil)
	}
	two := input(1, 1)
	two.placeholder("x2", "DT_FLOAT", 1, 1, 1, 3)
	two.op("Add", "y", []string{"x", "x2"}, nil)
	open := &graph{}
	open.placeholder("x", "DT_FLOAT", -1, 4, 4, 3)
	open.op("Relu", "y", []string{"x"}, nil)
	huge := &graph{}
	huge.placeholder("x", "DT_FLOAT", 1<<20, 1<<20, 1<<20, 1<<20)
	huge.op("Relu", "y", []string{"x"}, nil)
	for name, tt := range map[string]struct {
		graph *graph
		want  string // part of the message
	}{
		"unknown operator":       {input(1, 1).op("Frobnicate", "y", []string{"x"}, nil), `node "y" (Frobnicate): the operator "Frobnicate" is not supported`},
		"unknown fused":          {conv(attrs{"fused_ops": texts("FusedBatchNorm")}), `"FusedBatchNorm" is not supported`},
		"bias missing":           {conv(attrs{"fused_ops": texts("BiasAdd")}), "bias is missing"},
		"unknown padding":        {conv(attrs{"padding": txt("ROUND")}), `"ROUND" is not supported`},
		"unknown data format":    {conv(attrs{"data_format": txt("CHWN")}), `"CHWN" is not supported`},
		"stride 0":               {conv(attrs{"strides": nums(1, 0, 1, 1)}), "strides"},
		"stride over batch":      {conv(attrs{"strides": nums(2, 1, 1, 1)}), "strides"},
		"short stride":           {conv(attrs{"strides": nums(1, 1)}), "strides has 2 elements"},
		"stride no integer":      {conv(attrs{"strides": list("i", []float64{1, 1.5, 1, 1})}), "not a usable integer"},
		"huge dilation":          {conv(attrs{"dilations": nums(1, 1<<40, 1, 1)}), "dilations"},
		"missing weight":         {input(1, 1).op("Const", "c", nil, nil).op("Add", "y", []string{"x", "c"}, nil), `node "c" (Const): its weight is missing`},
		"missing node":           {input(1, 1).op("Add", "y", []string{"x", "c"}, nil), `needs "c", which the model does not have`},
		"missing port":           {input(1, 1).op("Relu", "y", []string{"x:1"}, nil), `input "x:1": that node has 1 outputs`},
		"missing input":          {input(1, 1).op("Add", "y", []string{"x"}, nil), "it has 1 inputs"},
		"extra input":            {input(1, 1).op("Relu", "y", []string{"x", "x"}, nil), "it has 2 inputs"},
		"output missing":         {input(1, 1), "the model has no such node"},
		"output constant":        {input(1, 1).floats("y", nil, 1), "does not depend on the input"},
		"circle":                 {input(1, 1).op("Relu", "a", []string{"b"}, nil).op("Relu", "b", []string{"a"}, nil).op("Relu", "y", []string{"a"}, nil), "circle"},
		"self circle":            {input(1, 1).op("Relu", "y", []string{"y"}, nil), "circle"},
		"two inputs":             {two, "a second input"},
		"open shape":             {open, "not fixed"},
		"absurd shape":           {huge, "not fixed"},
		"weights of other depth": {input(1, 1).floats("w", []int{1, 1, 2, 1}, 1, 2).op("Conv2D", "y", []string{"x", "w"}, nil), "for data of 3 channels"},
		"window too large":       {input(2, 2).floats("w", []int{3, 1, 3, 1}, make([]float32, 9)...).op("Conv2D", "y", []string{"x", "w"}, nil), "does not fit"},
		"empty weights":          {input(2, 2).floats("w", []int{1, 1, 3, 0}).op("Conv2D", "y", []string{"x", "w"}, nil), "cannot be used"},
		"shapes do not fit":      {input(2, 2).floats("c", []int{2}, 1, 2).op("Add", "y", []string{"x", "c"}, nil), "do not go together"},
		"integers with floats":   {with("Mul", []int{3}, 1, 2, 3), "mixes an integer constant with floats"},
		"reshape":                {with("Reshape", []int{2}, 5, -1), "for a tensor of shape"},
		"reshape two open":       {with("Reshape", []int{2}, -1, -1), "negative dimension"},
		"reshape by computed":    {input(1, 1).op("Reshape", "y", []string{"x", "x"}, nil), "its shape is not constant"},
		"transpose twice":        {with("Transpose", []int{4}, 0, 1, 1, 2), "names an axis twice"},
		"transpose short":        {with("Transpose", []int{2}, 0, 1), "order of 2 axes"},
		"transpose outside":      {with("Transpose", []int{4}, 0, 1, 2, 4), "axis 4"},
		"pad negative":           {with("Pad", []int{4, 2}, 0, 0, -1, 0, 0, 0, 0, 0), "negative length"},
		"pad absurd":             {with("Pad", []int{4, 2}, 1<<30, 1<<30, 1<<30, 0, 1<<30, 0, 0, 0), "more than"},
		"resize absurd":          {with("ResizeBilinear", []int{2}, 1<<30, 1<<30), "more than"},
		"resize to nothing":      {with("ResizeBilinear", []int{2}, 0, 4), "its size is"},
		"expand outside":         {with("ExpandDims", nil, 9), "axis 9"},
		"axis of two":            {with("ExpandDims", []int{2}, 0, 1), "has 2 elements, want 1"},
		"split unequal":          {input(1, 1).ints("a", nil, 3).op("Split", "y", []string{"a", "x"}, attrs{"num_split": num(2)}), "in 2 equal parts"},
		"split by 0":             {input(1, 1).ints("a", nil, 3).op("Split", "y", []string{"a", "x"}, nil), "in 0 equal parts"},
		"lengths":                {input(1, 1).ints("a", nil, 3).ints("n", []int{2}, 1, 1).op("SplitV", "y", []string{"x", "n", "a"}, nil), "lengths [1 1]"},
		"training":               {input(1, 1).floats("c", []int{3}, 1, 1, 1).op("FusedBatchNormV3", "y", []string{"x", "c", "c", "c", "c"}, attrs{"is_training": yes()}), "training mode"},
		"sparse outside":         {input(1, 1).ints("w", []int{1, 1}, 3).ints("s", []int{1}, 3).ints("v", nil, 1).op("SparseToDense", "d", []string{"w", "s", "v"}, nil).op("Reshape", "y", []string{"x", "d"}, nil), "outside the shape"},
		"sparse absurd":          {input(1, 1).ints("w", []int{0, 1}).ints("s", []int{2}, 1<<14, 1<<14).ints("v", nil, 1).op("SparseToDense", "d", []string{"w", "s", "v"}, nil).op("Reshape", "y", []string{"x", "d"}, nil), "elements, more than"},
		"weight type":            {input(1, 1).constant("c", "string", nil, nil, []int{0}).op("Add", "y", []string{"x", "c"}, nil), `"string" is not supported`},
		"weight shape":           {input(1, 1).constant("c", "float32", nil, nil, []int{-1}).op("Add", "y", []string{"x", "c"}, nil), "negative dimension"},
		"weight absurd":          {input(1, 1).constant("c", "float32", nil, nil, []int{1 << 30, 1 << 30, 1 << 30, 1 << 30}).op("Add", "y", []string{"x", "c"}, nil), "more than"},
		"cast to integer":        {input(1, 1).op("Relu", "r", []string{"x"}, nil).op("Cast", "y", []string{"r"}, attrs{"DstT": typ("DT_INT32")}), "cast of computed values"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := tfjs.Convert(tt.graph.json(t), tt.graph.data, tfjs.DefaultOptions())
			if err == nil {
				t.Fatal("want an error")
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("message %q does not say %q", err, tt.want)
			}
		})
	}
}

func TestFilesThatAreNoGraphModel(t *testing.T) {
	for name, tt := range map[string]struct{ json, want string }{
		"empty":        {"", "cannot be read"},
		"text":         {"hello", "cannot be read"},
		"list":         {"[]", "cannot be read"},
		"no graph":     {"{}", "holds no graph"},
		"layers model": {`{"format":"layers-model","modelTopology":{"node":[{}]}}`, `a "layers-model"`},
		"no signature": {`{"modelTopology":{"node":[{"name":"x","op":"Placeholder"}]}}`, "no signature"},
		"no name":      {`{"modelTopology":{"node":[{"op":"Placeholder"}]}}`, "has no name"},
		"two of one":   {`{"modelTopology":{"node":[{"name":"x"},{"name":"x"}]}}`, `two nodes are called "x"`},
		"text damaged": {`{"modelTopology":{"node":[{"name":"x","attr":{"padding":{"s":"*"}}}]}}`, "not base64"},
		"deep":         {strings.Repeat("[", 1<<20), "cannot be read"},
	} {
		_, err := tfjs.Convert([]byte(tt.json), nil, tfjs.DefaultOptions())
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want %q", name, err, tt.want)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	g := input(1, 1).op("Relu", "y", []string{"x"}, nil)
	for name, change := range map[string]func(*tfjs.Options){
		"no input name":  func(o *tfjs.Options) { o.InputName = "" },
		"odd metadata":   func(o *tfjs.Options) { o.Meta = []string{"licence"} },
		"shape":          func(o *tfjs.Options) { o.InputShape = []int64{1, 0} },
		"absurd shape":   func(o *tfjs.Options) { o.InputShape = []int64{1 << 30, 1 << 30, 1 << 30} },
		"unnamed output": func(o *tfjs.Options) { o.Outputs = []tfjs.Output{{Name: "z"}} },
		"name twice":     func(o *tfjs.Options) { o.Outputs = []tfjs.Output{{Node: "y"}, {Node: "y:0"}} },
		"unknown output": func(o *tfjs.Options) { o.Outputs = []tfjs.Output{{Node: "z"}} },
	} {
		o := tfjs.DefaultOptions()
		change(&o)
		if _, err := tfjs.Convert(g.json(t), g.data, o); err == nil {
			t.Errorf("%s: want an error", name)
		}
	}
}

// cuttable is a model in which every byte of both files matters.
func cuttable() *graph {
	return input(4, 4).
		floats("w", []int{1, 1, 3, 2}, 1, 2, 3, 4, 5, 6).floats("b", []int{2}, 7, 8).
		op("_FusedConv2D", "c", []string{"x", "w", "b"}, attrs{
			"strides": nums(1, 2, 2, 1), "padding": txt("SAME"), "fused_ops": texts("BiasAdd", "Relu6"),
		}).
		ints("p", []int{4, 2}, 0, 0, 1, 1, 1, 1, 0, 0).op("Pad", "y", []string{"c", "p"}, nil)
}

func TestCutFiles(t *testing.T) {
	g := cuttable()
	whole := g.json(t)
	if _, err := tfjs.Convert(whole, g.data, tfjs.DefaultOptions()); err != nil {
		t.Fatal(err)
	}
	for n := range whole {
		if _, err := tfjs.Convert(whole[:n], g.data, tfjs.DefaultOptions()); err == nil {
			t.Fatalf("model.json cut after %d of %d bytes: want an error", n, len(whole))
		}
	}
	for n := range g.data {
		_, err := tfjs.Convert(whole, g.data[:n], tfjs.DefaultOptions())
		if err == nil || !strings.Contains(err.Error(), "is cut") {
			t.Fatalf("weights cut after %d of %d bytes: error %v, want one that says so", n, len(g.data), err)
		}
	}
	_, err := tfjs.Convert(whole, append(bytes.Clone(g.data), 0), tfjs.DefaultOptions())
	if err == nil || !strings.Contains(err.Error(), "do not belong together") {
		t.Errorf("weights too long: error %v, want one that says so", err)
	}
}

func TestSameInputSameFile(t *testing.T) {
	var files [2][]byte
	for i := range files {
		b, err := onnx.Marshal(cuttable().convert(t))
		if err != nil {
			t.Fatal(err)
		}
		files[i] = b
	}
	if !bytes.Equal(files[0], files[1]) {
		t.Error("two conversions of one model differ")
	}
}

func TestOutputsAndMetadata(t *testing.T) {
	// What lies behind a cut may be unknown: only the part in front is read.
	g := input(1, 1).op("Relu", "heads/a:b", []string{"x"}, nil).op("Frobnicate", "y", []string{"heads/a:b"}, nil)
	o := tfjs.DefaultOptions()
	o.InputName, o.Meta = "picture", []string{"licence", "none"}
	o.Outputs = []tfjs.Output{{Node: "heads/a:b", Name: "heat"}, {Node: "x:0", Name: "again"}}
	m, err := tfjs.Convert(g.json(t), g.data, o)
	if err != nil {
		t.Fatal(err)
	}
	out := m.GetGraph().GetOutput()
	if len(out) != 2 || out[0].GetName() != "heat" || out[1].GetName() != "again" {
		t.Errorf("outputs %v, want heat and again", out)
	}
	if in := m.GetGraph().GetInput()[0]; in.GetName() != "picture" || in.GetType().GetTensorType().GetElemType() != int32(onnx.TensorProto_FLOAT) {
		t.Errorf("input %v, want picture in float32", in)
	}
	if p := m.GetMetadataProps(); len(p) != 1 || p[0].GetKey() != "licence" {
		t.Errorf("metadata %v, want the licence", p)
	}
}

// Damaged files must be refused or converted, never crash. Run with -fuzz to search further.
func FuzzConvert(f *testing.F) {
	g := cuttable()
	f.Add(g.json(f), g.data)
	h := input(2, 2).ints("a", nil, 3).op("Split", "s", []string{"a", "x"}, attrs{"num_split": num(3)}).
		ints("size", []int{2}, 4, 4).op("ResizeBilinear", "r", []string{"s:2", "size"}, attrs{"half_pixel_centers": yes()}).
		ints("t", []int{4}, 0, 3, 1, 2).op("Transpose", "y", []string{"r", "t"}, nil)
	f.Add(h.json(f), h.data)
	p := input(4, 4).op("MaxPool", "m", []string{"x"}, attrs{"ksize": nums(1, 2, 2, 1), "strides": nums(1, 2, 2, 1)}).
		op("Unpack", "u", []string{"m"}, attrs{"axis": num(1), "num": num(2)}).
		op("ConcatV2", "y", []string{"u", "u:1", "ax"}, nil).ints("ax", nil, 1)
	f.Add(p.json(f), p.data)
	f.Fuzz(func(t *testing.T, modelJSON, weights []byte) {
		m, err := tfjs.Convert(modelJSON, weights, tfjs.DefaultOptions())
		if (m == nil) == (err == nil) {
			t.Fatalf("model %v and error %v", m, err)
		}
	})
}

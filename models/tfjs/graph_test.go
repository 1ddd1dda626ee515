package tfjs_test

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"plantframe/models"
	"plantframe/models/onnx"
	"plantframe/models/tfjs"
)

// graph builds a small graph model by hand: its input is called "x", its output "y".
type graph struct {
	nodes   []map[string]any
	weights []map[string]any
	data    []byte
}

type attrs map[string]any

func num(v int) any     { return map[string]any{"i": fmt.Sprint(v)} }
func flo(v float64) any { return map[string]any{"f": v} }
func yes() any          { return map[string]any{"b": true} }
func txt(s string) any  { return map[string]any{"s": b64(s)} }
func b64(s string) any  { return base64.StdEncoding.EncodeToString([]byte(s)) }
func typ(t string) any  { return map[string]any{"type": t} }
func nums(v ...int) any { return list("i", v) }
func list[T any](key string, v []T) any {
	l := make([]any, len(v))
	for i, x := range v {
		l[i] = fmt.Sprint(x)
		if key == "s" {
			l[i] = b64(fmt.Sprint(x))
		}
	}
	return map[string]any{"list": map[string]any{key: l}}
}
func texts(v ...string) any { return list("s", v) }

// input starts a graph with a picture of h x w pixels and 3 channels, channels last.
func input(h, w int) *graph {
	g := &graph{}
	g.placeholder("x", "DT_FLOAT", 1, h, w, 3)
	return g
}

func (g *graph) placeholder(name, dtype string, dims ...int) {
	var l []any
	for _, d := range dims {
		l = append(l, map[string]any{"size": fmt.Sprint(d)})
	}
	g.op("Placeholder", name, nil, attrs{"dtype": typ(dtype), "shape": map[string]any{"shape": map[string]any{"dim": l}}})
}

func (g *graph) op(op, name string, inputs []string, a attrs) *graph {
	if a == nil {
		a = attrs{}
	}
	g.nodes = append(g.nodes, map[string]any{"op": op, "name": name, "input": inputs, "attr": a})
	return g
}

func (g *graph) constant(name, dtype string, quantization any, bytes []byte, shape []int) *graph {
	if shape == nil {
		shape = []int{}
	}
	w := map[string]any{"name": name, "dtype": dtype, "shape": shape}
	if quantization != nil {
		w["quantization"] = quantization
	}
	g.weights = append(g.weights, w)
	g.data = append(g.data, bytes...)
	return g.op("Const", name, nil, nil)
}

func (g *graph) floats(name string, shape []int, v ...float32) *graph {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return g.constant(name, "float32", nil, b, shape)
}

func (g *graph) ints(name string, shape []int, v ...int32) *graph {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, uint32(x))
	}
	return g.constant(name, "int32", nil, b, shape)
}

// through adds a convolution that changes nothing but the order in memory, and returns its name.
func (g *graph) through(from string) string {
	g.floats("eye", []int{1, 1, 3, 3}, 1, 0, 0, 0, 1, 0, 0, 0, 1)
	g.op("Conv2D", "through", []string{from, "eye"}, attrs{"strides": nums(1, 1, 1, 1), "padding": txt("SAME")})
	return "through"
}

func (g *graph) json(t testing.TB) []byte {
	t.Helper()
	b, err := json.Marshal(map[string]any{
		"format":          "graph-model",
		"modelTopology":   map[string]any{"node": g.nodes},
		"weightsManifest": []any{map[string]any{"paths": []string{"w.bin"}, "weights": g.weights}},
		"signature":       map[string]any{"outputs": map[string]any{"y:0": map[string]any{"name": "y:0"}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (g *graph) convert(t testing.TB) *onnx.ModelProto {
	t.Helper()
	m, err := tfjs.Convert(g.json(t), g.data, tfjs.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func dims(v *onnx.ValueInfoProto) []int64 {
	var d []int64
	for _, x := range v.GetType().GetTensorType().GetShape().GetDim() {
		d = append(d, x.GetDimValue())
	}
	return d
}

// run converts the graph, runs it in ONNX Runtime on in, and returns the output "y" with its shape.
func (g *graph) run(t testing.TB, in []float32) ([]float32, []int64) {
	t.Helper()
	m := g.convert(t)
	b, err := onnx.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "network.onnx")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	shape := dims(m.GetGraph().GetOutput()[0])
	dir, err := models.DefaultDir()
	if err != nil {
		t.Fatal(err)
	}
	if err := models.NewStore(dir).Start(); err != nil {
		t.Fatalf("%v\nthis test needs ONNX Runtime: run scripts/test, or plantframe models install once", err)
	}
	s, err := models.OpenTensors(path, models.Tensor{Name: "input", Shape: dims(m.GetGraph().GetInput()[0])},
		[]models.Output{{Name: "y", Tensor: "y", Shape: shape}}, models.DefaultSessionOptions())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	if len(s.Input()) != len(in) {
		t.Fatalf("the input takes %d values, the test gives %d", len(s.Input()), len(in))
	}
	copy(s.Input(), in)
	if err := s.Run(); err != nil {
		t.Fatal(err)
	}
	return append([]float32(nil), s.Output("y")...), shape
}

// count tells how many nodes of an operator a converted network has.
func countOps(m *onnx.ModelProto, op string) int {
	n := 0
	for _, x := range m.GetGraph().GetNode() {
		if x.GetOpType() == op {
			n++
		}
	}
	return n
}

// first fills channel 0 of an h x w x 3 picture; the other channels are 0.
func first(v ...float32) []float32 {
	out := make([]float32, 3*len(v))
	for i, x := range v {
		out[3*i] = x
	}
	return out
}

func ramp(n int) []float32 {
	v := make([]float32, n)
	for i := range v {
		v[i] = float32(i)
	}
	return v
}

package onnx_test

import (
	"bytes"
	"testing"

	"plantframe/models/onnx"
)

func model() *onnx.ModelProto {
	g := onnx.NewGraph("g")
	in := g.Input("in", 1, -1)
	w := g.Constant(onnx.Float32s(g.New("w"), []int64{2}, []float32{1, 2}))
	g.Add("Mul", "unused", []string{in, g.Float32("w", 3)})
	g.Add("Add", "out", []string{in, w})
	g.Output("out", 1, 2)
	g.Prune()
	return onnx.Model(g.Proto(), "source", "test")
}

func TestModelRoundTripAndPrune(t *testing.T) {
	a, err := onnx.Marshal(model())
	if err != nil {
		t.Fatal(err)
	}
	b, err := onnx.Marshal(model())
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a, b) {
		t.Error("two equal models were written to different bytes")
	}
	m, err := onnx.Unmarshal(a)
	if err != nil {
		t.Fatal(err)
	}
	if m.GetIrVersion() != 8 || m.GetOpsetImport()[0].GetVersion() != 17 {
		t.Errorf("versions: IR %d, opset %d; want 8, 17", m.GetIrVersion(), m.GetOpsetImport()[0].GetVersion())
	}
	g := m.GetGraph()
	if len(g.GetNode()) != 1 || g.GetNode()[0].GetOpType() != "Add" {
		t.Errorf("nodes after Prune: %v, want the Add alone", g.GetNode())
	}
	if len(g.GetInitializer()) != 1 || g.GetInitializer()[0].GetName() != "w" {
		t.Errorf("constants after Prune: %v, want w alone", g.GetInitializer())
	}
	if p := g.GetInput()[0].GetType().GetTensorType().GetShape().GetDim()[1].GetDimParam(); p == "" {
		t.Error("a dimension below 0 must be written as a free one")
	}
}

func TestUnmarshalRefusesOtherBytes(t *testing.T) {
	for name, b := range map[string][]byte{"empty": nil, "text": []byte("not a model"), "no graph": {0x08, 0x08}} {
		if _, err := onnx.Unmarshal(b); err == nil {
			t.Errorf("%s: want an error", name)
		}
	}
}

package onnx

import (
	"fmt"

	"google.golang.org/protobuf/proto"
)

// Graph collects the parts of a graph in the order they are added; nodes must be added so that every input exists
// before its first use. Names given by the caller are used as they are; New makes unused ones.
// The zero value is not usable: call NewGraph. A Graph is not safe for concurrent use.
type Graph struct {
	g    *GraphProto
	used map[string]bool
}

// NewGraph starts an empty graph.
func NewGraph(name string) *Graph {
	return &Graph{g: &GraphProto{Name: proto.String(name)}, used: map[string]bool{}}
}

// New returns hint, or hint with a number behind it when the name is taken, and marks it as taken.
func (g *Graph) New(hint string) string {
	name := hint
	for i := 1; g.used[name]; i++ {
		name = fmt.Sprintf("%s_%d", hint, i)
	}
	g.used[name] = true
	return name
}

// Input adds a float32 input of the graph. A dimension below 0 is free.
func (g *Graph) Input(name string, dims ...int64) string {
	g.used[name] = true
	g.g.Input = append(g.g.Input, Value(name, TensorProto_FLOAT, dims...))
	return name
}

// Output names an existing float32 tensor as an output of the graph.
func (g *Graph) Output(name string, dims ...int64) {
	g.used[name] = true
	g.g.Output = append(g.g.Output, Value(name, TensorProto_FLOAT, dims...))
}

// Constant adds a constant tensor and returns its name. One of the same name must not have been added before.
func (g *Graph) Constant(t *TensorProto) string {
	g.used[t.GetName()] = true
	g.g.Initializer = append(g.g.Initializer, t)
	return t.GetName()
}

// Int64s adds a one-dimensional int64 constant under an unused name made from hint and returns that name.
func (g *Graph) Int64s(hint string, v ...int64) string {
	return g.Constant(Int64s(g.New(hint), v...))
}

// Float32 adds a float32 constant without dimensions (a scalar) under an unused name made from hint.
func (g *Graph) Float32(hint string, v float32) string {
	return g.Constant(Float32s(g.New(hint), nil, []float32{v}))
}

// Add appends a node that writes the tensor out and returns out.
func (g *Graph) Add(op, out string, inputs []string, attrs ...*AttributeProto) string {
	g.used[out] = true
	g.g.Node = append(g.g.Node, Node(op, inputs, []string{out}, attrs...))
	return out
}

// Append adds a node made elsewhere, for operators with several outputs.
func (g *Graph) Append(n *NodeProto) {
	for _, o := range n.GetOutput() {
		g.used[o] = true
	}
	g.g.Node = append(g.g.Node, n)
}

// Proto returns the graph built so far. It shares memory with g.
func (g *Graph) Proto() *GraphProto { return g.g }

// Prune removes the nodes and constants that no graph output needs. The order of what is left is kept.
func (g *Graph) Prune() {
	need := map[string]bool{}
	for _, o := range g.g.Output {
		need[o.GetName()] = true
	}
	kept := make([]*NodeProto, 0, len(g.g.Node))
	for i := len(g.g.Node) - 1; i >= 0; i-- {
		n := g.g.Node[i]
		wanted := false
		for _, o := range n.GetOutput() {
			wanted = wanted || need[o]
		}
		if !wanted {
			continue
		}
		for _, in := range n.GetInput() {
			need[in] = true
		}
		kept = append(kept, n)
	}
	for i, j := 0, len(kept)-1; i < j; i, j = i+1, j-1 {
		kept[i], kept[j] = kept[j], kept[i]
	}
	g.g.Node = kept
	constants := g.g.Initializer[:0]
	for _, t := range g.g.Initializer {
		if need[t.GetName()] {
			constants = append(constants, t)
		}
	}
	g.g.Initializer = constants
}

package tfjs

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"plantframe/models/onnx"
)

// converter holds one conversion.
type converter struct {
	options Options
	ops     map[string]operator
	nodes   map[string]*node
	weights map[string]*weight
	graph   *onnx.Graph
	done    map[string][]value // outputs of converted nodes, by node name
	emitted map[emitKey]string // constants already in the graph
	written int64              // bytes of constants in the graph, at most
	input   string             // node name of the one placeholder met so far

	// What computed tensors came from, so that the next operator can take the step in. Tensors that nobody uses
	// after that are pruned at the end.
	convs    map[string]convInfo
	pads     map[string]padInfo
	reshapes map[string]value
}

// Convert turns a graph model into an ONNX model (opset 17, IR version 8).
//
// modelJSON is the content of model.json, weights the contents of all shards of the manifest joined in order. The
// model has one float32 input, also where the file asks for integers (hand in whole numbers then), and the outputs
// that o names, all in the file's axis order. Equal input gives an equal model. The result shares no memory with
// weights.
//
// It fails, naming the node or weight, on: malformed JSON or another kind of model; weights cut, too long, missing or
// of an unsupported type; an unknown operator or attribute value; shapes that do not fit or are absurdly large; an
// output that is not there or does not depend on the input; more than one input.
func Convert(modelJSON, weights []byte, o Options) (*onnx.ModelProto, error) {
	m, err := convert(modelJSON, weights, o)
	if err != nil {
		return nil, fmt.Errorf("converting the TensorFlow.js model: %w", err)
	}
	return m, nil
}

func convert(modelJSON, weights []byte, o Options) (*onnx.ModelProto, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	f, err := parse(modelJSON)
	if err != nil {
		return nil, err
	}
	c := &converter{
		options: o, ops: operators(), graph: onnx.NewGraph(o.Name), nodes: map[string]*node{},
		done: map[string][]value{}, emitted: map[emitKey]string{},
		convs: map[string]convInfo{}, pads: map[string]padInfo{}, reshapes: map[string]value{},
	}
	if c.weights, err = f.weights(weights); err != nil {
		return nil, err
	}
	for i := range f.ModelTopology.Node {
		n := &f.ModelTopology.Node[i]
		if n.Name == "" {
			return nil, fmt.Errorf("node %d has no name", i)
		}
		if c.nodes[n.Name] != nil {
			return nil, fmt.Errorf("two nodes are called %q", n.Name)
		}
		c.nodes[n.Name] = n
	}
	outputs := o.Outputs
	if len(outputs) == 0 {
		if outputs, err = f.outputs(); err != nil {
			return nil, err
		}
	}
	// Names that the caller asked for are taken before the nodes choose theirs.
	c.graph.New(o.InputName)
	for _, out := range outputs {
		c.graph.New(out.name())
	}
	for _, out := range outputs {
		if err := c.output(out); err != nil {
			return nil, fmt.Errorf("output %q: %w", out.Node, err)
		}
	}
	c.graph.Prune()
	return onnx.Model(c.graph.Proto(), o.Meta...), nil
}

// output converts everything that an output needs and names it.
func (c *converter) output(o Output) error {
	name, port := c.resolve(o.Node)
	if c.nodes[name] == nil {
		return errors.New("the model has no such node")
	}
	if err := c.need(name); err != nil {
		return err
	}
	results := c.done[name]
	if port >= len(results) {
		return fmt.Errorf("node %q has %d outputs, not %d", name, len(results), port+1)
	}
	v := results[port]
	if v.isConstant() {
		return errors.New("it does not depend on the input")
	}
	if isIdentity(v.order) {
		c.graph.Add("Identity", o.name(), []string{v.name})
	} else {
		c.graph.Add("Transpose", o.name(), []string{v.name}, onnx.Ints("perm", toInt64(inverse(v.order))...))
	}
	c.graph.Output(o.name(), v.shape...)
	return nil
}

// resolve splits a reference into node and port. Node names may hold a colon themselves, so a whole match wins.
func (c *converter) resolve(ref string) (string, int) {
	if c.nodes[ref] != nil {
		return ref, 0
	}
	return splitPort(ref)
}

// need converts the named node after all nodes that it needs. It keeps its own stack: a chain of nodes in a file may
// be long, and a file may hold a circle.
func (c *converter) need(name string) error {
	open := map[string]bool{}
	stack := []string{name}
	for len(stack) > 0 {
		top := stack[len(stack)-1]
		if _, ok := c.done[top]; ok {
			stack = stack[:len(stack)-1]
			continue
		}
		n := c.nodes[top]
		missing := false
		for _, ref := range n.Input {
			if strings.HasPrefix(ref, "^") { // only an order of execution
				continue
			}
			from, _ := c.resolve(ref)
			if _, ok := c.done[from]; ok {
				continue
			}
			if c.nodes[from] == nil {
				return fmt.Errorf("node %q needs %q, which the model does not have", top, ref)
			}
			if open[from] || from == top {
				return fmt.Errorf("node %q is part of a circle", top)
			}
			stack = append(stack, from)
			missing = true
		}
		if missing {
			open[top] = true
			continue
		}
		delete(open, top)
		stack = stack[:len(stack)-1]
		if err := c.convertNode(n); err != nil {
			return fmt.Errorf("node %q (%s): %w", n.Name, n.Op, err)
		}
	}
	return nil
}

// convertNode runs the operator's converter and checks the shapes that it gives.
func (c *converter) convertNode(n *node) error {
	op, ok := c.ops[n.Op]
	if !ok {
		return fmt.Errorf("the operator %q is not supported", n.Op)
	}
	var inputs []value
	for _, ref := range n.Input {
		if strings.HasPrefix(ref, "^") {
			continue
		}
		from, port := c.resolve(ref)
		results := c.done[from]
		if port >= len(results) {
			return fmt.Errorf("input %q: that node has %d outputs", ref, len(results))
		}
		inputs = append(inputs, results[port])
	}
	if len(inputs) < op.inputs || (len(inputs) > op.inputs && !op.more) {
		return fmt.Errorf("it has %d inputs", len(inputs))
	}
	results, err := op.convert(c, n, inputs)
	if err != nil {
		return err
	}
	for _, r := range results {
		if _, err := count(r.shape); err != nil {
			return err
		}
	}
	c.done[n.Name] = results
	return nil
}

// add appends a node and returns its output as a value of the given shape and order.
func (c *converter) add(op string, n *node, shape []int64, order []int, inputs []string,
	attrs ...*onnx.AttributeProto,
) value {
	out := c.graph.Add(op, c.graph.New(n.Name), inputs, attrs...)
	return value{name: out, shape: shape, order: slices.Clone(order)}
}

// ordered brings a computed value into the given memory order, with a Transpose when it is in another one.
func (c *converter) ordered(n *node, v value, order []int) value {
	if slices.Equal(v.order, order) {
		return v
	}
	perm := make([]int64, len(order)) // axis i of the result is axis perm[i] of what is in memory
	for i, logical := range order {
		perm[i] = int64(slices.Index(v.order, logical))
	}
	hint := &node{Name: n.Name + "/order"}
	return c.add("Transpose", hint, v.shape, order, []string{v.name}, onnx.Ints("perm", perm...))
}

// inverse of an order.
func inverse(perm []int) []int {
	out := make([]int, len(perm))
	for i, p := range perm {
		out[p] = i
	}
	return out
}

func toInt64(v []int) []int64 {
	out := make([]int64, len(v))
	for i, x := range v {
		out[i] = int64(x)
	}
	return out
}

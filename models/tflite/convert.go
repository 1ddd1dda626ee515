package tflite

import (
	"fmt"
	"slices"
	"strings"

	"plantframe/models/onnx"
)

// Options of Convert.
type Options struct {
	Outputs []string // names of the outputs to keep, in this order; what only serves others is left out. Empty: all
}

// Convert rewrites a TFLite file as an ONNX model. Inputs and outputs keep their names and their NHWC shapes.
// Errors wrap ErrFormat (cut, damaged, contradicting shapes) or ErrUnsupported (operator or option not known here).
func Convert(b []byte, o Options) (*onnx.ModelProto, error) {
	m, err := parse(b)
	if err != nil {
		return nil, fmt.Errorf("read TFLite file: %w", err)
	}
	outputs, err := m.choose(o.Outputs)
	if err != nil {
		return nil, fmt.Errorf("choose outputs: %w", err)
	}
	c := &converter{m: m, g: onnx.NewGraph("tflite"), names: map[int]string{}, constants: map[int]constant{}}
	// Names of the rim are fixed, so they are taken before names inside are made up.
	for _, i := range append(slices.Clone(m.inputs), outputs...) {
		if c.g.New(m.tensors[i].name) != m.tensors[i].name || m.tensors[i].name == "" {
			return nil, fmt.Errorf("%w: the input or output name %q is empty or used twice", ErrFormat, m.tensors[i].name)
		}
	}
	for _, i := range m.inputs {
		t := m.tensors[i]
		if t.kind != typeFloat32 || t.data != nil {
			return nil, fmt.Errorf("%w: input %q is not float32", ErrUnsupported, t.name)
		}
		in := c.g.Input(t.name, int64s(t.shape)...)
		if len(t.shape) == 4 {
			in = c.g.Add("Transpose", c.g.New(t.name+"_nchw"), []string{in}, onnx.Ints("perm", 0, 3, 1, 2))
		}
		c.names[i] = in
	}
	for i, op := range m.operators {
		if err := c.operator(op); err != nil {
			return nil, fmt.Errorf("operator %d (%s): %w", i, op.code, err)
		}
	}
	for _, i := range outputs {
		t := m.tensors[i]
		from, ok := c.names[i]
		if !ok {
			return nil, fmt.Errorf("%w: no operator writes the output %q", ErrFormat, t.name)
		}
		if len(t.shape) == 4 {
			c.g.Add("Transpose", t.name, []string{from}, onnx.Ints("perm", 0, 2, 3, 1))
		} else {
			c.g.Add("Identity", t.name, []string{from})
		}
		c.g.Output(t.name, int64s(t.shape)...)
	}
	c.g.Prune()
	return onnx.Model(c.g.Proto(), "converted_from", "tflite"), nil
}

// choose returns the tensor numbers of the named outputs, of all outputs when none is named.
func (m *model) choose(names []string) ([]int, error) {
	if len(names) == 0 {
		return m.outputs, nil
	}
	var chosen []int
	for _, name := range names {
		k := slices.IndexFunc(m.outputs, func(i int) bool { return m.tensors[i].name == name })
		if k < 0 {
			var have []string
			for _, i := range m.outputs {
				have = append(have, m.tensors[i].name)
			}
			return nil, fmt.Errorf("%w: no output is called %q (there are %s)", ErrFormat, name, strings.Join(have, ", "))
		}
		chosen = append(chosen, m.outputs[k])
	}
	return chosen, nil
}

// converter holds what is known of each tensor while the operators are walked in file order.
type converter struct {
	m         *model
	g         *onnx.Graph
	names     map[int]string   // activations: name in the graph; four-dimensional ones in NCHW order
	constants map[int]constant // outputs of operators that run at conversion (DENSIFY, DEQUANTIZE)
}

// Operator numbers of the schema (enum BuiltinOperator).
const (
	opAdd             = 0
	opConcatenation   = 2
	opConv2D          = 3
	opDepthwiseConv2D = 4
	opDepthToSpace    = 5
	opDequantize      = 6
	opLogistic        = 14
	opMaxPool2D       = 17
	opReshape         = 22
	opResizeBilinear  = 23
	opPad             = 34
	opDensify         = 124
)

var opNames = map[int]string{
	opAdd: "ADD", opConcatenation: "CONCATENATION", opConv2D: "CONV_2D", opDepthwiseConv2D: "DEPTHWISE_CONV_2D",
	opDepthToSpace: "DEPTH_TO_SPACE", opDequantize: "DEQUANTIZE", opLogistic: "LOGISTIC", opMaxPool2D: "MAX_POOL_2D",
	opReshape: "RESHAPE", opResizeBilinear: "RESIZE_BILINEAR", opPad: "PAD", opDensify: "DENSIFY",
}

func (o opcode) String() string {
	if o.custom != "" {
		return fmt.Sprintf("custom operator %q", o.custom)
	}
	if n, ok := opNames[o.builtin]; ok {
		return n
	}
	return fmt.Sprintf("operator number %d", o.builtin)
}

// operator converts one operator. Every case finds its output tensor in t and checks its shape before it writes.
func (c *converter) operator(op operator) (err error) {
	defer guard(&err) // the options are read here
	if len(op.outputs) != 1 {
		return fmt.Errorf("%w: %d outputs, want 1", ErrUnsupported, len(op.outputs))
	}
	out := op.outputs[0]
	if c.m.tensors[out].data != nil {
		return fmt.Errorf("%w: it writes into the constant %q", ErrFormat, c.m.tensors[out].name)
	}
	if _, twice := c.names[out]; twice {
		return fmt.Errorf("%w: tensor %q is written twice", ErrFormat, c.m.tensors[out].name)
	}
	if op.code.custom != "" {
		return ErrUnsupported
	}
	switch op.code.builtin {
	case opConv2D, opDepthwiseConv2D:
		return c.convolution(op)
	case opMaxPool2D:
		return c.maxPool(op)
	case opAdd:
		return c.add(op)
	case opPad:
		return c.pad(op)
	case opResizeBilinear:
		return c.resize(op)
	case opDepthToSpace:
		return c.depthToSpace(op)
	case opConcatenation:
		return c.concat(op)
	case opReshape:
		return c.reshape(op)
	case opLogistic:
		return c.logistic(op)
	case opDequantize:
		return c.dequantize(op)
	case opDensify:
		return c.densify(op)
	}
	return ErrUnsupported
}

// activation returns the graph name and the TFLite shape of input k.
func (c *converter) activation(op operator, k int) (name string, shape []int, err error) {
	if k >= len(op.inputs) || op.inputs[k] < 0 {
		return "", nil, fmt.Errorf("%w: input %d is missing", ErrFormat, k)
	}
	i := op.inputs[k]
	name, ok := c.names[i]
	if !ok {
		return "", nil, fmt.Errorf("%w: input %d (%q) is not computed before", ErrUnsupported, k, c.m.tensors[i].name)
	}
	return name, c.m.tensors[i].shape, nil
}

// picture is activation for operators that work on pictures: four dimensions, batch 1.
func (c *converter) picture(op operator, k int) (name string, shape []int, err error) {
	name, shape, err = c.activation(op, k)
	if err == nil && (len(shape) != 4 || shape[0] != 1) {
		err = fmt.Errorf("%w: input shape %v, want [1, height, width, channels]", ErrUnsupported, shape)
	}
	return name, shape, err
}

// constant returns the values of input k; ok is false when the input is left out or not constant.
func (c *converter) constant(op operator, k int) (v constant, ok bool) {
	if k >= len(op.inputs) || op.inputs[k] < 0 {
		return constant{}, false
	}
	i := op.inputs[k]
	if v, ok := c.constants[i]; ok {
		return v, true
	}
	t := c.m.tensors[i]
	if t.data == nil || t.sparsity != nil || elementSize(t.kind) == 0 {
		return constant{}, false
	}
	return constant{shape: t.shape, kind: t.kind, data: t.data}, true
}

// write appends a node for the output tensor of op after comparing the shape computed here with the one in the file.
// When a clamp follows (fused activation), the tensor is the clamped one.
func (c *converter) write(op operator, shape []int, activation int, kind string, inputs []string, attrs ...*onnx.AttributeProto) error {
	i := op.outputs[0]
	t := c.m.tensors[i]
	if !slices.Equal(shape, t.shape) {
		return fmt.Errorf("%w: output %q has shape %v, computed %v", ErrFormat, t.name, t.shape, shape)
	}
	if t.kind != typeFloat32 {
		return fmt.Errorf("%w: output %q is not float32", ErrUnsupported, t.name)
	}
	name := c.g.Add(kind, c.g.New(t.name), inputs, attrs...)
	switch activation {
	case activationNone:
	case activationRelu:
		name = c.g.Add("Relu", c.g.New(t.name+"_relu"), []string{name})
	case activationRelu6:
		if c.g.New("zero") == "zero" {
			c.g.Constant(onnx.Float32s("zero", nil, []float32{0}))
			c.g.Constant(onnx.Float32s("six", nil, []float32{6}))
		}
		name = c.g.Add("Clip", c.g.New(t.name+"_relu6"), []string{name, "zero", "six"})
	default:
		return fmt.Errorf("%w: activation number %d", ErrUnsupported, activation)
	}
	c.names[i] = name
	return nil
}

// Fused activations of the schema (enum ActivationFunctionType).
const (
	activationNone  = 0
	activationRelu  = 1
	activationRelu6 = 3
)

func int64s(v []int) []int64 {
	out := make([]int64, len(v))
	for i, x := range v {
		out[i] = int64(x)
	}
	return out
}

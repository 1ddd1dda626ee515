package tfjs

import (
	"errors"
	"fmt"
	"math"

	"plantframe/models/onnx"
)

// operator converts one kind of node. Its converter gets the inputs in order and returns the outputs in order.
type operator struct {
	inputs  int  // fewest inputs
	more    bool // whether there may be more
	convert func(c *converter, n *node, in []value) ([]value, error)
}

// operators is the table of everything that can be converted.
func operators() map[string]operator {
	return map[string]operator{
		// sources
		"Const":         {0, false, (*converter).constant},
		"Placeholder":   {0, false, (*converter).placeholder},
		"SparseToDense": {3, true, (*converter).sparseToDense},
		// convolutions and pooling
		"Conv2D":                     {2, false, (*converter).conv},
		"_FusedConv2D":               {2, true, (*converter).conv},
		"DepthwiseConv2dNative":      {2, false, (*converter).conv},
		"FusedDepthwiseConv2dNative": {2, true, (*converter).conv},
		"MaxPool":                    {1, false, (*converter).pool},
		"AvgPool":                    {1, false, (*converter).pool},
		"FusedBatchNorm":             {5, false, (*converter).batchNorm},
		"FusedBatchNormV2":           {5, false, (*converter).batchNorm},
		"FusedBatchNormV3":           {5, false, (*converter).batchNorm},
		// resizing
		"ResizeBilinear":        {2, false, (*converter).resize},
		"ResizeNearestNeighbor": {2, false, (*converter).resize},
		// arithmetic
		"Add":     {2, false, elementwise("Add", func(a, b int64) int64 { return a + b })},
		"AddV2":   {2, false, elementwise("Add", func(a, b int64) int64 { return a + b })},
		"BiasAdd": {2, false, (*converter).biasAdd},
		"Sub":     {2, false, elementwise("Sub", func(a, b int64) int64 { return a - b })},
		"Mul":     {2, false, elementwise("Mul", func(a, b int64) int64 { return a * b })},
		"RealDiv": {2, false, elementwise("Div", nil)},
		"Maximum": {2, false, elementwise("Max", nil)},
		"Minimum": {2, false, elementwise("Min", nil)},
		// activations
		"Relu":      {1, false, unary("Relu")},
		"Relu6":     {1, false, unary("Relu6")},
		"LeakyRelu": {1, false, unary("LeakyRelu")},
		"Elu":       {1, false, unary("Elu")},
		"Sigmoid":   {1, false, unary("Sigmoid")},
		"Tanh":      {1, false, unary("Tanh")},
		"Prelu":     {2, false, (*converter).prelu},
		// shape
		"Identity":   {1, false, (*converter).identity},
		"Cast":       {1, false, (*converter).identity},
		"Reshape":    {2, false, (*converter).reshape},
		"Squeeze":    {1, false, (*converter).squeeze},
		"ExpandDims": {2, false, (*converter).expandDims},
		"Transpose":  {2, false, (*converter).transpose},
		"Pad":        {2, false, (*converter).pad},
		"PadV2":      {3, false, (*converter).pad},
		"ConcatV2":   {2, true, (*converter).concat},
		"Split":      {2, false, (*converter).split},
		"SplitV":     {3, false, (*converter).split},
		"Unpack":     {1, false, (*converter).unpack},
	}
}

// constant reads the weight of the same name.
func (c *converter) constant(n *node, _ []value) ([]value, error) {
	w := c.weights[n.Name]
	if w == nil {
		return nil, errors.New("its weight is missing from the manifest")
	}
	k, err := w.constant()
	if err != nil {
		return nil, err
	}
	return []value{constantValue(k)}, nil
}

// placeholder becomes the input of the network, always float32.
func (c *converter) placeholder(n *node, _ []value) ([]value, error) {
	if c.input != "" {
		return nil, fmt.Errorf("a second input; the first is %q", c.input)
	}
	shape := c.options.InputShape
	if len(shape) == 0 {
		var err error
		if shape, err = n.shape("shape"); err != nil {
			return nil, err
		}
	}
	if size, err := count(shape); err != nil || size == 0 {
		return nil, fmt.Errorf("its shape %v is not fixed; give one in the options", shape)
	}
	if len(shape) == 0 {
		return nil, errors.New("it has no shape; give one in the options")
	}
	c.input = n.Name
	name := c.graph.Input(c.options.InputName, shape...)
	return []value{{name: name, shape: shape, order: identity(len(shape))}}, nil
}

// sparseToDense builds a constant from positions, shape, values and (optional) default; with no positions it is a
// constant filled with the default. Files use it to build the targets of reshapes.
func (c *converter) sparseToDense(_ *node, in []value) ([]value, error) {
	parts := make([][]int64, 4)
	for i, v := range in[:min(len(in), 4)] {
		if !v.isConstant() {
			return nil, errors.New("it is supported on constants only")
		}
		var err error
		if parts[i], err = v.constant.ints(); err != nil {
			return nil, fmt.Errorf("input %d %w", i, err)
		}
	}
	at, shape, values := parts[0], parts[1], parts[2]
	size, err := count(shape)
	if err != nil {
		return nil, err
	}
	if size > maxFolded {
		return nil, fmt.Errorf("a result of %d elements, more than %d", size, maxFolded)
	}
	rank := len(shape)
	if rank == 0 || len(at)%rank != 0 {
		return nil, fmt.Errorf("positions %v do not fit the shape %v", in[0].shape, shape)
	}
	points := len(at) / rank
	if len(values) != points && len(values) != 1 {
		return nil, fmt.Errorf("%d values for %d positions", len(values), points)
	}
	dense := make([]int64, size)
	if len(parts[3]) > 0 {
		for i := range dense {
			dense[i] = parts[3][0]
		}
	}
	for p := range points {
		offset := int64(0)
		for a, d := range shape {
			x := at[p*rank+a]
			if x < 0 || x >= d {
				return nil, fmt.Errorf("position %v is outside the shape %v", at[p*rank:(p+1)*rank], shape)
			}
			offset = offset*d + x
		}
		dense[offset] = values[min(p, len(values)-1)]
	}
	k, err := intConstant(shape, dense)
	if err != nil {
		return nil, err
	}
	return []value{constantValue(k)}, nil
}

// emit writes a constant into the network, reordered into the given memory order and with the given shape (in memory
// order, of as many elements). Half precision stays half behind a Cast, except where it saves next to nothing.
// Equal requests share one tensor.
func (c *converter) emit(n *node, k *constant, order []int, stored []int64) (string, error) {
	key := emitKey{size: len(k.data), form: fmt.Sprintf("%v %v %v %v", k.kind, k.shape, order, stored)}
	if len(k.data) > 0 {
		key.data = &k.data[0]
	}
	if name, ok := c.emitted[key]; ok {
		return name, nil
	}
	// A half-precision constant may take twice its bytes; that is counted, for a bound is enough here.
	if c.written += 2 * int64(len(k.data)); c.written > maxWritten {
		return "", fmt.Errorf("the constants of the converted network take more than %d bytes", int64(maxWritten))
	}
	p := k.permuted(order)
	var name string
	switch {
	case p.kind == float16Kind && len(p.data) >= 1024:
		half := c.graph.Constant(onnx.Raw(c.graph.New(n.Name+"/half"), onnx.TensorProto_FLOAT16, stored, clone(p.data)))
		name = c.graph.Add("Cast", c.graph.New(n.Name+"/weight"), []string{half},
			onnx.Int("to", int64(onnx.TensorProto_FLOAT)))
	default:
		name = c.graph.Constant(onnx.Float32s(c.graph.New(n.Name+"/constant"), stored, p.floats()))
	}
	c.emitted[key] = name
	return name, nil
}

// emitKey tells constants in the network apart: the bytes they come from and the form they were given. The pointer
// keeps the bytes alive, so that it cannot come to mean others.
type emitKey struct {
	data *byte
	size int
	form string
}

// clone copies bytes, so that a model does not keep the whole weight file alive.
func clone(b []byte) []byte { return append(make([]byte, 0, len(b)), b...) }

// axes reads a constant input as a list of integers.
func axes(v value, what string) ([]int64, error) {
	if !v.isConstant() {
		return nil, fmt.Errorf("its %s is not constant", what)
	}
	list, err := v.constant.ints()
	if err != nil {
		return nil, fmt.Errorf("its %s %w", what, err)
	}
	return list, nil
}

// axis reads a constant input as one integer.
func axis(v value, what string) (int64, error) {
	list, err := axes(v, what)
	if err != nil {
		return 0, err
	}
	if len(list) != 1 {
		return 0, fmt.Errorf("its %s has %d elements, want 1", what, len(list))
	}
	return list[0], nil
}

// computed refuses a constant where the network's own data is expected.
func computed(v value) error {
	if v.isConstant() {
		return errors.New("its data is constant, which is not supported")
	}
	return nil
}

// finite refuses NaN in attributes.
func finite(v float64, what string) (float32, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("its %s is %v", what, v)
	}
	return float32(v), nil
}

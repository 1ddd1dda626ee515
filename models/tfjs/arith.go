package tfjs

import (
	"errors"
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// elementwise makes the converter of an element-wise operation with broadcasting. fold computes it on integer constants,
// nil where files have no need of that.
func elementwise(op string, fold func(a, b int64) int64) func(*converter, *node, []value) ([]value, error) {
	return func(c *converter, n *node, in []value) ([]value, error) {
		a, b := in[0], in[1]
		if a.isConstant() && b.isConstant() {
			return foldBinary(a, b, fold)
		}
		shape, err := broadcast(a.shape, b.shape)
		if err != nil {
			return nil, err
		}
		if op == "Add" {
			if v, ok, err := c.addBias(n, a, b, shape); ok || err != nil {
				return []value{v}, err
			}
		}
		order := commonOrder(a, b, len(shape))
		var names [2]string
		for i, v := range []value{a, b} {
			if names[i], err = c.operand(n, v, order); err != nil {
				return nil, err
			}
		}
		return []value{c.add(op, n, shape, order, names[:])}, nil
	}
}

// commonOrder chooses the memory order of an element-wise result: that of a computed input of full rank, so that no
// Transpose is needed, else the file's own.
func commonOrder(a, b value, rank int) []int {
	order := identity(rank)
	for _, v := range []value{b, a} {
		if !v.isConstant() && v.rank() == rank {
			order = v.order
		}
	}
	// A computed input of lower rank is aligned at the last axis, which holds only in the file's order.
	for _, v := range []value{b, a} {
		if !v.isConstant() && v.rank() < rank {
			order = identity(rank)
		}
	}
	return order
}

// operand names a value as an operand of an element-wise operation whose result has the given memory order.
func (c *converter) operand(n *node, v value, order []int) (string, error) {
	if !v.isConstant() {
		if v.rank() < len(order) {
			return c.ordered(n, v, identity(v.rank())).name, nil
		}
		return c.ordered(n, v, order).name, nil
	}
	if v.constant.kind == int32Kind {
		return "", errors.New("it mixes an integer constant with floats")
	}
	if v.constant.len() == 1 && v.rank() == 0 {
		return c.emit(n, v.constant, nil, nil)
	}
	full := leading(v.shape, len(order))
	return c.emit(n, v.constant.reshaped(full), order, permute(full, order))
}

// addBias makes an addition of one constant per channel behind a convolution without bias that convolution's bias.
func (c *converter) addBias(n *node, a, b value, shape []int64) (value, bool, error) {
	if a.isConstant() {
		a, b = b, a
	}
	info, ok := c.convs[a.name]
	if !ok || a.isConstant() || !b.isConstant() || !slices.Equal(a.shape, shape) || !slices.Equal(a.order, info.order) {
		return value{}, false, nil
	}
	channel := info.order[1]
	for i, d := range leading(b.shape, len(shape)) {
		if (i == channel && d != shape[channel]) || (i != channel && d != 1) {
			return value{}, false, nil
		}
	}
	name, err := c.bias(n, b, shape[channel])
	if err != nil {
		return value{}, false, err
	}
	inputs := append(slices.Clone(info.inputs), name)
	return c.add("Conv", n, shape, info.order, inputs, info.attrs...), true, nil
}

// biasAdd adds one constant per channel.
func (c *converter) biasAdd(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	bias := in[1]
	if bias.rank() != 1 {
		return nil, fmt.Errorf("a bias of shape %v: want one axis", bias.shape)
	}
	if n.text("data_format", "NHWC") == "NCHW" && bias.isConstant() && in[0].rank() > 2 {
		full := make([]int64, in[0].rank()-1)
		for i := range full {
			full[i] = 1
		}
		full[0] = bias.shape[0]
		bias = constantValue(bias.constant.reshaped(full))
	}
	out, err := elementwise("Add", nil)(c, n, []value{in[0], bias})
	if err == nil && !slices.Equal(out[0].shape, in[0].shape) {
		return nil, fmt.Errorf("a bias of shape %v for data of shape %v", in[1].shape, in[0].shape)
	}
	return out, err
}

// foldBinary computes an operation on two integer constants; files build shapes and paddings that way.
func foldBinary(a, b value, fold func(a, b int64) int64) ([]value, error) {
	if fold == nil {
		return nil, errors.New("it is not supported on two constants")
	}
	x, err := axes(a, "first constant")
	if err != nil {
		return nil, err
	}
	y, err := axes(b, "second constant")
	if err != nil {
		return nil, err
	}
	shape, err := broadcast(a.shape, b.shape)
	if err != nil {
		return nil, err
	}
	size, err := count(shape)
	if err != nil {
		return nil, err
	}
	// Equal shapes and single elements cover what files need; a general stretch is not worth its lines here.
	if (int64(len(x)) != size && len(x) != 1) || (int64(len(y)) != size && len(y) != 1) {
		return nil, fmt.Errorf("constants of shapes %v and %v are not supported", a.shape, b.shape)
	}
	out := make([]int64, size)
	for i := range out {
		out[i] = fold(x[min(i, len(x)-1)], y[min(i, len(y)-1)])
	}
	k, err := intConstant(shape, out)
	if err != nil {
		return nil, err
	}
	return []value{constantValue(k)}, nil
}

// unary makes the converter of an activation.
func unary(op string) func(*converter, *node, []value) ([]value, error) {
	return func(c *converter, n *node, in []value) ([]value, error) {
		if err := computed(in[0]); err != nil {
			return nil, err
		}
		alpha, err := finite(n.float("alpha", 0.2), "alpha") // 0.2: LeakyRelu's published default
		if err != nil {
			return nil, err
		}
		v, err := c.activate(n, op, in[0], alpha)
		return []value{v}, err
	}
}

// activate writes an activation; alpha is the slope of LeakyRelu.
func (c *converter) activate(n *node, op string, v value, alpha float32) (value, error) {
	inputs := []string{v.name}
	switch op {
	case "Relu6":
		inputs = append(inputs, c.limit(0), c.limit(6))
		return c.add("Clip", n, v.shape, v.order, inputs), nil
	case "LeakyRelu":
		return c.add(op, n, v.shape, v.order, inputs, onnx.Float("alpha", alpha)), nil
	case "Relu", "Elu", "Sigmoid", "Tanh":
		return c.add(op, n, v.shape, v.order, inputs), nil
	}
	return value{}, fmt.Errorf("the activation %q is not supported", op)
}

// limit names a scalar constant, written once per network.
func (c *converter) limit(v float32) string {
	key := emitKey{form: fmt.Sprintf("scalar %v", v)}
	name, ok := c.emitted[key]
	if !ok {
		name = c.graph.Float32(fmt.Sprintf("scalar_%v", v), v)
		c.emitted[key] = name
	}
	return name
}

// prelu converts a rectifier with a constant slope for negative values, per channel or per element.
func (c *converter) prelu(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	if !in[1].isConstant() {
		return nil, errors.New("its slopes are not constant")
	}
	shape, err := broadcast(in[0].shape, in[1].shape)
	if err != nil {
		return nil, err
	}
	if !slices.Equal(shape, in[0].shape) {
		return nil, fmt.Errorf("slopes of shape %v for data of shape %v", in[1].shape, in[0].shape)
	}
	slope, err := c.operand(n, in[1], in[0].order)
	if err != nil {
		return nil, err
	}
	return []value{c.add("PRelu", n, in[0].shape, in[0].order, []string{in[0].name, slope})}, nil
}

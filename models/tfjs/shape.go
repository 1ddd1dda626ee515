package tfjs

import (
	"errors"
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// padInfo remembers how a padded tensor was made; begin and end are in memory order.
type padInfo struct {
	from       string
	begin, end []int64
	zero       bool
}

// onlyRowsAndColumns tells whether batch and channels (memory axes 0 and 1 of 4) stay as they are.
func (p padInfo) onlyRowsAndColumns() bool {
	return len(p.begin) == 4 && p.begin[0]|p.begin[1]|p.end[0]|p.end[1] == 0
}

// identity passes a value on. A Cast is one too: the network computes in float32 throughout, and constants are read
// by what they are used for. Casting a fraction to an integer would cut it off, so that is refused.
func (c *converter) identity(n *node, in []value) ([]value, error) {
	if n.Op == "Cast" && !in[0].isConstant() {
		if in[0].name != c.options.InputName && !n.isFloat("DstT") {
			return nil, errors.New("a cast of computed values to integers is not supported")
		}
	}
	return in, nil
}

// reshape gives a value the constant shape of the second input, where one -1 stands for "the rest".
func (c *converter) reshape(n *node, in []value) ([]value, error) {
	target, err := axes(in[1], "shape")
	if err != nil {
		return nil, err
	}
	have, err := count(in[0].shape)
	if err != nil {
		return nil, err
	}
	shape := slices.Clone(target)
	rest := slices.Index(shape, -1)
	if rest >= 0 {
		shape[rest] = 1
		known, err := count(shape)
		if err != nil {
			return nil, err
		}
		if known == 0 {
			return nil, fmt.Errorf("shape %v for a tensor of shape %v", target, in[0].shape)
		}
		shape[rest] = have / known
	}
	return c.reshaped(n, in[0], shape)
}

// reshaped gives a value a shape of as many elements.
func (c *converter) reshaped(n *node, v value, shape []int64) ([]value, error) {
	have, err := count(v.shape)
	if err != nil {
		return nil, err
	}
	if want, err := count(shape); err != nil {
		return nil, err
	} else if want != have {
		return nil, fmt.Errorf("shape %v for a tensor of shape %v", shape, v.shape)
	}
	if v.isConstant() {
		return []value{constantValue(v.constant.reshaped(shape))}, nil
	}
	v = c.ordered(n, v, identity(v.rank())) // elements are counted in the file's order
	if earlier, ok := c.reshapes[v.name]; ok {
		v = earlier // two reshapes in a row are one
	}
	if slices.Equal(v.shape, shape) {
		return []value{v}, nil
	}
	target := c.graph.Int64s(n.Name+"/shape", shape...)
	out := c.add("Reshape", n, shape, identity(len(shape)), []string{v.name, target})
	c.reshapes[out.name] = v
	return []value{out}, nil
}

// squeeze drops axes of length 1: those in squeeze_dims, or all.
func (c *converter) squeeze(n *node, in []value) ([]value, error) {
	list, err := n.ints("squeeze_dims")
	if err != nil {
		return nil, err
	}
	if list == nil {
		if list, err = n.ints("axis"); err != nil {
			return nil, err
		}
	}
	drop := make([]bool, in[0].rank())
	for i, d := range in[0].shape {
		drop[i] = list == nil && d == 1
	}
	for _, a := range list {
		i, _, err := in[0].axis(a)
		if err != nil {
			return nil, err
		}
		if in[0].shape[i] != 1 {
			return nil, fmt.Errorf("axis %d of shape %v is not of length 1", a, in[0].shape)
		}
		drop[i] = true
	}
	shape := []int64{}
	for i, d := range in[0].shape {
		if !drop[i] {
			shape = append(shape, d)
		}
	}
	return c.reshaped(n, in[0], shape)
}

// expandDims inserts an axis of length 1.
func (c *converter) expandDims(n *node, in []value) ([]value, error) {
	a, err := axis(in[1], "axis")
	if err != nil {
		return nil, err
	}
	rank := int64(in[0].rank())
	if a < -rank-1 || a > rank {
		return nil, fmt.Errorf("axis %d of a tensor of %d axes", a, rank)
	}
	if a < 0 {
		a += rank + 1
	}
	return c.reshaped(n, in[0], slices.Insert(slices.Clone(in[0].shape), int(a), 1))
}

// transpose relabels the axes; nothing moves in memory until an operator needs it.
func (c *converter) transpose(_ *node, in []value) ([]value, error) {
	list, err := axes(in[1], "order")
	if err != nil {
		return nil, err
	}
	v := in[0]
	if len(list) != v.rank() {
		return nil, fmt.Errorf("an order of %d axes for a tensor of %d", len(list), v.rank())
	}
	perm := make([]int, len(list))
	seen := make([]bool, len(list))
	for i, a := range list {
		logical, _, err := v.axis(a)
		if err != nil {
			return nil, err
		}
		if seen[logical] {
			return nil, fmt.Errorf("the order %v names an axis twice", list)
		}
		seen[logical] = true
		perm[i] = logical
	}
	if v.isConstant() {
		return []value{constantValue(v.constant.permuted(perm))}, nil
	}
	// Axis i of the result is axis perm[i] of v, so what lies at memory axis k, axis order[k] of v, is now called
	// inverse(perm)[order[k]].
	back := inverse(perm)
	order := make([]int, len(perm))
	for k, logical := range v.order {
		order[k] = back[logical]
	}
	return []value{{name: v.name, shape: permute(v.shape, perm), order: order}}, nil
}

// pad adds a border of a constant value (0 unless the third input says otherwise).
func (c *converter) pad(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	v := in[0]
	list, err := axes(in[1], "padding")
	if err != nil {
		return nil, err
	}
	if len(list) != 2*v.rank() {
		return nil, fmt.Errorf("a padding of shape %v for a tensor of %d axes", in[1].shape, v.rank())
	}
	fill := float32(0)
	if len(in) > 2 {
		if !in[2].isConstant() || in[2].constant.len() != 1 {
			return nil, errors.New("its border value is not a single constant")
		}
		fill = in[2].constant.floats()[0]
	}
	shape := slices.Clone(v.shape)
	begin, end := make([]int64, v.rank()), make([]int64, v.rank())
	for k, logical := range v.order {
		before, after := list[2*logical], list[2*logical+1]
		if before < 0 || after < 0 {
			return nil, fmt.Errorf("its padding %v has a negative length", list)
		}
		begin[k], end[k] = before, after
		shape[logical] += before + after
	}
	if _, err := count(shape); err != nil {
		return nil, err
	}
	inputs := []string{v.name, c.graph.Int64s(n.Name+"/pads", append(slices.Clone(begin), end...)...)}
	if fill != 0 {
		inputs = append(inputs, c.limit(fill))
	}
	out := c.add("Pad", n, shape, v.order, inputs)
	c.pads[out.name] = padInfo{from: v.name, begin: begin, end: end, zero: fill == 0}
	return []value{out}, nil
}

// concat joins values along an axis; the last input names it.
func (c *converter) concat(n *node, in []value) ([]value, error) {
	parts := in[:len(in)-1]
	a, err := axis(in[len(in)-1], "axis")
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(parts, func(v value) bool { return !v.isConstant() })
	if i < 0 {
		return nil, errors.New("its data is constant, which is not supported")
	}
	first := parts[i]
	along, physical, err := first.axis(a)
	if err != nil {
		return nil, err
	}
	shape := slices.Clone(first.shape)
	shape[along] = 0
	names := make([]string, len(parts))
	for i, v := range parts {
		if v.rank() != first.rank() {
			return nil, fmt.Errorf("shapes %v and %v do not go together", first.shape, v.shape)
		}
		for j, d := range v.shape {
			if j != along && d != shape[j] {
				return nil, fmt.Errorf("shapes %v and %v do not go together", first.shape, v.shape)
			}
		}
		shape[along] += v.shape[along]
		if names[i], err = c.operand(n, v, first.order); err != nil {
			return nil, err
		}
	}
	return []value{c.add("Concat", n, shape, first.order, names, onnx.Int("axis", int64(physical)))}, nil
}

package tfjs

import (
	"errors"
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// split converts Split (axis, data; equal parts) and SplitV (data, lengths, axis; one length may be -1).
func (c *converter) split(n *node, in []value) ([]value, error) {
	data, axisInput := in[0], in[len(in)-1]
	if n.Op == "Split" {
		axisInput, data = in[0], in[1]
	}
	if err := computed(data); err != nil {
		return nil, err
	}
	a, err := axis(axisInput, "axis")
	if err != nil {
		return nil, err
	}
	along, _, err := data.axis(a)
	if err != nil {
		return nil, err
	}
	length := data.shape[along]
	var parts []int64
	if n.Op == "Split" {
		k, err := n.int("num_split", 0)
		if err != nil {
			return nil, err
		}
		if k < 1 || k > maxParts || length%k != 0 {
			return nil, fmt.Errorf("axis %d of shape %v in %d equal parts", a, data.shape, k)
		}
		parts = slices.Repeat([]int64{length / k}, int(k))
	} else if parts, err = lengths(in[1], length); err != nil {
		return nil, err
	}
	return c.parts(n, data, along, parts)
}

// lengths reads the lengths of SplitV, which must add up to the whole.
func lengths(v value, whole int64) ([]int64, error) {
	list, err := axes(v, "lengths")
	if err != nil {
		return nil, err
	}
	parts := slices.Clone(list)
	rest, sum := -1, int64(0)
	for i, p := range parts {
		switch {
		case p == -1 && rest < 0:
			rest = i
		case p < 0:
			return nil, fmt.Errorf("lengths %v", list)
		default:
			sum += p
		}
	}
	if rest >= 0 {
		parts[rest] = whole - sum
		sum = whole
	}
	if len(parts) == 0 || len(parts) > maxParts || sum != whole || (rest >= 0 && parts[rest] < 0) {
		return nil, fmt.Errorf("lengths %v for an axis of length %d", list, whole)
	}
	return parts, nil
}

// parts cuts a value along an axis.
func (c *converter) parts(n *node, data value, along int, parts []int64) ([]value, error) {
	names := make([]string, len(parts))
	out := make([]value, len(parts))
	for i, p := range parts {
		names[i] = c.graph.New(fmt.Sprintf("%s:%d", n.Name, i))
		shape := slices.Clone(data.shape)
		shape[along] = p
		out[i] = value{name: names[i], shape: shape, order: slices.Clone(data.order)}
	}
	sizes := c.graph.Int64s(n.Name+"/lengths", parts...)
	physical := int64(slices.Index(data.order, along))
	c.graph.Append(onnx.Node("Split", []string{data.name, sizes}, names, onnx.Int("axis", physical)))
	return out, nil
}

// unpack cuts an axis into its cells and drops it.
func (c *converter) unpack(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	a, err := n.int("axis", 0)
	if err != nil {
		return nil, err
	}
	along, _, err := in[0].axis(a)
	if err != nil {
		return nil, err
	}
	length := in[0].shape[along]
	if num, err := n.int("num", length); err != nil || num != length {
		return nil, fmt.Errorf("axis %d of shape %v in %d cells", a, in[0].shape, num)
	}
	if length < 1 || length > maxParts {
		return nil, errors.New("nothing or too much to unpack")
	}
	cells := in
	if length > 1 {
		if cells, err = c.parts(n, in[0], along, slices.Repeat([]int64{1}, int(length))); err != nil {
			return nil, err
		}
	}
	out := make([]value, len(cells))
	for i, cell := range cells {
		list, err := c.reshaped(n, cell, slices.Delete(slices.Clone(cell.shape), along, along+1))
		if err != nil {
			return nil, err
		}
		out[i] = list[0]
	}
	return out, nil
}

package tfjs

import (
	"errors"
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// resize converts both kinds of picture resizing, rows and columns at axes 1 and 2 of the file's order.
//
// Where a sample lies: half_pixel_centers maps the centre of cell x to (x+0.5)*in/out - 0.5, align_corners maps the
// outer cells onto each other, neither maps x to x*in/out. Nearest takes floor((x+0.5)*in/out) with half-pixel
// centres, which is rounding to the nearest cell with ties up; rounds up ties with aligned corners; and rounds down
// otherwise.
func (c *converter) resize(n *node, in []value) ([]value, error) {
	v := in[0]
	if err := computed(v); err != nil {
		return nil, err
	}
	if v.rank() != 4 {
		return nil, fmt.Errorf("shape %v: want 4 axes", v.shape)
	}
	size, err := axes(in[1], "size")
	if err != nil {
		return nil, err
	}
	if len(size) != 2 || size[0] < 1 || size[1] < 1 {
		return nil, fmt.Errorf("its size is %v", size)
	}
	if s, err := count(v.shape); err != nil || s == 0 {
		return nil, fmt.Errorf("shape %v cannot be resized", v.shape)
	}
	shape := slices.Clone(v.shape)
	shape[1], shape[2] = size[0], size[1]
	if _, err := count(shape); err != nil {
		return nil, err
	}
	half, corners := n.bool("half_pixel_centers"), n.bool("align_corners")
	if half && corners {
		return nil, errors.New("half_pixel_centers and align_corners exclude each other")
	}
	where, nearest := "asymmetric", "floor"
	switch {
	case half:
		where, nearest = "half_pixel", "round_prefer_ceil"
	case corners:
		where, nearest = "align_corners", "round_prefer_ceil"
	}
	mode := onnx.String("mode", "linear")
	attrs := []*onnx.AttributeProto{onnx.String("coordinate_transformation_mode", where)}
	if n.Op == "ResizeNearestNeighbor" {
		mode = onnx.String("mode", "nearest")
		attrs = append(attrs, onnx.String("nearest_mode", nearest))
	}
	order := []int{0, 3, 1, 2}
	x := c.ordered(n, v, order)
	sizes := c.graph.Int64s(n.Name+"/size", permute(shape, order)...)
	inputs := []string{x.name, "", "", sizes}
	return []value{c.add("Resize", n, shape, order, inputs, append(attrs, mode)...)}, nil
}

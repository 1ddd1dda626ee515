package tfjs

import (
	"errors"
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// convInfo remembers how a convolution without bias was made, so that an addition behind it becomes its bias.
type convInfo struct {
	inputs []string
	attrs  []*onnx.AttributeProto
	order  []int
}

// window is the two-dimensional geometry that convolutions and pooling share: rows first, then columns.
type window struct {
	kernel, stride, dilation [2]int64
	padding                  string
	explicit                 []int64 // top, bottom, left, right
}

// layout tells the memory order that convolutions want (batch, channels, rows, columns) for an axis order of the file,
// and where the file keeps rows, columns and channels.
func layout(n *node) (order []int, row, column, channel int, err error) {
	switch f := n.text("data_format", "NHWC"); f {
	case "NHWC", "":
		return []int{0, 3, 1, 2}, 1, 2, 3, nil
	case "NCHW":
		return []int{0, 1, 2, 3}, 2, 3, 1, nil
	default:
		return nil, 0, 0, 0, fmt.Errorf("its data_format %.20q is not supported", f)
	}
}

// window reads stride, dilation and padding from a node's attributes; the kernel is the caller's.
func (n *node) window(row, column int) (window, error) {
	w := window{padding: n.text("padding", "VALID")}
	for key, to := range map[string]*[2]int64{"strides": &w.stride, "dilations": &w.dilation} {
		list, err := n.ints(key)
		if err != nil {
			return w, err
		}
		*to = [2]int64{1, 1}
		if list == nil {
			continue
		}
		if len(list) != 4 {
			return w, fmt.Errorf("attribute %s has %d elements, want 4", key, len(list))
		}
		for i, v := range list {
			if v < 1 || v > maxWindow || (i != row && i != column && v != 1) {
				return w, fmt.Errorf("attribute %s is %v", key, list)
			}
		}
		*to = [2]int64{list[row], list[column]}
	}
	if w.padding == "EXPLICIT" {
		list, err := n.ints("explicit_paddings")
		if err != nil {
			return w, err
		}
		if len(list) != 8 {
			return w, fmt.Errorf("attribute explicit_paddings has %d elements, want 8", len(list))
		}
		for i, v := range list {
			if v < 0 || v > maxWindow || (v != 0 && i/2 != row && i/2 != column) {
				return w, fmt.Errorf("attribute explicit_paddings is %v", list)
			}
		}
		w.explicit = []int64{list[2*row], list[2*row+1], list[2*column], list[2*column+1]}
	}
	return w, nil
}

// place works out the padding and the size of the result along one axis (0 rows, 1 columns) of length in.
// SAME pads so that the result has ceil(in/stride) cells, the odd cell behind (TensorFlow's rule).
func (w window) place(axis int, in int64) (begin, end, out int64, err error) {
	reach := (w.kernel[axis]-1)*w.dilation[axis] + 1
	switch w.padding {
	case "SAME":
		out = (in + w.stride[axis] - 1) / w.stride[axis]
		total := max((out-1)*w.stride[axis]+reach-in, 0)
		begin = total / 2
		return begin, total - begin, out, nil
	case "EXPLICIT":
		begin, end = w.explicit[2*axis], w.explicit[2*axis+1]
	case "VALID":
	default:
		return 0, 0, 0, fmt.Errorf("its padding %.20q is not supported", w.padding)
	}
	room := in + begin + end - reach
	if room < 0 {
		return 0, 0, 0, fmt.Errorf("a window of %d does not fit into %d", reach, in+begin+end)
	}
	return begin, end, room/w.stride[axis] + 1, nil
}

// attributes writes the geometry for the converted network. begin and end hold rows and columns.
func (w window) attributes(begin, end [2]int64, dilation bool) []*onnx.AttributeProto {
	list := []*onnx.AttributeProto{
		onnx.Ints("kernel_shape", w.kernel[:]...), onnx.Ints("strides", w.stride[:]...),
		onnx.Ints("pads", begin[0], begin[1], end[0], end[1]),
	}
	if dilation {
		list = append(list, onnx.Ints("dilations", w.dilation[:]...))
	}
	return list
}

// conv converts the four kinds of two-dimensional convolution, with fused bias and activation.
func (c *converter) conv(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	if in[0].rank() != 4 || in[1].rank() != 4 {
		return nil, fmt.Errorf("shapes %v and %v: want 4 axes each", in[0].shape, in[1].shape)
	}
	if !in[1].isConstant() {
		return nil, errors.New("its weights are not constant")
	}
	order, row, column, channel, err := layout(n)
	if err != nil {
		return nil, err
	}
	w, err := n.window(row, column)
	if err != nil {
		return nil, err
	}
	w.kernel = [2]int64{in[1].shape[0], in[1].shape[1]}
	if slices.Min(in[0].shape) < 1 || slices.Min(in[1].shape) < 1 || max(w.kernel[0], w.kernel[1]) > maxWindow {
		return nil, fmt.Errorf("shapes %v and %v cannot be used", in[0].shape, in[1].shape)
	}
	filter, group, err := c.filter(n, in[1], in[0].shape[channel])
	if err != nil {
		return nil, err
	}
	x := c.ordered(n, in[0], order)
	shape := slices.Clone(in[0].shape)
	shape[channel] = filter.channels
	var begin, end [2]int64
	for i, a := range []int{row, column} {
		if begin[i], end[i], shape[a], err = w.place(i, in[0].shape[a]); err != nil {
			return nil, err
		}
	}
	// A border of zeros in front is padding of the convolution itself.
	if p, ok := c.pads[x.name]; ok && p.zero && p.onlyRowsAndColumns() {
		x.name = p.from
		begin[0], begin[1] = begin[0]+p.begin[2], begin[1]+p.begin[3]
		end[0], end[1] = end[0]+p.end[2], end[1]+p.end[3]
	}
	attrs := append(w.attributes(begin, end, true), onnx.Int("group", group))
	inputs := []string{x.name, filter.tensor}
	return c.fused(n, in[2:], filter.channels, convInfo{inputs: inputs, attrs: attrs, order: order}, shape)
}

// filter is a convolution's weights in the converted network.
type filter struct {
	tensor   string
	channels int64 // of the result
}

// filter brings weights from rows, columns, in, out (depthwise: rows, columns, channels, multiplier) into the order
// out, in, rows, columns. It returns the number of groups too.
func (c *converter) filter(n *node, w value, channels int64) (filter, int64, error) {
	if w.constant.kind == int32Kind {
		return filter{}, 0, errors.New("its weights are integers")
	}
	s := w.shape
	if n.Op == "DepthwiseConv2dNative" || n.Op == "FusedDepthwiseConv2dNative" {
		if s[2] != channels {
			return filter{}, 0, fmt.Errorf("weights for %d channels, data of %d", s[2], channels)
		}
		out := s[2] * s[3]
		name, err := c.emit(n, w.constant, []int{2, 3, 0, 1}, []int64{out, 1, s[0], s[1]})
		return filter{name, out}, channels, err
	}
	if channels%s[2] != 0 || s[3]%(channels/s[2]) != 0 {
		return filter{}, 0, fmt.Errorf("weights of shape %v for data of %d channels", s, channels)
	}
	name, err := c.emit(n, w.constant, []int{3, 2, 0, 1}, []int64{s[3], s[2], s[0], s[1]})
	return filter{name, s[3]}, channels / s[2], err
}

// fused writes the convolution with the operations that the file fused into it: first a bias, then an activation.
func (c *converter) fused(n *node, extra []value, channels int64, info convInfo, shape []int64) ([]value, error) {
	fusedOps := n.texts("fused_ops")
	rest := extra
	bias := false
	if len(fusedOps) > 0 && fusedOps[0] == "BiasAdd" {
		if len(rest) < 1 {
			return nil, errors.New("its bias is missing")
		}
		name, err := c.bias(n, rest[0], channels)
		if err != nil {
			return nil, err
		}
		info.inputs = append(info.inputs, name)
		fusedOps, rest, bias = fusedOps[1:], rest[1:], true
	}
	out := c.add("Conv", n, shape, info.order, info.inputs, info.attrs...)
	if !bias {
		c.convs[out.name] = info
	}
	for _, op := range fusedOps {
		var err error
		switch op {
		case "Relu", "Relu6", "Elu", "Sigmoid", "Tanh":
			out, err = c.activate(n, op, out, 0)
		case "LeakyRelu":
			var alpha float32
			if alpha, err = finite(n.float("leakyrelu_alpha", 0.2), "leakyrelu_alpha"); err == nil {
				out, err = c.activate(n, op, out, alpha)
			}
		case "Prelu":
			if len(rest) < 1 {
				return nil, errors.New("its Prelu slopes are missing")
			}
			var list []value
			if list, err = c.prelu(n, []value{out, rest[0]}); err == nil {
				out, rest = list[0], rest[1:]
			}
		default:
			return nil, fmt.Errorf("the fused operation %q is not supported", op)
		}
		if err != nil {
			return nil, err
		}
	}
	if len(rest) > 0 {
		return nil, fmt.Errorf("%d inputs more than its fused operations use", len(rest))
	}
	return []value{out}, nil
}

// bias writes a bias of one element per channel.
func (c *converter) bias(n *node, v value, channels int64) (string, error) {
	if !v.isConstant() || v.constant.kind == int32Kind {
		return "", errors.New("its bias is not a float constant")
	}
	if int64(v.constant.len()) != channels {
		return "", fmt.Errorf("a bias of %d elements for %d channels", v.constant.len(), channels)
	}
	return c.emit(n, v.constant.reshaped([]int64{channels}), []int{0}, []int64{channels})
}

// pool converts maximum and average pooling. Padded cells do not count in either.
func (c *converter) pool(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	if in[0].rank() != 4 {
		return nil, fmt.Errorf("shape %v: want 4 axes", in[0].shape)
	}
	order, row, column, _, err := layout(n)
	if err != nil {
		return nil, err
	}
	w, err := n.window(row, column)
	if err != nil {
		return nil, err
	}
	size, err := n.ints("ksize")
	if err != nil {
		return nil, err
	}
	if len(size) != 4 {
		return nil, fmt.Errorf("attribute ksize has %d elements, want 4", len(size))
	}
	for i, v := range size {
		if v < 1 || v > maxWindow || (i != row && i != column && v != 1) {
			return nil, fmt.Errorf("attribute ksize is %v", size)
		}
	}
	w.kernel = [2]int64{size[row], size[column]}
	x := c.ordered(n, in[0], order)
	shape := slices.Clone(in[0].shape)
	var begin, end [2]int64
	for i, a := range []int{row, column} {
		if begin[i], end[i], shape[a], err = w.place(i, in[0].shape[a]); err != nil {
			return nil, err
		}
		if begin[i] >= w.kernel[i] || end[i] >= w.kernel[i] {
			return nil, fmt.Errorf("padding %d and %d is not below the window %d", begin[i], end[i], w.kernel[i])
		}
	}
	op := "MaxPool"
	if n.Op == "AvgPool" {
		op = "AveragePool"
	}
	return []value{c.add(op, n, shape, order, []string{x.name}, w.attributes(begin, end, false)...)}, nil
}

// batchNorm converts an inference-time batch normalisation: scale, offset, mean and variance per channel.
func (c *converter) batchNorm(n *node, in []value) ([]value, error) {
	if err := computed(in[0]); err != nil {
		return nil, err
	}
	if in[0].rank() != 4 {
		return nil, fmt.Errorf("shape %v: want 4 axes", in[0].shape)
	}
	if n.bool("is_training") {
		return nil, errors.New("it is in training mode")
	}
	order, _, _, channel, err := layout(n)
	if err != nil {
		return nil, err
	}
	epsilon, err := finite(n.float("epsilon", 1e-4), "epsilon") // 1e-4: the operator's published default
	if err != nil {
		return nil, err
	}
	x := c.ordered(n, in[0], order)
	inputs := []string{x.name}
	for _, v := range in[1:] {
		name, err := c.bias(n, v, in[0].shape[channel])
		if err != nil {
			return nil, err
		}
		inputs = append(inputs, name)
	}
	return []value{c.add("BatchNormalization", n, in[0].shape, order, inputs, onnx.Float("epsilon", epsilon))}, nil
}

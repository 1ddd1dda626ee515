package tflite

import (
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// Padding of the schema (enum Padding).
const (
	paddingSame  = 0
	paddingValid = 1
)

// window is what convolutions and pools share: size, stride and dilation along height and width.
type window struct {
	size, stride, dilation [2]int
	padding                int
}

// fit returns the output size and the padding in ONNX order (top, left, bottom, right) for a picture of in pixels.
// SAME: out = ceil(in/stride); the padding that this needs goes half to the begin and, when odd, one more to the end.
func (w window) fit(in [2]int) (out [2]int, pads []int64, err error) {
	pads = make([]int64, 4)
	for i := range 2 {
		if w.stride[i] < 1 || w.dilation[i] < 1 || w.size[i] < 1 || max(w.stride[i], w.dilation[i], w.size[i]) > 1<<12 {
			return out, nil, fmt.Errorf("%w: window %v, stride %v, dilation %v", ErrFormat, w.size, w.stride, w.dilation)
		}
		reach := (w.size[i]-1)*w.dilation[i] + 1
		switch w.padding {
		case paddingSame:
			out[i] = (in[i] + w.stride[i] - 1) / w.stride[i]
			total := max((out[i]-1)*w.stride[i]+reach-in[i], 0)
			pads[i] = int64(total / 2)
			pads[i+2] = int64(total - total/2)
		case paddingValid:
			if in[i] < reach {
				return out, nil, fmt.Errorf("%w: a window of %d on %d pixels", ErrFormat, reach, in[i])
			}
			out[i] = (in[i]-reach)/w.stride[i] + 1
		default:
			return out, nil, fmt.Errorf("%w: padding number %d", ErrUnsupported, w.padding)
		}
	}
	return out, pads, nil
}

func pair(v [2]int) []int64 { return []int64{int64(v[0]), int64(v[1])} }

// convolution converts CONV_2D and DEPTHWISE_CONV_2D.
// Weights: [out, h, w, in] -> [out, in, h, w]; depthwise [1, h, w, out] -> [out, 1, h, w] with one group a channel.
func (c *converter) convolution(op operator) error {
	in, shape, err := c.picture(op, 0)
	if err != nil {
		return err
	}
	w, ok := c.constant(op, 1)
	if !ok || w.kind == typeInt32 || len(w.shape) != 4 {
		return fmt.Errorf("%w: weights are no constant of four dimensions", ErrUnsupported)
	}
	// The strides and dilations stand width first in the file. Dilations that are left out are 1.
	win := window{size: [2]int{w.shape[1], w.shape[2]}, padding: op.options.byteAt(0, 0)}
	win.stride = [2]int{op.options.int32At(2, 0), op.options.int32At(1, 0)}
	channels, group := w.shape[0], 1
	var activation int
	if op.code.builtin == opDepthwiseConv2D {
		activation = op.options.byteAt(4, 0)
		win.dilation = [2]int{op.options.int32At(6, 1), op.options.int32At(5, 1)}
		channels, group = w.shape[3], shape[3]
		if w.shape[0] != 1 || channels%group != 0 {
			return fmt.Errorf("%w: depthwise weights of shape %v on %d channels", ErrFormat, w.shape, group)
		}
		w = w.permute(3, 0, 1, 2)
	} else {
		activation = op.options.byteAt(3, 0)
		win.dilation = [2]int{op.options.int32At(5, 1), op.options.int32At(4, 1)}
		if w.shape[3] != shape[3] {
			return fmt.Errorf("%w: weights for %d channels on %d (grouped convolution)", ErrUnsupported, w.shape[3], shape[3])
		}
		w = w.permute(0, 3, 1, 2)
	}
	size, pads, err := win.fit([2]int{shape[1], shape[2]})
	if err != nil {
		return err
	}
	inputs := []string{in, w.add(c.g, "weights")}
	if len(op.inputs) > 2 && op.inputs[2] >= 0 {
		b, ok := c.constant(op, 2)
		if !ok || b.kind == typeInt32 || !slices.Equal(b.shape, []int{channels}) {
			return fmt.Errorf("%w: the bias is no constant of %d numbers", ErrUnsupported, channels)
		}
		inputs = append(inputs, b.add(c.g, "bias"))
	}
	return c.write(op, []int{1, size[0], size[1], channels}, activation, "Conv", inputs,
		onnx.Ints("kernel_shape", pair(win.size)...), onnx.Ints("strides", pair(win.stride)...),
		onnx.Ints("dilations", pair(win.dilation)...), onnx.Ints("pads", pads...), onnx.Int("group", int64(group)))
}

// maxPool: padded places never win in either format.
func (c *converter) maxPool(op operator) error {
	in, shape, err := c.picture(op, 0)
	if err != nil {
		return err
	}
	o := op.options
	win := window{
		size: [2]int{o.int32At(4, 0), o.int32At(3, 0)}, stride: [2]int{o.int32At(2, 0), o.int32At(1, 0)},
		dilation: [2]int{1, 1}, padding: o.byteAt(0, 0),
	}
	size, pads, err := win.fit([2]int{shape[1], shape[2]})
	if err != nil {
		return err
	}
	return c.write(op, []int{1, size[0], size[1], shape[3]}, o.byteAt(5, 0), "MaxPool", []string{in},
		onnx.Ints("kernel_shape", pair(win.size)...), onnx.Ints("strides", pair(win.stride)...), onnx.Ints("pads", pads...))
}

// add: two activations of one shape. Broadcasting is not used by these networks.
func (c *converter) add(op operator) error {
	a, shapeA, err := c.activation(op, 0)
	if err != nil {
		return err
	}
	b, shapeB, err := c.activation(op, 1)
	if err != nil {
		return err
	}
	if !slices.Equal(shapeA, shapeB) {
		return fmt.Errorf("%w: shapes %v and %v", ErrUnsupported, shapeA, shapeB)
	}
	return c.write(op, shapeA, op.options.byteAt(0, 0), "Add", []string{a, b})
}

// pad adds zeros around; the paddings are [begin, end] per axis in NHWC order, the channel axis among them.
func (c *converter) pad(op operator) error {
	in, shape, err := c.picture(op, 0)
	if err != nil {
		return err
	}
	p, ok := c.constant(op, 1)
	if !ok || p.kind != typeInt32 || !slices.Equal(p.shape, []int{4, 2}) {
		return fmt.Errorf("%w: paddings are no constant of 4 x 2 int32", ErrUnsupported)
	}
	v := p.ints()
	out, pads := make([]int, 4), make([]int64, 8)
	for axis, to := range []int{0, 2, 3, 1} { // NHWC -> NCHW
		begin, end := v[2*axis], v[2*axis+1]
		if begin < 0 || end < 0 || max(begin, end) > 1<<16 {
			return fmt.Errorf("%w: paddings %v", ErrFormat, v)
		}
		out[axis] = shape[axis] + begin + end
		pads[to], pads[to+4] = int64(begin), int64(end)
	}
	return c.write(op, out, activationNone, "Pad", []string{in, c.g.Int64s("pads", pads...)}, onnx.String("mode", "constant"))
}

// resize: TFLite names its three ways to place pixels by two flags.
func (c *converter) resize(op operator) error {
	in, shape, err := c.picture(op, 0)
	if err != nil {
		return err
	}
	s, ok := c.constant(op, 1)
	if !ok || s.kind != typeInt32 || !slices.Equal(s.shape, []int{2}) {
		return fmt.Errorf("%w: the size is no constant of 2 int32", ErrUnsupported)
	}
	h, w := s.ints()[0], s.ints()[1]
	out := []int{1, h, w, shape[3]}
	if elements(out) < 0 {
		return fmt.Errorf("%w: size %d x %d", ErrFormat, h, w)
	}
	mode := "asymmetric"
	align, half := op.options.byteAt(2, 0) != 0, op.options.byteAt(3, 0) != 0
	switch {
	case align && half:
		return fmt.Errorf("%w: corners aligned and half pixel centres at once", ErrFormat)
	case align:
		mode = "align_corners"
	case half:
		mode = "half_pixel"
	}
	size := c.g.Int64s("size", 1, int64(shape[3]), int64(h), int64(w))
	return c.write(op, out, activationNone, "Resize", []string{in, "", "", size},
		onnx.String("mode", "linear"), onnx.String("coordinate_transformation_mode", mode))
}

// depthToSpace: both formats store the block's row and column above the channel (ONNX: mode DCR).
func (c *converter) depthToSpace(op operator) error {
	in, shape, err := c.picture(op, 0)
	if err != nil {
		return err
	}
	n := op.options.int32At(0, 0)
	if n < 1 || n > 64 || shape[3]%(n*n) != 0 {
		return fmt.Errorf("%w: block size %d on %d channels", ErrFormat, n, shape[3])
	}
	return c.write(op, []int{1, shape[1] * n, shape[2] * n, shape[3] / (n * n)}, activationNone, "DepthToSpace",
		[]string{in}, onnx.Int("blocksize", int64(n)), onnx.String("mode", "DCR"))
}

func (c *converter) concat(op operator) error {
	var names []string
	var out []int
	axis := op.options.int32At(0, 0)
	for k := range op.inputs {
		name, shape, err := c.activation(op, k)
		if err != nil {
			return err
		}
		if k == 0 {
			out = slices.Clone(shape)
			if axis < 0 {
				axis += len(out)
			}
			if axis < 0 || axis >= len(out) {
				return fmt.Errorf("%w: axis %d of %d", ErrFormat, axis, len(out))
			}
		} else {
			if len(shape) != len(out) {
				return fmt.Errorf("%w: shapes %v and %v", ErrFormat, out, shape)
			}
			out[axis] += shape[axis]
			rest := slices.Clone(shape)
			rest[axis] = out[axis]
			if !slices.Equal(rest, out) {
				return fmt.Errorf("%w: shapes differ beside axis %d", ErrFormat, axis)
			}
		}
		names = append(names, name)
	}
	if len(names) == 0 {
		return fmt.Errorf("%w: nothing to join", ErrFormat)
	}
	if len(out) == 4 {
		axis = []int{0, 2, 3, 1}[axis] // NHWC -> NCHW
	}
	return c.write(op, out, op.options.byteAt(1, 0), "Concat", names, onnx.Int("axis", int64(axis)))
}

// reshape keeps the order of the elements in NHWC, so pictures are turned back first and, if the result is a picture,
// turned again. The new shape is the one of the output tensor.
func (c *converter) reshape(op operator) error {
	in, shape, err := c.activation(op, 0)
	if err != nil {
		return err
	}
	t := c.m.tensors[op.outputs[0]]
	if elements(shape) != elements(t.shape) {
		return fmt.Errorf("%w: %v becomes %v", ErrFormat, shape, t.shape)
	}
	if len(shape) == 4 {
		in = c.g.Add("Transpose", c.g.New(t.name+"_nhwc"), []string{in}, onnx.Ints("perm", 0, 2, 3, 1))
	}
	if len(t.shape) != 4 {
		return c.write(op, t.shape, activationNone, "Reshape", []string{in, c.g.Int64s("shape", int64s(t.shape)...)})
	}
	in = c.g.Add("Reshape", c.g.New(t.name+"_flat"), []string{in, c.g.Int64s("shape", int64s(t.shape)...)})
	return c.write(op, t.shape, activationNone, "Transpose", []string{in}, onnx.Ints("perm", 0, 3, 1, 2))
}

func (c *converter) logistic(op operator) error {
	in, shape, err := c.activation(op, 0)
	if err != nil {
		return err
	}
	return c.write(op, shape, activationNone, "Sigmoid", []string{in})
}

// dequantize: only float16 constants, which stay as they are and get a Cast where they are used.
func (c *converter) dequantize(op operator) error {
	v, ok := c.constant(op, 0)
	if !ok || v.kind != typeFloat16 {
		return fmt.Errorf("%w: only float16 constants can be dequantized", ErrUnsupported)
	}
	return c.keep(op, v)
}

func (c *converter) densify(op operator) error {
	if len(op.inputs) != 1 || op.inputs[0] < 0 {
		return fmt.Errorf("%w: %d inputs, want 1", ErrFormat, len(op.inputs))
	}
	v, err := densify(c.m.tensors[op.inputs[0]])
	if err != nil {
		return err
	}
	return c.keep(op, v)
}

// keep stores the output of an operator that ran at conversion.
func (c *converter) keep(op operator, v constant) error {
	t := c.m.tensors[op.outputs[0]]
	if !slices.Equal(v.shape, t.shape) {
		return fmt.Errorf("%w: output %q has shape %v, computed %v", ErrFormat, t.name, t.shape, v.shape)
	}
	c.constants[op.outputs[0]] = v
	return nil
}

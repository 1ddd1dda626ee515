package tflite

import (
	"encoding/binary"
	"fmt"
	"slices"

	"plantframe/models/onnx"
)

// constant is a tensor whose values are known before the network runs.
type constant struct {
	shape []int
	kind  int // typeFloat32, typeFloat16 or typeInt32
	data  []byte
}

// permute returns the constant with its axes in another order: axis i of the result is axis order[i] of c.
func (c constant) permute(order ...int) constant {
	size := elementSize(c.kind)
	shape := make([]int, len(order))
	step := make([]int, len(order)) // elements in c between neighbours along axis i of the result
	for i, a := range order {
		shape[i] = c.shape[a]
		step[i] = elements(c.shape[a+1:])
	}
	out := make([]byte, 0, len(c.data))
	at := make([]int, len(order))
	for range elements(shape) {
		from := 0
		for i := range at {
			from += at[i] * step[i]
		}
		out = append(out, c.data[size*from:size*from+size]...)
		for i := len(at) - 1; i >= 0; i-- {
			if at[i]++; at[i] < shape[i] {
				break
			}
			at[i] = 0
		}
	}
	return constant{shape: shape, kind: c.kind, data: out}
}

// ints returns the values of an int32 constant.
func (c constant) ints() []int {
	v := make([]int, len(c.data)/4)
	for i := range v {
		v[i] = int(int32(binary.LittleEndian.Uint32(c.data[4*i:])))
	}
	return v
}

// add writes a float constant into the graph and returns the name of its float32 value.
func (c constant) add(g *onnx.Graph, hint string) string {
	dims := make([]int64, len(c.shape))
	for i, d := range c.shape {
		dims[i] = int64(d)
	}
	if c.kind == typeFloat32 {
		return g.Constant(onnx.Raw(g.New(hint), onnx.TensorProto_FLOAT, dims, c.data))
	}
	half := g.Constant(onnx.Raw(g.New(hint+"_half"), onnx.TensorProto_FLOAT16, dims, c.data))
	return g.Add("Cast", g.New(hint), []string{half}, onnx.Int("to", int64(onnx.TensorProto_FLOAT)))
}

// densify writes out the zeros of a sparse constant. Stored are, level by level in axis order, either all entries of
// an axis (dense) or the listed ones (compressed sparse row: entry p of the level above owns indices
// segments[p] .. segments[p+1]-1). Block maps and other axis orders are not supported.
func densify(t tensor) (constant, error) {
	s := t.sparsity
	size := elementSize(t.kind)
	if t.data == nil || size == 0 {
		return constant{}, fmt.Errorf("%w: tensor %q is not a constant of a known type", ErrUnsupported, t.name)
	}
	if s == nil {
		return constant{shape: t.shape, kind: t.kind, data: t.data}, nil
	}
	for i, a := range s.order {
		if a != i {
			return constant{}, fmt.Errorf("%w: tensor %q is stored in axis order %v", ErrUnsupported, t.name, s.order)
		}
	}
	if len(s.blockMap) > 0 {
		return constant{}, fmt.Errorf("%w: tensor %q is stored in blocks", ErrUnsupported, t.name)
	}
	if len(s.dims) != len(t.shape) || len(s.order) != len(t.shape) {
		return constant{}, fmt.Errorf("%w: tensor %q of %d axes is described by %d", ErrFormat, t.name, len(t.shape), len(s.dims))
	}
	out := make([]byte, size*elements(t.shape))
	left := t.data
	bad := fmt.Errorf("%w: the sparse tensor %q does not add up", ErrFormat, t.name)
	// fill writes everything below entry parent of the level above; base is the first element of that entry in out.
	var fill func(level, parent, base int) error
	fill = func(level, parent, base int) error {
		if level == len(t.shape) {
			if len(left) < size {
				return bad
			}
			copy(out[size*base:size*base+size], left)
			left = left[size:]
			return nil
		}
		d, stride := s.dims[level], elements(t.shape[level+1:])
		if !d.csr {
			if d.size != t.shape[level] {
				return bad
			}
			for i := range d.size {
				if err := fill(level+1, parent*d.size+i, base+i*stride); err != nil {
					return err
				}
			}
			return nil
		}
		if parent+1 >= len(d.segments) {
			return bad
		}
		from, to := d.segments[parent], d.segments[parent+1]
		if from < 0 || to < from || to > len(d.indices) {
			return bad
		}
		for p := from; p < to; p++ {
			i := d.indices[p]
			if i < 0 || i >= t.shape[level] {
				return bad
			}
			if err := fill(level+1, p, base+i*stride); err != nil {
				return err
			}
		}
		return nil
	}
	if err := fill(0, 0, 0); err != nil {
		return constant{}, err
	}
	if len(left) > 0 {
		return constant{}, bad
	}
	return constant{shape: slices.Clone(t.shape), kind: t.kind, data: out}, nil
}

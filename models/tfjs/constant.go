package tfjs

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// kind is the element type of a constant.
type kind int

const (
	float32Kind kind = iota
	float16Kind
	int32Kind
)

// size of one element in bytes.
func (k kind) size() int64 {
	if k == float16Kind {
		return 2
	}
	return 4
}

// constant is a tensor known while converting. data is little-endian and row-major, and never written to.
type constant struct {
	kind  kind
	shape []int64
	data  []byte
}

// len is the number of elements.
func (c *constant) len() int { return len(c.data) / int(c.kind.size()) }

// floats returns the elements as float32; integers are converted.
func (c *constant) floats() []float32 {
	v := make([]float32, c.len())
	for i := range v {
		switch c.kind {
		case float16Kind:
			v[i] = halfToFloat(binary.LittleEndian.Uint16(c.data[2*i:]))
		case float32Kind:
			v[i] = math.Float32frombits(binary.LittleEndian.Uint32(c.data[4*i:]))
		default:
			v[i] = float32(int32(binary.LittleEndian.Uint32(c.data[4*i:])))
		}
	}
	return v
}

// ints returns the elements of an integer constant, as shapes, axes and paddings are.
func (c *constant) ints() ([]int64, error) {
	if c.kind != int32Kind {
		return nil, errors.New("is not of integer type")
	}
	if c.len() > maxFolded {
		return nil, fmt.Errorf("has %d elements, more than %d", c.len(), maxFolded)
	}
	v := make([]int64, c.len())
	for i := range v {
		v[i] = int64(int32(binary.LittleEndian.Uint32(c.data[4*i:])))
	}
	return v, nil
}

// intConstant makes an integer constant; it fails on values that int32 does not hold.
func intConstant(shape, v []int64) (*constant, error) {
	c := &constant{kind: int32Kind, shape: shape}
	for _, x := range v {
		if x != int64(int32(x)) {
			return nil, fmt.Errorf("the value %d does not fit into 32 bits", x)
		}
		c.data = binary.LittleEndian.AppendUint32(c.data, uint32(int32(x)))
	}
	return c, nil
}

// permuted reorders the axes: axis i of the result is axis perm[i] of c.
func (c *constant) permuted(perm []int) *constant {
	if isIdentity(perm) {
		return c
	}
	rank := len(c.shape)
	stride := make([]int64, rank) // of c, in bytes
	step := c.kind.size()
	for i := rank - 1; i >= 0; i-- {
		stride[i] = step
		step *= c.shape[i]
	}
	out := &constant{kind: c.kind, shape: permute(c.shape, perm), data: make([]byte, 0, len(c.data))}
	at := make([]int64, rank)
	size := c.kind.size()
	for range c.len() {
		from := int64(0)
		for i, p := range perm {
			from += at[i] * stride[p]
		}
		out.data = append(out.data, c.data[from:from+size]...)
		for i := rank - 1; i >= 0; i-- {
			if at[i]++; at[i] < out.shape[i] {
				break
			}
			at[i] = 0
		}
	}
	return out
}

// reshaped gives c another shape of as many elements.
func (c *constant) reshaped(shape []int64) *constant {
	return &constant{kind: c.kind, shape: shape, data: c.data}
}

// widen turns 1- or 2-byte unsigned elements into 4-byte ones.
func widen(data []byte, size int, f func(uint32) uint32) []byte {
	out := make([]byte, 0, len(data)/size*4)
	for i := 0; i+size <= len(data); i += size {
		v := uint32(data[i])
		if size == 2 {
			v = uint32(binary.LittleEndian.Uint16(data[i:]))
		}
		out = binary.LittleEndian.AppendUint32(out, f(v))
	}
	return out
}

// halfToFloat widens an IEEE 754 half-precision number; every one has an exact float32.
func halfToFloat(h uint16) float32 {
	sign := uint32(h&0x8000) << 16
	exponent := uint32(h>>10) & 0x1f
	fraction := uint32(h) & 0x3ff
	switch exponent {
	case 0: // zero and subnormal numbers: fraction * 2^-24
		v := float32(fraction) / (1 << 24)
		return math.Float32frombits(math.Float32bits(v) | sign)
	case 0x1f: // infinity and NaN
		return math.Float32frombits(sign | 0x7f800000 | fraction<<13)
	}
	return math.Float32frombits(sign | (exponent+127-15)<<23 | fraction<<13)
}

package tfjs

import (
	"fmt"
	"slices"
)

// value is a tensor during conversion: either computed by the converted network or a constant.
//
// shape counts axes as the file does. A computed tensor may lie in memory in another order: axis i of the tensor in
// the converted network is axis order[i] of shape. So in memory-order NCHW a file's NHWC tensor has order 0,3,1,2.
type value struct {
	name     string // tensor in the converted network; empty for a constant
	shape    []int64
	order    []int
	constant *constant
}

// rank is the number of axes.
func (v value) rank() int { return len(v.shape) }

// isConstant tells whether the value is known while converting.
func (v value) isConstant() bool { return v.constant != nil }

// axis maps an axis of the file, which may count from the end (-1), to (axis of shape, axis in memory).
func (v value) axis(a int64) (logical, physical int, err error) {
	n := int64(v.rank())
	if a < -n || a >= n {
		return 0, 0, fmt.Errorf("axis %d of a tensor of %d axes", a, n)
	}
	if a < 0 {
		a += n
	}
	return int(a), slices.Index(v.order, int(a)), nil
}

// constantValue wraps a constant.
func constantValue(c *constant) value {
	return value{shape: c.shape, order: identity(len(c.shape)), constant: c}
}

// identity is the order 0, 1, 2 ...
func identity(rank int) []int {
	p := make([]int, rank)
	for i := range p {
		p[i] = i
	}
	return p
}

// isIdentity tells whether an order changes nothing.
func isIdentity(perm []int) bool {
	for i, p := range perm {
		if p != i {
			return false
		}
	}
	return true
}

// permute reorders: element i of the result is v[perm[i]].
func permute(v []int64, perm []int) []int64 {
	out := make([]int64, len(perm))
	for i, p := range perm {
		out[i] = v[p]
	}
	return out
}

// broadcast is the shape of an element-wise operation on two shapes: aligned at the last axis, 1 stretches.
func broadcast(a, b []int64) ([]int64, error) {
	out := make([]int64, max(len(a), len(b)))
	for i := range out {
		x, y := int64(1), int64(1)
		if j := i - (len(out) - len(a)); j >= 0 {
			x = a[j]
		}
		if j := i - (len(out) - len(b)); j >= 0 {
			y = b[j]
		}
		switch {
		case x == y || y == 1:
			out[i] = x
		case x == 1:
			out[i] = y
		default:
			return nil, fmt.Errorf("shapes %v and %v do not go together", a, b)
		}
	}
	if _, err := count(out); err != nil {
		return nil, err
	}
	return out, nil
}

// leading prepends axes of length 1 up to the given rank.
func leading(shape []int64, rank int) []int64 {
	out := make([]int64, rank)
	for i := range out {
		out[i] = 1
	}
	copy(out[rank-len(shape):], shape)
	return out
}

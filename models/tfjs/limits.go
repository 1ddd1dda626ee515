package tfjs

import "fmt"

// Limits on what a file may claim. They are far above any pose network and keep a damaged or hostile file from
// claiming all memory before it is refused.
const (
	maxJSON     = 64 << 20 // bytes of model.json; the networks used here have 0.1-0.2 MB
	maxNodes    = 50_000   // nodes of a graph; the networks used here have 300-500
	maxRank     = 8        // axes of a tensor
	maxElements = 1 << 28  // elements of one tensor: 1 GiB of float32
	maxWindow   = 1 << 12  // cells of a kernel, stride, dilation or explicit padding along one axis
	maxParts    = 1 << 10  // parts that one node cuts a tensor into; 2 in practice
	maxWritten  = 1 << 29  // bytes of the constants of a converted network; the networks used here have 8-28 MB
	maxFolded   = 1 << 16  // elements of a tensor computed while converting: shapes and axes, a handful in practice
)

// count multiplies the dimensions of a shape. It fails on a negative or unknown dimension, on too many axes and on
// more than maxElements elements; the product cannot overflow.
func count(shape []int64) (int64, error) {
	if len(shape) > maxRank {
		return 0, fmt.Errorf("a shape of %d axes, more than %d", len(shape), maxRank)
	}
	n, empty := int64(1), false
	for _, d := range shape {
		switch {
		case d < 0:
			return 0, fmt.Errorf("shape %v has an unknown or negative dimension", shape)
		case d == 0:
			empty = true
		case n > maxElements/d:
			return 0, fmt.Errorf("shape %v has more than %d elements", shape, int64(maxElements))
		default:
			n *= d
		}
	}
	if empty {
		return 0, nil
	}
	return n, nil
}

package spot

import (
	"errors"
	"fmt"

	"plantframe/pipeline/pixel"
)

// Session is a loaded network with one picture input and fixed buffers. Calls
// must not overlap; nothing is allocated.
type Session interface {
	// Input returns the input tensor, batch 1.
	Input() []float32
	// Run computes all outputs from the input.
	Run() error
	// Output returns the output tensor of a name, nil for an unknown name.
	// The slice is the same after every Run.
	Output(name string) []float32
}

// Network is a session with its description. Its outputs are
//
//	heat   [P, Rows, Columns]    probability of point P in each cell
//	place  [3 P, Rows, Columns]  per point: x and y from the cell's centre in cells, logarithm of the Laplace scale in cells
//	absent [P]                   probability that the point is not in the picture; sums to 1 with heat
type Network struct {
	Session
	Name          string       // id, for messages and run counts
	Format        pixel.Format // of the input
	Points        []string     // names in network order
	Rows, Columns int          // cells of the grid
}

var errNoNetwork = errors.New("no network given")

// Decoder is the name of this form of outputs in model manifests.
const Decoder = "cells"

// check compares the tensors with the description.
func (n *Network) check() error {
	if n == nil || n.Session == nil {
		return errNoNetwork
	}
	if len(n.Points) == 0 || n.Rows < 1 || n.Columns < 1 {
		return fmt.Errorf("network %s: %d points in %d x %d cells", n.Name, len(n.Points), n.Columns, n.Rows)
	}
	cells := n.Rows * n.Columns
	for _, o := range []struct {
		name string
		want int
	}{{"heat", len(n.Points) * cells}, {"place", 3 * len(n.Points) * cells}, {"absent", len(n.Points)}} {
		if got := len(n.Output(o.name)); got != o.want {
			return fmt.Errorf("network %s: output %s has %d values, %d points in %d x %d cells need %d",
				n.Name, o.name, got, len(n.Points), n.Columns, n.Rows, o.want)
		}
	}
	return nil
}

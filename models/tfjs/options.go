package tfjs

import (
	"errors"
	"fmt"
)

// Output asks for one tensor of the file as an output of the converted network.
type Output struct {
	Node string // name of a node in the file, "name" or "name:port"; everything behind it is cut off
	Name string // name in the converted network; empty = the node's name without the port
}

// Options steer a conversion.
type Options struct {
	// Name of the graph, for people who look into the file. Default "tfjs".
	Name string
	// InputName is the name of the input in the converted network. Default "input".
	InputName string
	// InputShape replaces the input shape of the file, in the file's axis order. Needed when the file leaves
	// dimensions open. Default: as the file says.
	InputShape []int64
	// Outputs to keep, in order. Default: all outputs of the file's signature, sorted by name.
	Outputs []Output
	// Meta are key, value, key, value ... for the metadata of the converted file (source, licence). Default none.
	Meta []string
}

// DefaultOptions returns the defaults named at the fields.
func DefaultOptions() Options {
	return Options{Name: "tfjs", InputName: "input"}
}

// Validate reports the first field that cannot be used.
func (o Options) Validate() error {
	if o.InputName == "" {
		return errors.New("options: InputName is empty")
	}
	if len(o.Meta)%2 != 0 {
		return errors.New("options: Meta lists keys and values in turn, and its last key has no value")
	}
	for _, d := range o.InputShape {
		if d < 1 {
			return fmt.Errorf("options: InputShape %v has a dimension below 1", o.InputShape)
		}
	}
	if _, err := count(o.InputShape); err != nil {
		return fmt.Errorf("options: InputShape: %w", err)
	}
	seen := map[string]bool{o.InputName: true}
	for _, out := range o.Outputs {
		if out.Node == "" {
			return errors.New("options: an output names no node")
		}
		name := out.name()
		if seen[name] {
			return fmt.Errorf("options: two tensors are called %q", name)
		}
		seen[name] = true
	}
	return nil
}

// name is the output's name in the converted network.
func (o Output) name() string {
	if o.Name != "" {
		return o.Name
	}
	node, _ := splitPort(o.Node)
	return node
}

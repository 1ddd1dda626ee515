package tfjs

import "fmt"

// Attribute readers. An absent attribute gives the fallback; one of the wrong kind reads as its zero value, as in the
// JSON form of protocol buffers, and is then refused where it does not fit.

func (n *node) text(key, fallback string) string {
	a, ok := n.Attr[key]
	if !ok {
		return fallback
	}
	return string(a.S)
}

func (n *node) float(key string, fallback float64) float64 {
	a, ok := n.Attr[key]
	if !ok {
		return fallback
	}
	return float64(a.F)
}

// isFloat tells whether a type attribute, written by name or by number, is 32-bit floating point.
func (n *node) isFloat(key string) bool {
	t := n.Attr[key].Type
	return t == "DT_FLOAT" || t == float64(1)
}

func (n *node) bool(key string) bool { return n.Attr[key].B }

func (n *node) int(key string, fallback int64) (int64, error) {
	a, ok := n.Attr[key]
	if !ok {
		return fallback, nil
	}
	v, err := a.I.int()
	if err != nil {
		return 0, fmt.Errorf("attribute %s: %w", key, err)
	}
	return v, nil
}

// ints reads a list of integers; absent or empty gives nil.
func (n *node) ints(key string) ([]int64, error) {
	a, ok := n.Attr[key]
	if !ok || a.List == nil {
		return nil, nil
	}
	list := make([]int64, len(a.List.I))
	for i, v := range a.List.I {
		var err error
		if list[i], err = v.int(); err != nil {
			return nil, fmt.Errorf("attribute %s: %w", key, err)
		}
	}
	return list, nil
}

// texts reads a list of texts; absent or empty gives nil.
func (n *node) texts(key string) []string {
	a, ok := n.Attr[key]
	if !ok || a.List == nil {
		return nil
	}
	list := make([]string, len(a.List.S))
	for i, s := range a.List.S {
		list[i] = string(s)
	}
	return list
}

// shape reads a shape; absent or of unknown rank gives nil. Unknown dimensions are -1.
func (n *node) shape(key string) ([]int64, error) {
	a, ok := n.Attr[key]
	if !ok || a.Shape == nil || a.Shape.UnknownRank {
		return nil, nil
	}
	if len(a.Shape.Dim) > maxRank {
		return nil, fmt.Errorf("attribute %s: a shape of %d axes, more than %d", key, len(a.Shape.Dim), maxRank)
	}
	dims := make([]int64, len(a.Shape.Dim))
	for i, d := range a.Shape.Dim {
		var err error
		if dims[i], err = d.Size.int(); err != nil {
			return nil, fmt.Errorf("attribute %s: %w", key, err)
		}
	}
	return dims, nil
}

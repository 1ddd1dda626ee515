package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"go.yaml.in/yaml/v3"

	"plantframe/pipeline/swing"
)

// readPairs reads a file that names which clips show one swing from two sides:
//
//	pairs:
//	  - [side.mov, behind.mov]
//	  - [side2.mov, behind2.mov]
//
// The list may also stand alone. A clip is named by its path, from the file's folder or
// the current one, or by its name alone where only one clip of the run has it. Errors
// are *swing.Error of kind usage, one sentence each.
func readPairs(path string, clips []*clipFile) ([][2]*clipFile, error) {
	bad := func(hint, format string, a ...any) error {
		return &swing.Error{Op: "pairs", Clip: path, Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...), Hint: hint}
	}
	const form = "write it like\npairs:\n  - [side.mov, behind.mov]"
	data, err := os.ReadFile(path)
	if err != nil {
		var p *os.PathError
		if errors.As(err, &p) {
			err = p.Err
		}
		return nil, bad("name a file of pairs, or auto or none", "the list of pairs cannot be read: %v", err)
	}
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil {
		return nil, bad(form, "the list of pairs is not YAML: %v", err)
	}
	list, err := pairList(&root)
	if err != nil {
		return nil, bad(form, "%v", err)
	}
	var out [][2]*clipFile
	taken := map[*clipFile]int{}
	for _, item := range list.Content {
		if item.Kind != yaml.SequenceNode || len(item.Content) != 2 {
			return nil, bad(form, "line %d: a pair is a list of two clips", item.Line)
		}
		var pair [2]*clipFile
		for k, n := range item.Content {
			if n.Kind != yaml.ScalarNode || n.Value == "" {
				return nil, bad(form, "line %d: a clip is named by its path", n.Line)
			}
			c, err := clipNamed(n.Value, filepath.Dir(path), clips)
			if err != nil {
				return nil, bad("name clips of this run", "line %d: %v", n.Line, err)
			}
			if before, ok := taken[c]; ok {
				return nil, bad("a clip belongs to one pair", "line %d: the clip %s stands in line %d already", n.Line, n.Value, before)
			}
			taken[c], pair[k] = n.Line, c
		}
		out = append(out, pair)
	}
	return out, nil
}

// pairList returns the list of pairs of a document.
func pairList(root *yaml.Node) (*yaml.Node, error) {
	if len(root.Content) == 0 {
		return nil, errors.New("the list of pairs is empty")
	}
	n := root.Content[0]
	if n.Kind == yaml.MappingNode {
		var list *yaml.Node
		for k := 0; k+1 < len(n.Content); k += 2 {
			if key := n.Content[k]; key.Value != "pairs" {
				return nil, fmt.Errorf("line %d: unknown key %q, the only one is pairs", key.Line, key.Value)
			}
			list = n.Content[k+1]
		}
		n = list
	}
	if n == nil || n.Kind != yaml.SequenceNode || len(n.Content) == 0 {
		return nil, errors.New("there is no list of pairs in it")
	}
	return n, nil
}

// clipNamed finds the clip of a run that a name means.
func clipNamed(name, dir string, clips []*clipFile) (*clipFile, error) {
	real := func(p string) string {
		if abs, err := filepath.Abs(p); err == nil {
			p = abs
		}
		if r, err := filepath.EvalSymlinks(p); err == nil {
			p = r
		}
		return p
	}
	paths := []string{name}
	if !filepath.IsAbs(name) {
		paths = []string{filepath.Join(dir, name), name}
	}
	for _, p := range paths {
		for _, c := range clips {
			if real(p) == real(c.path) {
				return c, nil
			}
		}
	}
	var found []*clipFile
	for _, c := range clips {
		if filepath.Base(c.path) == name {
			found = append(found, c)
		}
	}
	switch len(found) {
	case 0:
		return nil, fmt.Errorf("the clip %s is not among those of this run", name)
	case 1:
		return found[0], nil
	}
	return nil, fmt.Errorf("%d clips of this run are called %s, write its path", len(found), name)
}

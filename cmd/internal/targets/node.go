package targets

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"plantframe/pipeline/swing"
)

// source is one YAML file.
type source struct {
	name string // as given, for messages
	data []byte
}

// wrong is an error at a line of the file; 0 = the file as a whole.
func (s source) wrong(line int, hint, format string, a ...any) error {
	at := s.name
	if line > 0 {
		at = fmt.Sprintf("%s:%d", s.name, line)
	}
	return &swing.Error{Op: "targets.Load", Clip: at, Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...), Hint: hint}
}

// maxFile is the most that is read of a settings file, bytes: a hundred times
// the largest that comes with the program.
const maxFile = 4 << 20

var lineOf = regexp.MustCompile(`line (\d+): `)

// root returns the mapping that the file holds.
func (s source) root() (*yaml.Node, error) {
	if len(s.data) > maxFile {
		return nil, s.wrong(0, "this is not a file of targets, texts or drills", "the file is larger than %d MB", maxFile>>20)
	}
	var doc yaml.Node
	dec := yaml.NewDecoder(bytes.NewReader(s.data))
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, s.wrong(0, "compare it with the files in configs", "the file is empty")
		}
		line, text := 0, strings.TrimPrefix(err.Error(), "yaml: ")
		if m := lineOf.FindStringSubmatch(text); m != nil {
			line, _ = strconv.Atoi(m[1])
			text = strings.Replace(text, m[0], "", 1)
		}
		return nil, s.wrong(line, "YAML wants equal indents and a blank after each colon; compare it with the files in configs", "this is not valid YAML (%s)", text)
	}
	n := doc.Content[0]
	if n.Kind != yaml.MappingNode {
		return nil, s.wrong(n.Line, "compare it with the files in configs", "the file must hold keys with values")
	}
	return n, nil
}

// entry is one key of a mapping.
type entry struct {
	key   string
	line  int
	value *yaml.Node
}

// entries lists a mapping in order. Keys outside of known are refused; known
// nil allows all. what names the mapping in messages.
func (s source) entries(n *yaml.Node, what string, known ...string) ([]entry, error) {
	if n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	if n.Kind != yaml.MappingNode {
		return nil, s.wrong(n.Line, "compare it with the files in configs", "%s must hold keys with values", what)
	}
	var out []entry
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if v.Kind == yaml.AliasNode {
			v = v.Alias
		}
		if known != nil && !slices.Contains(known, k.Value) {
			return nil, s.wrong(k.Line, oneOf(known), "%s has no key %q", what, k.Value)
		}
		for _, e := range out {
			if e.key == k.Value {
				return nil, s.wrong(k.Line, "take one of them out", "%s has %q twice, first in line %d", what, k.Value, e.line)
			}
		}
		out = append(out, entry{k.Value, k.Line, v})
	}
	return out, nil
}

func (s source) text(e entry) (string, error) {
	if e.value.Kind != yaml.ScalarNode || e.value.Tag == "!!null" {
		return "", s.wrong(e.line, "write the text behind the colon; in quotes when it holds a colon, brackets or #", "%q must be a word or text", e.key)
	}
	return strings.TrimSpace(e.value.Value), nil
}

func (s source) number(e entry) (float64, error) {
	v, err := strconv.ParseFloat(e.value.Value, 64)
	if e.value.Kind != yaml.ScalarNode || err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, s.wrong(e.line, "write it like 0.4 or -12", "%q is %q, it must be a number", e.key, e.value.Value)
	}
	return v, nil
}

func (s source) flag(e entry) (bool, error) {
	if e.value.Tag != "!!bool" {
		return false, s.wrong(e.line, "write true or false without quotes", "%q is %q, it must be true or false", e.key, e.value.Value)
	}
	return strings.EqualFold(e.value.Value, "true"), nil
}

func (s source) list(e entry) ([]string, error) {
	if e.value.Kind != yaml.SequenceNode {
		return nil, s.wrong(e.line, "write it like [one, two]", "%q must be a list", e.key)
	}
	out := []string{}
	for _, n := range e.value.Content {
		if n.Kind != yaml.ScalarNode {
			return nil, s.wrong(n.Line, "write it like [one, two]", "%q must be a list of words", e.key)
		}
		out = append(out, n.Value)
	}
	return out, nil
}

func oneOf(words []string) string { return "it must be one of " + strings.Join(words, ", ") }

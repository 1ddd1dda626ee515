package config

import (
	"bytes"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

var update = flag.Bool("update", false, "rewrite configs/default.yaml from the code")

const (
	moduleRoot  = "../../.."
	defaultFile = moduleRoot + "/configs/default.yaml"
)

// configs/default.yaml lists every setting with its default and the comment of
// its field; the code is the source. Run go test ./cmd/internal/config -update
// after a change.
func TestDefaultFileIsTheCode(t *testing.T) {
	want := listing(t)
	if *update {
		if err := os.WriteFile(defaultFile, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(defaultFile)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("configs/default.yaml is not what the code says; run: go test ./cmd/internal/config -update\n%s", firstDifference(got, want))
	}
}

// The file as a settings file gives the defaults, whatever was there before.
func TestDefaultFileLoads(t *testing.T) {
	s := Default()
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		if _, ok := governed()[l.key]; !ok {
			l.value.SetZero()
		}
	}
	if err := Load(&s, nil, defaultFile); err != nil {
		t.Fatal(err)
	}
	if want := Default(); !reflect.DeepEqual(s, want) {
		t.Errorf("got %+v, want %+v", s, want)
	}
}

func firstDifference(got, want []byte) string {
	g, w := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
	for i := range w {
		if i >= len(g) || g[i] != w[i] {
			return fmt.Sprintf("line %d should be %q", i+1, w[i])
		}
	}
	return fmt.Sprintf("it has %d lines, %d are wanted", len(g), len(w))
}

// listing writes all settings as YAML: general ones first, then one group per
// stage.
func listing(t *testing.T) []byte {
	t.Helper()
	s := Default()
	type entry struct {
		leaf
		name string
	}
	groups := map[string][]entry{}
	order := []string{""}
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		if _, ok := governed()[l.key]; ok {
			continue
		}
		group, name, nested := strings.Cut(l.key, ".")
		if !nested {
			group, name = "", l.key
		}
		if _, seen := groups[group]; !seen && group != "" {
			order = append(order, group)
		}
		groups[group] = append(groups[group], entry{l, name})
	}
	var b bytes.Buffer
	b.WriteString(`# All settings with their defaults. The program does not read this file: copy
# what you want to change into a file of your own and name it with --config, or
# put it at plantframe/config.yaml in your configuration folder. Flags and
# PLANTFRAME_* variables win over the file.
#
# Written from the code by: go test ./cmd/internal/config -update
`)
	for _, g := range order {
		indent := ""
		if g != "" {
			fmt.Fprintf(&b, "\n%s:\n", g)
			indent = "  "
		}
		said := ""
		for i, e := range groups[g] {
			text := comment(t, e.parent, e.field)
			if text == said { // one comment for two fields
				text = ""
			} else if said = text; i > 0 || g == "" {
				b.WriteString("\n")
			}
			for line := range strings.Lines(text) {
				b.WriteString(strings.TrimRight(indent+"# "+strings.TrimSpace(line), " ") + "\n")
			}
			v, err := yaml.Marshal(plain(e.value))
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "%s%s: %s\n", indent, e.name, strings.TrimSpace(string(v)))
		}
	}
	return b.Bytes()
}

// comment returns the comment of a field from the source, with field names as
// keys.
func comment(t *testing.T, owner reflect.Type, field string) string {
	t.Helper()
	dir := filepath.Join(moduleRoot, strings.TrimPrefix(owner.PkgPath(), "plantframe/"))
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range files {
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		found := ""
		ast.Inspect(f, func(n ast.Node) bool {
			spec, ok := n.(*ast.TypeSpec)
			if !ok || spec.Name.Name != owner.Name() {
				return true
			}
			st, ok := spec.Type.(*ast.StructType)
			if !ok {
				return false
			}
			keys := map[string]string{}
			for _, fl := range st.Fields.List {
				for _, n := range fl.Names {
					keys[n.Name] = snake(n.Name)
				}
			}
			text := "" // of the last field that has one
			for _, fl := range st.Fields.List {
				if own := fl.Doc.Text() + fl.Comment.Text(); own != "" {
					text = own
				}
				for _, n := range fl.Names {
					// A field without a comment of its own is spoken of
					// in the one above.
					if n.Name == field && strings.Contains(text, field) {
						found = inKeys(text, keys)
					}
				}
			}
			return false
		})
		if found != "" {
			return found
		}
	}
	t.Errorf("%s.%s has no comment: every setting says its unit and default", owner, field)
	return ""
}

// inKeys replaces the names of fields in a comment by their keys, where they
// stand as words. Abbreviations are words of their own unless they begin it.
func inKeys(text string, keys map[string]string) string {
	var out []string
	for line := range strings.Lines(text) {
		words := strings.Split(line, " ")
		for i, w := range words {
			bare := strings.TrimRight(w, ".,:;)\n")
			first := len(out) == 0 && i == 0
			if key, ok := keys[bare]; ok && (first || bare != strings.ToUpper(bare)) {
				words[i] = key + w[len(bare):]
			}
		}
		out = append(out, strings.Join(words, " "))
	}
	return strings.Join(out, "")
}

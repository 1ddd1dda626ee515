package pipeline_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allowed lists, per package of this module, what it may import from this
// module. A package that is not listed may import nothing of ours.
var allowed = map[string][]string{
	"pipeline/swing":         {},
	"pipeline/signal":        {},
	"pipeline/pixel":         {"pipeline/swing"},
	"pipeline/ingest":        {"pipeline/swing", "pipeline/pixel"},
	"pipeline/camera":        {"pipeline/swing", "pipeline/pixel", "pipeline/signal"},
	"pipeline/spot":          {"pipeline/swing", "pipeline/pixel"},
	"pipeline/pose":          {"pipeline/swing", "pipeline/pixel", "pipeline/signal", "pipeline/spot"},
	"pipeline/bat":           {"pipeline/swing", "pipeline/signal", "pipeline/spot"},
	"pipeline/sound":         {"pipeline/swing", "pipeline/signal"},
	"pipeline/lift":          {"pipeline/swing", "pipeline/signal"},
	"pipeline/fuse":          {"pipeline/swing", "pipeline/signal"},
	"pipeline/track":         {"pipeline/swing", "pipeline/signal"},
	"pipeline/event":         {"pipeline/swing", "pipeline/signal"},
	"pipeline/measure":       {"pipeline/swing", "pipeline/signal"},
	"pipeline/compare":       {"pipeline/swing", "pipeline/signal"},
	"pipeline/judge":         {"pipeline/swing"},
	"pipeline/output":        {"pipeline/swing"},
	"pipeline/output/render": {"pipeline/swing", "pipeline/pixel"},
	"pipeline/output/report": {"pipeline/swing"},
	"pipeline/swingtest":     {"pipeline/swing", "pipeline/signal"},
	"pipeline": {
		"pipeline/swing", "pipeline/signal", "pipeline/ingest", "pipeline/camera", "pipeline/pose",
		"pipeline/track", "pipeline/bat", "pipeline/sound", "pipeline/event", "pipeline/lift", "pipeline/measure",
		"pipeline/judge", "pipeline/fuse",
	},
	"models":                {"models/onnx", "models/tflite", "models/tfjs"},
	"models/onnx":           {},
	"models/tflite":         {"models/onnx"},
	"models/tfjs":           {"models/onnx"},
	"cmd/internal/store":    {"pipeline/swing"},
	"cmd/internal/progress": {"cmd/internal/store", "pipeline/swing"},
	"cmd/internal/ui":       {"pipeline/swing"},
	"cmd/internal/queue":    {"pipeline/swing"},
	"cmd/internal/watch":    {},
	"cmd/internal/web":      {"cmd/internal/queue", "cmd/internal/store", "pipeline/swing"},
	"cmd/internal/config":   {"*"},
	"cmd/internal/targets":  {"pipeline/swing", "pipeline/measure", "pipeline/judge", "configs"},
	"configs":               {},
	"cmd/plantframe":        {"*"},
	"scripts/internal":      {"*"},
}

// rim lists who may reach a C library, and why nobody else may.
var rim = map[string][]string{
	"gocv.io/x/gocv":                           {"pipeline/ingest", "pipeline/camera", "pipeline/output/render"},
	"github.com/yalue/onnxruntime_go":          {"models"},
	"github.com/spf13/viper":                   {"cmd/internal/config", "cmd/plantframe"},
	"github.com/spf13/cobra":                   {"cmd/plantframe"},
	"github.com/schollz/progressbar/v3":        {"cmd/internal/ui"},
	"google.golang.org/protobuf/proto":         {"models", "models/onnx", "models/tflite", "models/tfjs", "scripts/internal"},
	"github.com/google/flatbuffers/go":         {"models/tflite"},
	"codeberg.org/go-pdf/fpdf":                 {"pipeline/output/report"},
	"github.com/pressly/goose/v3":              {"cmd/internal/store"},
	"github.com/santhosh-tekuri/jsonschema/v6": {}, // tests only
}

func TestImportsFollowTheHouse(t *testing.T) {
	root := ".."
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); path != root && (strings.HasPrefix(name, ".") || name == "testdata" || name == "node_modules") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		seen++
		rel, _ := filepath.Rel(root, filepath.Dir(path))
		checkFile(t, path, filepath.ToSlash(rel))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 20 {
		t.Fatalf("only %d files looked at: the walk is broken", seen)
	}
}

func checkFile(t *testing.T, path, pkg string) {
	t.Helper()
	src, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := parser.ParseFile(token.NewFileSet(), path, src, parser.ImportsOnly)
	if err != nil {
		t.Fatal(err)
	}
	house := pkg
	if strings.HasPrefix(pkg, "scripts/internal/") {
		house = "scripts/internal"
	}
	rule, known := allowed[house]
	if !known {
		t.Errorf("%s: package %s is not in the house; give it a place in the import table first", path, pkg)
		return
	}
	for _, im := range f.Imports {
		name, _ := strconv.Unquote(im.Path.Value)
		if who, restricted := rim[name]; restricted && !slices.Contains(who, house) {
			t.Errorf("%s: %s may not import %s: outside libraries of this kind stay at the rim", path, pkg, name)
		}
		ours, inModule := strings.CutPrefix(name, "plantframe/")
		if !inModule || slices.Contains(rule, "*") || slices.Contains(rule, ours) {
			continue
		}
		t.Errorf("%s: %s may not import %s: data flows through pipeline.go, stages do not know each other", path, pkg, ours)
	}
}

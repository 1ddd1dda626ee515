package models

import (
	"os"
	"path/filepath"
	"testing"

	"plantframe/models/onnx"
)

// A manifest is refused or every entry that sizes memory or names files is in
// bounds.
func FuzzManifest(f *testing.F) {
	files, err := filepath.Glob("manifest/*.yaml")
	if err != nil || len(files) == 0 {
		f.Fatal(files, err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("# nothing\n"))
	f.Add([]byte("id: &a [*a]\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := parseManifest(b)
		if err != nil {
			return
		}
		if !idForm.MatchString(m.ID) {
			t.Errorf("id %q", m.ID)
		}
		size := int64(1)
		for _, n := range m.Input.Shape() {
			if n < 1 || size > 1<<40/n {
				t.Fatalf("input %v", m.Input.Shape())
			}
			size *= n
		}
		for _, o := range m.Outputs {
			size := int64(1)
			for _, n := range o.Shape {
				if n < 1 || size > 1<<40/n {
					t.Fatalf("output %v", o.Shape)
				}
				size *= n
			}
		}
	})
}

// An ONNX file of any bytes is refused or read; reading never fails otherwise.
func FuzzONNX(f *testing.F) {
	files, err := filepath.Glob("../testdata/networks/*.onnx")
	if err != nil || len(files) == 0 {
		f.Fatal(files, err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := onnx.Unmarshal(b)
		if err != nil {
			return
		}
		if _, err := onnx.Marshal(m); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
	})
}

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// The files in testdata/networks are those that this program writes.
func TestWrittenFilesAreCurrent(t *testing.T) {
	dir := t.TempDir()
	if err := write(dir); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != 10 {
		t.Fatalf("%d files, want 5 networks with a manifest each", len(files))
	}
	for _, f := range files {
		want, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if len(want) > 20_000 {
			t.Errorf("%s has %d bytes: too much for test data", f.Name(), len(want))
		}
		got, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "networks", f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is out of date: run scripts/make-test-networks", f.Name())
		}
	}
}

// Markers must differ enough that no mixture of one with black passes for another.
func TestColoursAreApart(t *testing.T) {
	size := func(v float32) float32 { return max(v, -v) }
	list := colours()
	if len(list) != 61 {
		t.Fatalf("%d colours, want 61", len(list))
	}
	for i, a := range list {
		for j, b := range list {
			if i == j {
				continue
			}
			for share := float32(0); share <= 1; share += 1. / 64 {
				var d float32
				for c := range 3 {
					d += size(share*a[c] - b[c])
				}
				if d < 60 {
					t.Fatalf("colours %d and %d: at a share of %v they are %v apart", i, j, share, d)
				}
			}
		}
	}
}

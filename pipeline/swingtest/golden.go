package swingtest

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// Golden compares got with the file at path, or writes the file when update is
// true; the test package declares the flag.
func Golden(t testing.TB, path string, got []byte, update bool) {
	t.Helper()
	if update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (run the test with -update to write it)", err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("differs from %s (run the test with -update if that is meant):\ngot:\n%s\nwant:\n%s", path, got, want)
	}
}

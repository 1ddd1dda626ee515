package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"
)

// A truth file is refused, or its events are found or missed without harm.
func FuzzTruth(f *testing.F) {
	dir := f.TempDir()
	world{"R", "open"}.truth(f, dir, "seed")
	b, err := os.ReadFile(filepath.Join(dir, "seed"+truthSuffix))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte(`{"schema":"hitclip-truth/1","bats":"R","view":"open","height_m":1,"frame_truth":[{},{"t":1}]}`))
	path := filepath.Join(dir, "own"+truthSuffix)
	f.Fuzz(func(t *testing.T, b []byte) {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		tr, err := loadTruth(path)
		if err != nil {
			return
		}
		for name, at := range tr.events() {
			if math.IsNaN(at) {
				t.Errorf("%s at %g", name, at)
			}
		}
	})
}

// An analysis is refused or can be read through.
func FuzzAnalysis(f *testing.F) {
	f.Add([]byte(`{"schema":"plantframe/analysis/1","clip":{"file":"a.mp4"},"swings":[{"events":{"plant":{"time_s":1,"sigma_s":0.1}},"track":{"keypoint_names":["nose"],"times_s":[1],"points":[[[1,2,0.5]]]},"measures":[{"id":"stride_length","value":0.4}]}]}`))
	path := filepath.Join(f.TempDir(), "analysis.json")
	f.Fuzz(func(t *testing.T, b []byte) {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if a, err := loadAnalysis(path); err == nil && a.Clip.File == "" {
			t.Error("an analysis of no clip")
		}
	})
}

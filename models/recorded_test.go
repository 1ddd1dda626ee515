package models

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// recordedFile is a file of testdata/models; its README explains the fields.
type recordedFile struct {
	Model  string `json:"model"`
	Source struct {
		File   string `json:"file"`
		SHA256 string `json:"sha256"`
	} `json:"source"`
	Pictures []struct {
		Kind    string           `json:"kind"`
		Seed    uint32           `json:"seed"`
		Outputs []recordedOutput `json:"outputs"`
	} `json:"pictures"`
}

type recordedOutput struct {
	Name      string    `json:"name"`
	Length    int       `json:"length"`
	Step      int       `json:"step"`
	Tolerance float64   `json:"tolerance"`
	MeanSize  float64   `json:"mean_size"`
	Values    []float32 `json:"values"`
}

// TestInstalledNetworksGiveWhatIndependentRuntimesGave compares every embedded network with values that TensorFlow Lite
// and TensorFlow.js computed from the published files (scripts/compare-models --record).
func TestInstalledNetworksGiveWhatIndependentRuntimesGave(t *testing.T) {
	all, err := Manifests()
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range all {
		if m.Source.Own != "" {
			continue // trained here: TestOwnNetworksFindBatAndFeet has their truth
		}
		t.Run(m.ID, func(t *testing.T) {
			b, err := os.ReadFile(filepath.Join("..", "testdata", "models", m.ID+".json"))
			if err != nil {
				t.Fatalf("%v\nrecord it with scripts/compare-models --record %s", err, m.ID)
			}
			var f recordedFile
			if err := json.Unmarshal(b, &f); err != nil {
				t.Fatal(err)
			}
			if f.Model != m.ID || f.Source.File != m.Source.File || f.Source.SHA256 != m.Source.SHA256 {
				t.Fatalf("recorded from %s %s, the manifest names %s %s", f.Source.File, f.Source.SHA256, m.Source.File, m.Source.SHA256)
			}
			if len(f.Pictures) < 2 {
				t.Fatalf("%d pictures, want noise and a figure", len(f.Pictures))
			}
			s := open(t, m.ID, 1)
			for _, p := range f.Pictures {
				rgb, err := recordedPicture(p.Kind, p.Seed, m.Input.Width, m.Input.Height)
				if err != nil {
					t.Fatal(err)
				}
				recordedInput(rgb, m.Input, s.Input())
				if err := s.Run(); err != nil {
					t.Fatal(err)
				}
				if len(p.Outputs) != len(m.Outputs) {
					t.Errorf("%s: %d outputs recorded, the manifest has %d", p.Kind, len(p.Outputs), len(m.Outputs))
				}
				for _, o := range p.Outputs {
					o.compare(t, p.Kind, s.Output(o.Name))
				}
			}
		})
	}
}

// compare checks one output: its length, the recorded values, and by its mean size the values between them.
func (o recordedOutput) compare(t *testing.T, picture string, got []float32) {
	t.Helper()
	if len(got) != o.Length || o.Step < 1 || len(o.Values) != (o.Length+o.Step-1)/o.Step {
		t.Errorf("%s %s: %d values, recorded were %d in %d steps of %d", picture, o.Name, len(got), o.Length, len(o.Values), o.Step)
		return
	}
	worst := 0.0
	for i, want := range o.Values {
		d := math.Abs(float64(got[i*o.Step]) - float64(want))
		if !(d <= o.Tolerance) {
			t.Errorf("%s %s: value %d is %v, recorded is %v (tolerance %v)", picture, o.Name, i*o.Step, got[i*o.Step], want, o.Tolerance)
			return
		}
		worst = max(worst, d)
	}
	sum := 0.0
	for _, v := range got {
		sum += math.Abs(float64(v))
	}
	if mean := sum / float64(len(got)); !(math.Abs(mean-o.MeanSize) <= o.Tolerance) {
		t.Errorf("%s %s: mean size %v, recorded is %v (tolerance %v)", picture, o.Name, mean, o.MeanSize, o.Tolerance)
	}
	t.Logf("%s %s: %d values, largest difference %.1e (tolerance %.1e)", picture, o.Name, len(o.Values), worst, o.Tolerance)
}

// The pictures must be the ones that the recording saw, whatever the networks make of them.
func TestRecordedPictures(t *testing.T) {
	for _, tt := range []struct {
		kind string
		seed uint32
		sum  string
	}{
		{"noise", 1, "ea577bbcadb0376af2707ba54f6f2504089fa8894023fe6c6fd60689be50fcbd"},
		{"figure", 3, "6b78ed375f44161fd530fd877231daf7291f78f034ec75b031375b981bcc5c34"},
	} {
		b, err := recordedPicture(tt.kind, tt.seed, 64, 48)
		if err != nil {
			t.Fatal(err)
		}
		if got := sum(b); got != tt.sum { // printed by picture.cjs
			t.Errorf("%s %d has SHA-256 %s, want %s", tt.kind, tt.seed, got, tt.sum)
		}
	}
	if _, err := recordedPicture("other", 1, 8, 8); err == nil {
		t.Error("an unknown picture: want an error")
	}
}

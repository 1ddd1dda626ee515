package ingest

import (
	"path/filepath"
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

// indices decodes a window of clip and returns what came.
func indices(t *testing.T, clip swing.Clip, o OpenOptions) (index []int, times []float64) {
	t.Helper()
	r, err := Open(t.Context(), clip, o)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for f, err := range r.Frames() {
		if err != nil {
			t.Fatal(err)
		}
		index, times = append(index, f.Index), append(times, f.Time)
	}
	if w := r.Warnings(); len(w) > 0 {
		t.Errorf("warnings: %v", w)
	}
	return index, times
}

// Wanted frames come with the index and the time they have in a whole decode,
// with and without a window, and nothing else comes.
func TestWantedFramesOnly(t *testing.T) {
	path := h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=160x120:r=60:d=2")
	clip := probe(t, path)
	if clip.List == nil || len(clip.List.Times) != 120 || !clip.List.Whole {
		t.Fatalf("list of frames: %+v", clip.List)
	}
	_, at := indices(t, clip, OpenOptions{})
	wants := map[string]func(int) bool{
		"every second, all in the middle": func(i int) bool { return i%2 == 1 || (i > 40 && i < 70) },
		"one":                             func(i int) bool { return i == 57 },
		"first and last":                  func(i int) bool { return i == 30 || i == 59 || i == 119 },
		"all":                             func(int) bool { return true },
		"too many stretches":              func(i int) bool { return i*i%7 < 3 },
	}
	for name, want := range wants {
		for _, o := range []OpenOptions{{Want: want}, {Want: want, From: 0.5001, To: 1.2}} {
			got, times := indices(t, clip, o)
			var expect []int
			pick, n := choose(&timetable{times: at, whole: true}, o)
			for i, t := range at {
				inside := t >= o.From && (o.To == 0 || t < o.To)
				if inside && (pick == "" || want(i)) {
					expect = append(expect, i)
				}
			}
			if !slices.Equal(got, expect) || (pick != "" && n != len(got)) {
				t.Errorf("%s, %g to %g: frames %v, want %v", name, o.From, o.To, got, expect)
			}
			for k, i := range got {
				if times[k] != at[i] {
					t.Errorf("%s: frame %d at %g s, want %g", name, i, times[k], at[i])
				}
			}
		}
	}
	if terms := runs([]int{0, 2, 4, 5, 6, 9}); !slices.Equal(terms, []string{
		"between(n,0,4)*not(mod(n-0,2))", "between(n,5,6)", "between(n,9,9)",
	}) {
		t.Errorf("runs: %v", terms)
	}
}

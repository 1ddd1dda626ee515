package render

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"plantframe/pipeline/swing"
)

// The wanted frames alone give the same files as all frames, at far fewer frames.
func TestWantedFramesAreEnough(t *testing.T) {
	for _, fps := range []float64{24, 30, 60, 240} {
		m := steadyClip(320, 180, fps, 2.5)
		for i := range m.times {
			m.times[i] = float64(int(m.times[i]*1e3)) / 1e3 // a container that counts milliseconds
		}
		a := analysisOf(m, 0.5, swingEvents())
		if got := Wanted(&a, quickOptions()); got != nil {
			t.Fatalf("%g fps: %d frames wanted of a clip without a list", fps, len(got))
		}
		a.Clip.List = &swing.FrameList{Times: m.times, Whole: true}
		want := Wanted(&a, quickOptions())
		var all, some counter
		dirs := []string{t.TempDir(), t.TempDir()}
		if err := Draw(context.Background(), m.frames(), a, dirs[0], quickOptions(), &all); err != nil {
			t.Fatal(err)
		}
		given := 0
		thin := func(yield func(swing.Frame, error) bool) {
			for f, err := range m.frames() {
				if want[f.Index] {
					given++
					if !yield(f, err) {
						return
					}
				}
			}
		}
		if err := Draw(context.Background(), thin, a, dirs[1], quickOptions(), &some); err != nil {
			t.Fatal(err)
		}
		if given != len(want) || (fps >= 60 && given*10 > 8*all.n) {
			t.Errorf("%g fps: %d frames given, %d wanted of %d", fps, given, len(want), all.n)
		}
		if d := all.n - some.n; d < 0 || float64(d) > fps/10 {
			t.Errorf("%g fps: the bar counts %d frames, then %d", fps, all.n, some.n)
		}
		files, _ := filepath.Glob(filepath.Join(dirs[0], "stills", "*.png"))
		if len(files) == 0 {
			t.Error("no stills")
		}
		for _, f := range append(files, filepath.Join(dirs[0], "overlay.mp4")) {
			name, _ := filepath.Rel(dirs[0], f)
			x, err1 := os.ReadFile(f)
			y, err2 := os.ReadFile(filepath.Join(dirs[1], name))
			if err1 != nil || err2 != nil || string(x) != string(y) {
				t.Errorf("%g fps: %s is another", fps, name)
			}
		}
	}
}

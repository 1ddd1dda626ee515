package camera

import (
	"bytes"
	"os"
	"runtime/debug"
	"strconv"
	"testing"

	"plantframe/pipeline/swing"
)

// Pictures live in C memory, which Go does not see: the resident size of the
// process must not grow with the number of clips. (go test -tags matprofile
// counts them one by one, see leak_profile_test.go.)
func TestNoPictureIsLeft(t *testing.T) {
	const w, h = 1280, 720
	scene := newScene(7, 1500)
	var frames []swing.Frame
	for i := range 12 { // a pan that changes keys
		frames = append(frames, scene.frame(w, h, i, firstView().turned(step{0, 0.02 * float64(i), 0, 0}), nil))
		frames[i].Time = float64(i) / 30
	}
	clip := func() {
		fo, err := New(Options{MaxSide: w})
		if err != nil {
			t.Fatal(err)
		}
		defer fo.Close()
		for _, f := range frames {
			if err := fo.Add(f, nil); err != nil {
				t.Fatal(err)
			}
		}
		if len(fo.keys) < 2 {
			t.Fatal("the keys do not change")
		}
	}
	for range 15 { // the C library's own stores fill first
		clip()
	}
	before := resident(t)
	const clips = 30
	for range clips {
		clip()
	}
	// One small grey picture is 900 kB; half of one per clip is a leak.
	if grown := resident(t) - before; grown > clips*w*h/2 {
		t.Errorf("%d clips leave %d bytes", clips, grown)
	} else {
		t.Logf("%d clips leave %d bytes", clips, grown)
	}
}

// resident returns the resident size of this process, bytes.
func resident(t *testing.T) int {
	t.Helper()
	debug.FreeOSMemory() // leaves what Go does not know
	b, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		t.Fatal(err)
	}
	pages, err := strconv.Atoi(string(bytes.Fields(b)[1]))
	if err != nil {
		t.Fatal(err)
	}
	return pages * os.Getpagesize()
}

package camera

import (
	"bytes"
	"os"
	"runtime/debug"
	"strconv"
	"testing"
)

// Pictures live in C memory, which Go does not see: the resident size of the
// process must not grow with the number of clips. (go test -tags matprofile
// counts them one by one, see leak_profile_test.go.)
func TestNoPictureIsLeft(t *testing.T) {
	clip := func() {
		m := film{w: 640, h: 360, fps: 30, scene: newScene(7, 300)}
		for _, turn := range []float64{0, 0.2, 0.4, 0.2, 0} { // changes keys
			m.views = append(m.views, firstView().turned(step{0, turn, 0, 0}))
		}
		m.follow(t, Options{MaxSide: 640})
	}
	for range 30 { // the C library's own stores fill first
		clip()
	}
	before := resident(t)
	const clips = 40
	for range clips {
		clip()
	}
	// One grey picture is 230 kB, a coloured one three times that.
	if grown := resident(t) - before; grown > clips*100_000 {
		t.Errorf("%d clips leave %d bytes", clips, grown)
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

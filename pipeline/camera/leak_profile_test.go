//go:build matprofile

package camera

import (
	"bytes"
	"testing"

	"gocv.io/x/gocv"
)

func TestEveryMatIsClosed(t *testing.T) {
	m := film{w: 480, h: 270, fps: 30, scene: newScene(7, 1500), views: shaken(30, 30, 5)}
	before := gocv.MatProfile.Count()
	m.follow(t, Options{})
	if n := gocv.MatProfile.Count() - before; n != 0 {
		var b bytes.Buffer
		_ = gocv.MatProfile.WriteTo(&b, 1)
		t.Errorf("%d pictures are left:\n%s", n, b.String())
	}
}

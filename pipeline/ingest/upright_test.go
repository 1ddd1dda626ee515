package ingest

import (
	"fmt"
	"path/filepath"
	"testing"
)

const one = 1 << 16 // of a matrix in 16.16 fixed point

// The stored picture has a colour in each quarter. Where a quarter must appear
// follows from the rule of the file format, x' = a x + c y, y' = b x + d y,
// applied here by itself and not by ffmpeg.
func TestUprightInEveryTurn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	src := h264(t, filepath.Join(dir, "src.mp4"),
		"color=red:s=96x64:r=30:d=0.4[a];color=lime:s=96x64:r=30:d=0.4[b];color=blue:s=96x64:r=30:d=0.4[c];color=white:s=96x64:r=30:d=0.4[d];"+
			"[a][b]hstack[t];[c][d]hstack[u];[t][u]vstack", "-frames:v", "12")
	quarters := []struct {
		x, y int // -1 left/top, 1 right/bottom
		name string
	}{{-1, -1, "red"}, {1, -1, "green"}, {-1, 1, "blue"}, {1, 1, "white"}}
	for _, m := range []struct {
		name       string
		a, b, c, d int32
		turn       int
	}{
		{"as stored", 1, 0, 0, 1, 0},
		{"quarter turn clockwise", 0, 1, -1, 0, 90},
		{"half turn", -1, 0, 0, -1, 180},
		{"quarter turn anticlockwise", 0, -1, 1, 0, 270},
		{"mirrored", -1, 0, 0, 1, -1},
		{"upside down mirrored", 1, 0, 0, -1, -1},
		{"transposed", 0, 1, 1, 0, -1},
		{"transposed the other way", 0, -1, -1, 0, -1},
	} {
		t.Run(m.name, func(t *testing.T) {
			path := write(t, filepath.Join(dir, fmt.Sprintf("%d%d%d%d.mp4", m.a, m.b, m.c, m.d)), read(t, src))
			setMatrix(t, path, [9]int32{m.a * one, m.b * one, 0, m.c * one, m.d * one, 0, 0, 0, 1 << 30})
			c := probe(t, path)
			w, h := 192, 128
			if m.a == 0 {
				w, h = h, w
			}
			if c.Width != w || c.Height != h {
				t.Errorf("size is %d x %d, want %d x %d", c.Width, c.Height, w, h)
			}
			if m.turn >= 0 && c.Rotation != m.turn {
				t.Errorf("rotation is %d, want %d", c.Rotation, m.turn)
			}
			frames, warnings := decode(t, c, OpenOptions{}, true)
			if len(frames) != 12 || len(warnings) != 0 {
				t.Fatalf("%d frames, warnings %v", len(frames), warnings)
			}
			for _, q := range quarters {
				x := int(m.a)*q.x + int(m.c)*q.y
				y := int(m.b)*q.x + int(m.d)*q.y
				got := colourName(frames[5].at(0.5+0.25*float64(x), 0.5+0.25*float64(y)))
				if got != q.name {
					t.Errorf("the %s quarter: found %s where it should be", q.name, got)
				}
			}
		})
	}
	t.Run("odd angle", func(t *testing.T) {
		path := write(t, filepath.Join(dir, "odd.mp4"), read(t, src))
		setMatrix(t, path, [9]int32{56756, 32768, 0, -32768, 56756, 0, 0, 0, 1 << 30}) // 30 degrees
		c := probe(t, path)
		if c.Width != 192 || c.Height != 128 || fmt.Sprint(codes(c.Warnings)) != "[odd-rotation]" {
			t.Fatalf("got %d x %d, warnings %v", c.Width, c.Height, c.Warnings)
		}
		frames, _ := decode(t, c, OpenOptions{}, true)
		if got := colourName(frames[0].at(0.02, 0.03)); got != "red" {
			t.Errorf("the stored corner is %s, the picture was turned", got)
		}
	})
}

func colourName(bgr [3]int) string {
	const high, low = 200, 60
	b, g, r := bgr[0], bgr[1], bgr[2]
	switch {
	case r > high && g < low && b < low:
		return "red"
	case g > high && r < low && b < low:
		return "green"
	case b > high && r < low && g < low:
		return "blue"
	case r > high && g > high && b > high:
		return "white"
	}
	return fmt.Sprintf("b%d g%d r%d", b, g, r)
}

// Pixels that are not square are stretched, never squeezed, and the other way
// round in portrait clips.
func TestSquarePixels(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, c := range []struct {
		name, sar string
		turn      bool
		w, h      int
	}{
		{"wide", "64/45", false, 228, 90},
		{"tall", "45/64", false, 160, 128},
		{"wide turned", "64/45", true, 90, 228},
		{"nonsense", "1000/1", false, 160, 90},
	} {
		path := h264(t, filepath.Join(dir, c.name+".mp4"), "testsrc2=s=160x90:r=30:d=0.4", "-vf", "setsar="+c.sar)
		if c.turn {
			setMatrix(t, path, [9]int32{0, one, 0, -one, 0, 0, 0, 0, 1 << 30})
		}
		clip := probe(t, path)
		frames, _ := decode(t, clip, OpenOptions{}, false)
		if clip.Width != c.w || clip.Height != c.h || frames[0].Width != c.w || frames[0].Height != c.h {
			t.Errorf("%s: clip %d x %d, frame %d x %d, want %d x %d", c.name, clip.Width, clip.Height,
				frames[0].Width, frames[0].Height, c.w, c.h)
		}
	}
}

// Delivered sizes: never enlarged, long side bounded, odd sizes kept.
func TestDeliveredSize(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ w, h, side, ww, wh int }{
		{1920, 1080, 0, 1920, 1080},
		{3840, 2160, 1920, 1920, 1080},
		{2160, 3840, 1920, 1080, 1920},
		{640, 360, 1920, 640, 360},
		{853, 479, 400, 400, 225},
		{4000, 3, 100, 100, 1},
	} {
		w, h, scale := deliveredSize(c.w, c.h, c.side)
		if w != c.ww || h != c.wh {
			t.Errorf("%v: got %d x %d", c, w, h)
		}
		if !near(scale*float64(max(w, h)), float64(max(c.w, c.h)), 1e-9) {
			t.Errorf("%v: scale %g does not lead back", c, scale)
		}
	}
	path := h264(t, filepath.Join(t.TempDir(), "odd.mp4"), "smptebars=s=638x362:r=30:d=0.4", "-vf", "crop=637:361:0:0:exact=1", "-pix_fmt", "yuv444p")
	clip := probe(t, path)
	full, _ := decode(t, clip, OpenOptions{}, true)
	small, _ := decode(t, clip, OpenOptions{MaxSide: 200}, true)
	if full[0].Width != 637 || full[0].Height != 361 || small[0].Width != 200 || small[0].Height != 113 {
		t.Fatalf("got %d x %d and %d x %d", full[0].Width, full[0].Height, small[0].Width, small[0].Height)
	}
	for _, p := range [][2]float64{{0.21, 0.2}, {0.5, 0.5}, {0.79, 0.3}, {0.3, 0.9}} {
		a, b := full[3].at(p[0], p[1]), small[3].at(p[0], p[1])
		for i := range 3 {
			if d := a[i] - b[i]; d > 4 || d < -4 {
				t.Errorf("at %v the small picture shows %v, the full one %v", p, b, a)
			}
		}
	}
}

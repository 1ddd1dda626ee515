package ingest

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"plantframe/pipeline/swing"
)

// Clips are made here by ffmpeg, which this package needs anyway; a machine
// without it fails these tests.

// ffmpeg runs ffmpeg to make a clip and returns the clip's path.
func ffmpeg(t testing.TB, out string, args ...string) string {
	t.Helper()
	args = append([]string{"-hide_banner", "-nostdin", "-v", "error", "-y", "-threads", "1"}, args...)
	args = append(args, "-x265-params", "log-level=none:pools=none:frame-threads=1", "file:"+out)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if b, err := exec.CommandContext(ctx, "ffmpeg", args...).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg %q: %v\n%s", args, err, b)
	}
	return out
}

// h264 makes an H.264 clip from a lavfi source.
func h264(t testing.TB, out, source string, more ...string) string {
	t.Helper()
	args := append([]string{"-f", "lavfi", "-i", source, "-pix_fmt", "yuv420p", "-c:v", "libx264", "-preset", "ultrafast"}, more...)
	return ffmpeg(t, out, args...)
}

// probe describes a clip that must be readable.
func probe(t testing.TB, path string) swing.Clip {
	t.Helper()
	c, err := Probe(context.Background(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// shot is a decoded frame with its pixels copied.
type shot struct {
	swing.Frame
	pix []byte
}

// decode reads a clip that must be readable; pixels are kept when keep is set.
func decode(t testing.TB, c swing.Clip, o OpenOptions, keep bool) ([]shot, []swing.Warning) {
	t.Helper()
	r, err := Open(context.Background(), c, o)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var out []shot
	for f, err := range r.Frames() {
		if err != nil {
			t.Fatal(err)
		}
		s := shot{Frame: f}
		if keep {
			s.pix = bytes.Clone(f.Pix)
		}
		s.Pix = nil
		out = append(out, s)
	}
	return out, r.Warnings()
}

// at returns blue, green, red at a place given in fractions of the picture,
// the mean of 5 x 5 px.
func (s shot) at(fx, fy float64) [3]int {
	cx, cy := int(fx*float64(s.Width)), int(fy*float64(s.Height))
	var sum [3]int
	for y := cy - 2; y <= cy+2; y++ {
		for x := cx - 2; x <= cx+2; x++ {
			for c := range 3 {
				sum[c] += int(s.pix[3*(y*s.Width+x)+c])
			}
		}
	}
	for c := range 3 {
		sum[c] = (sum[c] + 12) / 25
	}
	return sum
}

// ownTimes asks ffprobe itself for the presentation times of decoded frames.
func ownTimes(t testing.TB, path string) []float64 {
	t.Helper()
	b, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "V:0", "-show_entries",
		"frame=best_effort_timestamp_time", "-of", "json", "file:"+path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var d struct {
		Frames []struct {
			Time string `json:"best_effort_timestamp_time"`
		} `json:"frames"`
	}
	if err := json.Unmarshal(b, &d); err != nil {
		t.Fatal(err)
	}
	var out []float64
	for _, f := range d.Frames {
		v, err := strconv.ParseFloat(f.Time, 64)
		if err != nil {
			t.Fatalf("%s: ffprobe gives time %q", path, f.Time)
		}
		out = append(out, v)
	}
	return out
}

// boxes returns the offsets of the contents of every box of a kind in an ISO
// media file, found by its four letters inside the moov box.
func boxes(t testing.TB, b []byte, kind string) []int {
	t.Helper()
	moov := bytes.Index(b, []byte("moov"))
	if moov < 0 {
		t.Fatal("no moov box")
	}
	end := moov - 4 + int(binary.BigEndian.Uint32(b[moov-4:]))
	var out []int
	for i := moov; ; {
		n := bytes.Index(b[i:end], []byte(kind))
		if n < 0 {
			return out
		}
		i += n + 4
		out = append(out, i)
	}
}

// setMatrix writes the display matrix (a b u, c d v, x y w) of every track.
// It is patched into the file because ffmpeg's own rotate tag writes the
// opposite turn.
func setMatrix(t testing.TB, path string, m [9]int32) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range boxes(t, b, "tkhd") {
		at += 40 // version 0: flags, times, id, duration, reserved, layer, group, volume
		for i, v := range m {
			binary.BigEndian.PutUint32(b[at+4*i:], uint32(v))
		}
	}
	write(t, path, b)
}

func write(t testing.TB, path string, b []byte) string {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func read(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// codes lists the codes of warnings.
func codes(ws []swing.Warning) []string {
	var out []string
	for _, w := range ws {
		out = append(out, w.Code)
	}
	return out
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// script writes a program that stands in for ffmpeg or ffprobe.
func script(t testing.TB, body string) string {
	t.Helper()
	p := filepath.Join(t.TempDir(), "stand-in")
	if err := os.WriteFile(p, []byte("#!/bin/sh\n"+body+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	return p
}

package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// A hitter named by a flag or by folders is stored; others are not, and then not
// even a file is made.
func TestAnalyzeFillsTheStore(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "records.db")
	out := filepath.Join(dir, "out")
	plain := clip(t, dir, "PXL_20260102_1.mp4", "good 1")
	if code, _, stderr := try(t, "analyze", plain, "--out", out, "--store", file); code != exitDone || exists(file) {
		t.Fatalf("exit code %d, store made: %v\n%s", code, exists(file), stderr)
	}
	if code, _, stderr := try(t, "analyze", plain, "--out", out, "--store", "none", "--hitter", "Sam"); code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	if code, _, stderr := try(t, "analyze", plain, "--out", out, "--store", file, "--hitter", "Sam", "--bats", "L", "--level", "adult", "--height", "1.80"); code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	clip(t, filepath.Join(dir, "in", "Jo Doe", "2026-03-04"), "a.mp4", "good 2")
	clip(t, filepath.Join(dir, "in", "Jo Doe", "notes"), "b.mp4", "good 3")
	if code, _, stderr := try(t, "analyze", filepath.Join(dir, "in"), "--out", out, "--store", file); code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	r, err := store.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	all, err := r.Hitters(t.Context(), nil)
	if err != nil || len(all) != 2 {
		t.Fatalf("%+v %v", all, err)
	}
	jo, sam := all[0], all[1]
	if jo.Name != "Jo Doe" || jo.Clips != 1 || jo.LastShot != "2026-03-04" || jo.Level != "" || jo.HeightM != 0 {
		t.Errorf("%+v", jo)
	}
	if sam.Name != "Sam" || sam.Clips != 1 || sam.LastShot != "2026-01-02" || sam.Bats != "L" || sam.Level != "adult" || sam.Sport != "" || sam.HeightM != 1.8 {
		t.Errorf("%+v", sam)
	}
	h, err := r.History(t.Context(), nil, sam.ID)
	if err != nil || len(h) != 1 {
		t.Fatalf("%+v %v", h, err)
	}
	doc, ok, err := r.Document(t.Context(), nil, h[0].Analysis)
	if want, rerr := os.ReadFile(filepath.Join(h[0].Folder, analysisFile)); err != nil || rerr != nil || !ok || !bytes.Equal(doc, want) {
		t.Errorf("%v %v: the stored analysis is not the file", err, rerr)
	}
	if _, ok, err := r.Still(t.Context(), nil, h[0].Analysis, 0, "plant"); !ok || err != nil {
		t.Errorf("no picture of the plant: %v", err)
	}
}

// A store that cannot be written is a warning; the analysis is there.
func TestBrokenStoreLosesNothing(t *testing.T) {
	dir := t.TempDir()
	broken := clip(t, dir, "broken.db", "this is no database, but long enough to look like one to whoever reads its first hundred bytes and more")
	out := filepath.Join(dir, "out")
	code, stdout, stderr := try(t, "analyze", clip(t, dir, "a.mp4", "good"), "--out", out, "--store", broken, "--hitter", "Sam")
	if code != exitDone || !exists(filepath.Join(out, "a", analysisFile)) {
		t.Errorf("exit code %d\n%s", code, stderr)
	}
	mustContain(t, stdout, "the results are written, but not in the store", "the setting store names another place")
	for shot, text := range map[string]string{"yesterday": "must be a day that has been", "2999-01-01": "must be a day that has been"} {
		code, _, stderr := try(t, "analyze", filepath.Join(dir, "a.mp4"), "--out", out, "--shot", shot)
		if code != exitUsage {
			t.Errorf("%s: exit code %d", shot, code)
		}
		mustContain(t, stderr, text)
	}
}

// The hitter is cut out of a still at the still's own size.
func TestHitterIsCutOut(t *testing.T) {
	var s swing.Swing
	s.Events = map[swing.EventName]swing.Event{swing.Plant: {Time: 0.5}}
	s.Track = standing() // x 50, y 86 to 242
	row := 5
	s.Bat.Sights = make([]swing.BatSight, len(s.Track.Times))
	s.Bat.Sights[row] = swing.BatSight{Seen: true, Knob: swing.Point{X: 60, Y: 120}, Tip: swing.Point{X: 90, Y: 60}}
	still := image.Rect(0, 0, 1000, 800) // twice the clip's size
	if got, want := hitterAt(still, &s, swing.Plant, 500), image.Rect(75, 87, 205, 509); got != want {
		t.Errorf("%v, want %v", got, want)
	}
	s.Bat.Sights = nil
	if got := hitterAt(still, &s, swing.Plant, 500); got != still { // a body without a width
		t.Errorf("%v", got)
	}
	if got := hitterAt(still, &s, swing.Contact, 500); got != still {
		t.Errorf("%v", got)
	}
	m := image.NewGray(still)
	m.SetGray(60, 70, color.Gray{Y: 200})
	part := cut(m, image.Rect(56, 63, 224, 528))
	if v, _, _, _ := part.At(4, 7).RGBA(); part.Bounds() != image.Rect(0, 0, 168, 465) || v>>8 != 200 {
		t.Errorf("%v %d", part.Bounds(), v>>8)
	}
	jpg, err := asJPEG(image.NewGray(image.Rect(0, 0, 300, 1800)), 900)
	if err != nil {
		t.Fatal(err)
	}
	small, err := jpeg.Decode(bytes.NewReader(jpg))
	if err != nil || small.Bounds().Dx() != 150 || small.Bounds().Dy() != 900 {
		t.Errorf("%v %v", small.Bounds(), err)
	}
	if m, err := readPNG(filepath.Join(t.TempDir(), "x.png")); m != nil || err != nil {
		t.Errorf("a picture that is not there: %v", err)
	}
}

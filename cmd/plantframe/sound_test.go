package main

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
)

// dub writes a sample clip with another sound: the ambience at a twentieth of
// full scale and, unless h is "", a hit in it that arrives at time at, s, snr dB
// over it.
func dub(t *testing.T, name, dir string, a swingtest.Ambience, h swingtest.Hit, at, snr float64) {
	t.Helper()
	const quiet = 0.05
	x := a.Samples(3, 4)
	for i := range x {
		x[i] *= quiet
	}
	if h != "" {
		hit := h.Samples(4)
		swingtest.AddAt(x, hit, at, quiet*math.Pow(10, snr/20)/math.Sqrt(swingtest.Power(hit)))
	}
	var b bytes.Buffer
	if err := binary.Write(&b, binary.LittleEndian, swingtest.Floats(x)); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("ffmpeg", "-hide_banner", "-v", "error", "-i", filepath.Join("../../testdata/clips", name+".mp4"),
		"-f", "f32le", "-ar", "48000", "-ac", "1", "-i", "pipe:0",
		"-map", "0:v", "-map", "1:a", "-c:v", "copy", "-c:a", "aac", "-shortest", filepath.Join(dir, name+".mp4"))
	cmd.Stdin = &b
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
}

// TestSampleClipsWithSound: the sample clips with a hit in their sound, and
// with sound but without a hit, through the whole program. The camera of
// open-right stands 5.5 m from the hitter; the hit happens at 1.940 s.
func TestSampleClipsWithSound(t *testing.T) {
	in, out := t.TempDir(), t.TempDir()
	dub(t, "open-right", in, swingtest.Pink, swingtest.Wood, 1.940+5.48/343.2, 10)
	dub(t, "open-left", in, swingtest.Speech, "", 0, 0)
	var stdout, stderr bytes.Buffer
	code := run(t.Context(), []string{"analyze", in, "--out", out, "--no-cache", "--no-overlay"}, &stdout, &stderr)
	if code != 0 {
		t.Fatalf("exit code %d\n%s\n%s", code, stdout.String(), stderr.String())
	}
	contact := func(name string) swing.Event {
		doc, err := os.ReadFile(filepath.Join(out, name, "analysis.json"))
		if err != nil {
			t.Fatal(err)
		}
		a, err := output.ReadJSON(bytes.NewReader(doc))
		if err != nil || len(a.Swings) != 1 {
			t.Fatalf("%s: %d swings, %v", name, len(a.Swings), err)
		}
		return a.Swings[0].Events[swing.Contact]
	}
	// The way to the microphone is known to a fifth: 3 ms.
	if e := contact("open-right"); e.Method != "sound" || math.Abs(e.Time-1.940) > 0.006 || e.Sigma > 0.008 {
		t.Errorf("with a hit: off by %+.1f ms, %+v", 1e3*(e.Time-1.940), e)
	}
	if e := contact("open-left"); e.Method == "sound" || math.Abs(e.Time-1.740) > 0.040 {
		t.Errorf("without a hit: off by %+.1f ms, %+v", 1e3*(e.Time-1.740), e)
	}
}

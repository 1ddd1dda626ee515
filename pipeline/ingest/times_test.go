package ingest

import (
	"path/filepath"
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

// uneven is a filter that gives every frame a time of its own: 40 to 90
// frames a second, as a phone does in poor light.
const uneven = "settb=1/90000,setpts='(N/60+0.004*sin(N*1.7))/TB'"

// timedClips makes one clip of every kind of timing.
func timedClips(t *testing.T) map[string]string {
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	const src = "testsrc2=s=96x64:d=1.2:r="
	clips := map[string]string{
		"constant 30":      h264(t, in("c30.mp4"), src+"30", "-g", "12"),
		"NTSC 59.94":       h264(t, in("ntsc.mp4"), src+"60000/1001", "-preset", "medium", "-bf", "3", "-g", "25"),
		"240 a second":     h264(t, in("c240.mov"), src+"240", "-g", "60"),
		"variable, B":      h264(t, in("vfr.mp4"), src+"60", "-vf", uneven, "-fps_mode", "passthrough", "-enc_time_base", "1/90000", "-preset", "medium", "-bf", "3", "-g", "20"),
		"HEVC, open group": ffmpeg(t, in("hevc.mov"), "-f", "lavfi", "-i", src+"60", "-pix_fmt", "yuv420p", "-c:v", "libx265", "-preset", "ultrafast", "-bf", "3", "-g", "20", "-tag:v", "hvc1"),
		"matroska":         h264(t, in("m.mkv"), src+"60", "-preset", "medium", "-bf", "2", "-g", "20"),
		"with sound":       ffmpeg(t, in("sound.mp4"), "-f", "lavfi", "-i", "sine=d=1.6", "-f", "lavfi", "-i", src+"30", "-pix_fmt", "yuv420p", "-c:v", "libx264", "-g", "10", "-c:a", "aac"),
		"no times (AVI)":   ffmpeg(t, in("avi.avi"), "-f", "lavfi", "-i", src+"30", "-c:v", "mpeg4", "-g", "10"),
	}
	// Cut at a frame that is no key frame: the file keeps the frames before
	// and an edit list hides them.
	clips["edit list"] = ffmpeg(t, in("cut.mp4"), "-ss", "0.55", "-i", clips["NTSC 59.94"], "-c", "copy")
	clips["starts late"] = ffmpeg(t, in("late.mkv"), "-i", clips["matroska"], "-c", "copy", "-output_ts_offset", "3.4")
	return clips
}

// Times must be ffprobe's own, to the microsecond, and a window must deliver
// exactly the frames of the whole clip that lie in it, with the same indices.
func TestTimes(t *testing.T) {
	t.Parallel()
	for name, path := range timedClips(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			want := ownTimes(t, path)
			clip := probe(t, path)
			full, warnings := decode(t, clip, OpenOptions{}, true)
			if len(warnings) != 0 || len(clip.Warnings) != 0 {
				t.Errorf("an intact clip gives warnings %v %v", clip.Warnings, warnings)
			}
			if len(full) != len(want) || clip.Frames != len(want) || len(want) < 20 {
				t.Fatalf("%d frames, probe says %d, ffprobe decodes %d", len(full), clip.Frames, len(want))
			}
			for i, f := range full {
				if f.Index != i || !near(f.Time, want[i], 1.5e-6) {
					t.Fatalf("frame %d: index %d at %.6f, want %.6f", i, f.Index, f.Time, want[i])
				}
			}
			if wantVar := name == "variable, B"; clip.Variable != wantVar {
				t.Errorf("variable is %v, want %v", clip.Variable, wantVar)
			}
			if span := want[len(want)-1] - want[0]; !near(clip.Duration, span+span/float64(len(want)-1), 1e-3) {
				t.Errorf("duration is %g for a span of %g", clip.Duration, span)
			}
			n := len(full)
			for _, w := range [][2]int{{1, n / 3}, {n/2 + 3, n/2 + 9}, {n - 3, n}} {
				checkWindow(t, clip, full, w[0], w[1])
			}
		})
	}
}

// checkWindow compares the window that holds frames a to b-1 with the same
// part of the whole clip.
func checkWindow(t *testing.T, clip swing.Clip, full []shot, a, b int) {
	t.Helper()
	o := OpenOptions{From: full[a].Time}
	if b < len(full) {
		o.To = full[b].Time
	}
	part, warnings := decode(t, clip, o, true)
	if len(warnings) != 0 {
		t.Errorf("window %d..%d warns %v", a, b, warnings)
	}
	if len(part) != b-a {
		t.Fatalf("window %d..%d has %d frames", a, b, len(part))
	}
	for i, f := range part {
		g := full[a+i]
		if f.Index != g.Index || f.Time != g.Time {
			t.Fatalf("window %d..%d: index %d at %.6f, in the whole clip %d at %.6f", a, b, f.Index, f.Time, g.Index, g.Time)
		}
		if !slices.Equal(f.pix, g.pix) {
			t.Fatalf("window %d..%d: the picture of frame %d differs", a, b, f.Index)
		}
	}
}

func TestWindowWithoutFrames(t *testing.T) {
	t.Parallel()
	path := h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=96x64:d=1:r=30")
	r, err := Open(t.Context(), probe(t, path), OpenOptions{From: 5, To: 6})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for _, err := range r.Frames() {
		if err == nil {
			t.Fatal("a frame from outside the clip")
		}
		wantError(t, err, "too-short", "no frame between 5.000 and 6.000 s")
		return
	}
	t.Fatal("no error")
}

// The clock repairs what decoders get wrong.
func TestClock(t *testing.T) {
	t.Parallel()
	table := timetable{whole: true, times: []float64{0, 0.1, 0.2, 0.3, 0.4, 0.5}}
	var c clock
	c.begin(&table, 10, 0)
	type result struct {
		index int
		at    float64
		ok    bool
	}
	for i, s := range []struct {
		micros int64
		want   result
	}{
		{0, result{0, 0, true}},
		{100_000, result{1, 0.1, true}},
		{noTime, result{2, 0.2, true}},   // put after the one before
		{200_000, result{0, 0, false}},   // would stand still
		{150_000, result{0, 0, false}},   // would run back
		{400_000, result{4, 0.4, true}},  // 0.3 was lost: a hole
		{450_000, result{5, 0.45, true}}, // unknown to the container
		{500_000, result{6, 0.5, true}},  // indices never repeat
	} {
		index, at, ok := c.place(s.micros)
		if ok != s.want.ok || ok && (index != s.want.index || !near(at, s.want.at, 1e-9)) {
			t.Errorf("step %d: got %d %g %v, want %v", i, index, at, ok, s.want)
		}
	}
	if c.made != 1 || c.dropped != 2 {
		t.Errorf("made %d, dropped %d", c.made, c.dropped)
	}
}

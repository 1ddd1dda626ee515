package ingest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"plantframe/pipeline/swing"
)

// click is sound that is silent but for a millisecond of 3 kHz from t on.
func click(t float64, rate int) string {
	return fmt.Sprintf("aevalsrc='if(between(t,%g,%g),0.9*sin(2*PI*3000*(t-%g)),0)':s=%d:d=3", t, t+0.001, t, rate)
}

// flash is black video that turns white at the first frame at or after t; the
// click belongs to that frame.
const flash = "color=black:s=96x64:r=60:d=3,geq=lum='if(gte(T,%g),235,16)':cb=128:cr=128"

// firstBright returns the time of the first white frame of a clip.
func firstBright(t *testing.T, c swing.Clip) float64 {
	t.Helper()
	shots, _ := decode(t, c, OpenOptions{}, true)
	for _, s := range shots {
		if s.at(0.5, 0.5)[1] > 128 {
			return s.Time
		}
	}
	t.Fatal("no white frame")
	return 0
}

// firstLoud returns the time at which the sound first reaches a tenth of its
// peak.
func firstLoud(t *testing.T, s swing.Sound) float64 {
	t.Helper()
	top := float32(0)
	for _, v := range s.Samples {
		top = max(top, v, -v)
	}
	if top < 0.05 {
		t.Fatalf("the loudest of %d samples is %g", len(s.Samples), top)
	}
	for i, v := range s.Samples {
		if max(v, -v) > top/10 {
			return s.Start + float64(i)/float64(s.Rate)
		}
	}
	return 0
}

// syncClips makes clips in which flash and click happen together, of every
// kind of timing, and the error of the click that the coder itself makes, s.
func syncClips(t *testing.T) map[string]string {
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	video := []string{"-map", "0:v", "-map", "1:a", "-pix_fmt", "yuv420p", "-c:v", "libx264", "-preset", "ultrafast", "-g", "15"}
	make := func(name, vf string, at float64, rate int, more ...string) string {
		args := []string{"-f", "lavfi", "-i", fmt.Sprintf(flash, 1.2) + vf, "-f", "lavfi", "-i", click(at, rate)}
		return ffmpeg(t, in(name), append(append(args, video...), more...)...)
	}
	clips := map[string]string{
		"mp4, AAC":           make("aac.mp4", "", 1.2, 48000, "-c:a", "aac"),
		"mp4, AAC, 44100":    make("aac44.mp4", "", 1.2, 44100, "-c:a", "aac"),
		"mp4, AAC, 16000":    make("aac16.mp4", "", 1.2, 16000, "-c:a", "aac"),
		"mov, PCM":           make("pcm.mov", "", 1.2, 44100, "-c:a", "pcm_s16le"),
		"mov, PCM, stereo":   make("two.mov", "", 1.2, 48000, "-c:a", "pcm_s16le", "-ac", "2"),
		"matroska, AAC":      make("aac.mkv", "", 1.2, 44100, "-c:a", "aac"),
		"matroska, late":     make("late.mkv", "", 1.2, 48000, "-c:a", "aac", "-output_ts_offset", "3.4"),
		"mp4, late":          make("late.mp4", "", 1.2, 48000, "-c:a", "aac", "-output_ts_offset", "2.5"),
		"fragmented":         make("frag.mp4", "", 1.2, 48000, "-c:a", "aac", "-movflags", "frag_keyframe+empty_moov"),
		"sound starts later": ffmpeg(t, in("later.mp4"), append([]string{"-f", "lavfi", "-i", fmt.Sprintf(flash, 1.2), "-itsoffset", "0.37", "-f", "lavfi", "-i", click(1.2-0.37, 48000)}, append(video, "-c:a", "aac")...)...),
		"picture starts later": ffmpeg(t, in("plater.mov"), append([]string{"-itsoffset", "0.25", "-f", "lavfi", "-i", fmt.Sprintf(flash, 0.95), "-f", "lavfi", "-i", click(1.2, 48000)},
			append(video, "-c:a", "pcm_s16le")...)...),
		// The frame that turns white is number 72 and comes at this time.
		"variable rate": make("vfr.mp4", ","+uneven, 1.2+0.004*math.Sin(72*1.7), 48000, "-c:a", "aac", "-fps_mode", "passthrough", "-enc_time_base", "1/90000"),
	}
	// Cut without coding again, at a frame that is no key frame: edit lists
	// hide what comes before.
	clips["edit list"] = ffmpeg(t, in("cut.mp4"), "-ss", "0.55", "-i", clips["mp4, AAC"], "-c", "copy")
	return clips
}

// The click lies on the frame that turns white, whatever the container does to
// the times, in the whole sound as in a window of it.
func TestSoundIsInStep(t *testing.T) {
	t.Parallel()
	for name, path := range syncClips(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			clip := probe(t, path)
			want := firstBright(t, clip)
			// Sharpest where nothing was coded; a coder smears the edge by
			// some of its shortest blocks, Matroska rounds to milliseconds.
			tol := 0.003
			if filepath.Ext(path) == ".mov" {
				tol = 0.0002
			}
			for _, o := range []SoundOptions{{}, {From: want - 0.3, To: want + 0.3}, {From: want - 0.05}} {
				s, warnings, err := ReadSound(context.Background(), clip, o)
				if err != nil || len(warnings) != 0 || len(s.Gaps) != 0 {
					t.Fatalf("%+v: %v %v %v", o, warnings, s.Gaps, err)
				}
				if got := firstLoud(t, s); !near(got, want, tol) {
					t.Errorf("%+v: click at %.4f, flash at %.4f", o, got, want)
				}
				if o.To > 0 && (!near(s.Start, o.From, 1e-3) || !near(s.End(), o.To, 1e-3)) {
					t.Errorf("%+v: sound from %.4f to %.4f", o, s.Start, s.End())
				}
			}
		})
	}
}

// Clips without sound, with a damaged and with an unreadable track.
func TestSoundThatIsNotThere(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	silent := h264(t, filepath.Join(dir, "silent.mp4"), "testsrc2=s=96x64:r=30:d=1")
	s, warnings, err := ReadSound(context.Background(), probe(t, silent), SoundOptions{})
	if err != nil || len(warnings) != 0 || len(s.Samples) != 0 {
		t.Errorf("without a track: %d samples, %v, %v", len(s.Samples), warnings, err)
	}

	sound := ffmpeg(t, filepath.Join(dir, "sound.mp4"), "-f", "lavfi", "-i", "anoisesrc=a=0.3:d=4:r=48000", "-f", "lavfi", "-i", "testsrc2=s=96x64:r=30:d=4",
		"-pix_fmt", "yuv420p", "-c:v", "libx264", "-c:a", "aac", "-b:a", "256k")
	b := read(t, sound)
	for i := len(b) / 3; i < 2*len(b)/3; i += 97 {
		b[i] ^= 0x5a
	}
	bad := write(t, filepath.Join(dir, "bad.mp4"), b)
	s, warnings, err = ReadSound(context.Background(), probe(t, bad), SoundOptions{})
	if err != nil || len(warnings) == 0 || warnings[0].Code != "sound-damaged" || len(s.Samples) < SoundRate {
		t.Errorf("damaged: %d samples, %v, %v", len(s.Samples), warnings, err)
	}

	b = read(t, ffmpeg(t, filepath.Join(dir, "plain.mov"), "-i", sound, "-c:v", "copy", "-c:a", "pcm_s16le"))
	for _, at := range boxes(t, b, "sowt") { // a coder that nobody knows
		copy(b[at-4:], "zzzz")
	}
	clip := probe(t, write(t, filepath.Join(dir, "unknown.mov"), b))
	s, warnings, err = ReadSound(context.Background(), clip, SoundOptions{})
	if err != nil || len(s.Samples) != 0 || len(warnings) != 1 || warnings[0].Code != "sound-unreadable" {
		t.Errorf("unknown coder: %d samples, %v, %v", len(s.Samples), warnings, err)
	}

	s, warnings, err = ReadSound(context.Background(), probe(t, sound), SoundOptions{MaxSeconds: 1.5})
	if err != nil || len(s.Samples) != 3*SoundRate/2 || len(warnings) != 1 || warnings[0].Code != "sound-cut" {
		t.Errorf("limit: %d samples, %v, %v", len(s.Samples), warnings, err)
	}
}

// A stream with a hole keeps its clock.
func TestSoundWithAHole(t *testing.T) {
	t.Parallel()
	path := ffmpeg(t, filepath.Join(t.TempDir(), "hole.mkv"), "-f", "lavfi", "-i", "testsrc2=s=96x64:r=30:d=3", "-f", "lavfi", "-i", click(2, 48000),
		"-af", "aselect='not(between(t,0.5,1.1))'", "-c:v", "libx264", "-pix_fmt", "yuv420p", "-c:a", "pcm_s16le")
	s, warnings, err := ReadSound(context.Background(), probe(t, path), SoundOptions{})
	if err != nil || len(warnings) != 1 || warnings[0].Code != "sound-gaps" || len(s.Gaps) != 1 {
		t.Fatalf("%v, gaps %v, %v", warnings, s.Gaps, err)
	}
	if g := s.Gaps[0]; !near(g[0], 0.5, 0.05) || !near(g[1], 1.1, 0.05) {
		t.Errorf("gap %v", g)
	}
	if got := firstLoud(t, s); !near(got, 2, 0.0015) {
		t.Errorf("click at %.4f", got)
	}
}

func TestSoundErrors(t *testing.T) {
	clip := swing.Clip{Path: "nothing.mp4", Audio: true}
	_, _, err := ReadSound(context.Background(), clip, SoundOptions{})
	wantError(t, err, swing.KindMissing, "")
	_, _, err = ReadSound(context.Background(), clip, SoundOptions{From: 2, To: 1})
	wantError(t, err, swing.KindUsage, "time window")
	_, _, err = ReadSound(context.Background(), clip, SoundOptions{MaxSeconds: math.NaN()})
	wantError(t, err, swing.KindUsage, "longest")
	clip.Path = h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=96x64:r=30:d=1")
	_, _, err = ReadSound(context.Background(), clip, SoundOptions{Options: Options{FFmpeg: "no-such-program"}})
	wantError(t, err, swing.KindMissing, "not installed")
}

// A cancelled and a stalled program are killed, and nothing is left running.
func TestSoundStops(t *testing.T) {
	clip := swing.Clip{Path: h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=96x64:r=30:d=1"), Audio: true}
	before := runtime.NumGoroutine()
	stuck := Options{FFmpeg: script(t, "sleep 60 & sleep 60")}
	ctx, cancel := context.WithTimeout(context.Background(), 200*time.Millisecond)
	defer cancel()
	start := time.Now()
	_, _, err := ReadSound(ctx, clip, SoundOptions{Options: stuck})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("cancelled: %v", err)
	}
	stuck.StallTimeout = 200 * time.Millisecond
	_, warnings, err := ReadSound(context.Background(), clip, SoundOptions{Options: stuck})
	if err != nil || len(warnings) != 1 || warnings[0].Code != "sound-damaged" {
		t.Errorf("stalled: %v, %v", warnings, err)
	}
	if d := time.Since(start); d > 4*time.Second {
		t.Errorf("stopping took %v", d)
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines before, %d after", before, runtime.NumGoroutine())
}

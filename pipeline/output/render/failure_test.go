package render

import (
	"context"
	"errors"
	"iter"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"plantframe/pipeline/swing"
)

// wantError checks kind and hint, and that nothing but what was there before
// is left in dir.
func wantError(t *testing.T, err error, kind swing.Kind, dir, before string) *swing.Error {
	t.Helper()
	var e *swing.Error
	if !errors.As(err, &e) {
		t.Fatalf("error is %v", err)
	}
	if e.Kind != kind || e.Hint == "" || e.Msg == "" {
		t.Errorf("kind %q, message %q, hint %q; want kind %q", e.Kind, e.Msg, e.Hint, kind)
	}
	if got := leftovers(t, dir); got != before {
		t.Errorf("left behind: %q, want %q", got, before)
	}
	return e
}

func TestCancelLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	old := filepath.Join(dir, "overlay.mp4")
	if err := os.WriteFile(old, []byte("of last week"), 0o644); err != nil {
		t.Fatal(err)
	}
	m := steadyClip(640, 360, 60, 3)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	goroutines := runtime.NumGoroutine()
	var stopped time.Time
	frames := func(yield func(swing.Frame, error) bool) {
		for f, err := range m.frames() {
			if f.Index == 80 { // stills and video are under way
				cancel()
				stopped = time.Now()
			}
			if !yield(f, err) {
				return
			}
		}
	}
	err := Draw(ctx, frames, analysisOf(m, 1, swingEvents()), dir, quickOptions(), nil)
	if d := time.Since(stopped); d > time.Second {
		t.Errorf("stopping took %v", d)
	}
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v does not say that it was cancelled", err)
	}
	wantError(t, err, swing.KindOutput, dir, "overlay.mp4")
	if b, _ := os.ReadFile(old); string(b) != "of last week" {
		t.Error("the old video is gone")
	}
	for deadline := time.Now().Add(2 * time.Second); runtime.NumGoroutine() > goroutines; {
		if time.Now().After(deadline) {
			t.Fatalf("%d goroutines stay", runtime.NumGoroutine()-goroutines)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

func TestFoldersMadeAreRemovedAgain(t *testing.T) {
	root := t.TempDir()
	m := steadyClip(320, 180, 30, 2)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := Draw(ctx, m.frames(), analysisOf(m, 0.5, swingEvents()), filepath.Join(root, "a", "b"), quickOptions(), nil)
	wantError(t, err, swing.KindOutput, root, "")
}

// script writes a stand-in for the encoder.
func script(t *testing.T, body string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "encoder")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+body), 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestDiskFull(t *testing.T) {
	real, err := exec.LookPath("ffmpeg")
	if err != nil {
		t.Fatal(err)
	}
	for name, body := range map[string]string{
		// The true encoder with a limit of 16 KiB on its file: writing fails
		// in the middle, as on a full disk.
		"size limit": "trap '' XFSZ\nulimit -f 32\nexec " + real + " \"$@\"\n",
		// The system's words when a disk is full.
		"no space": "echo 'av_interleaved_write_frame(): No space left on device' >&2\nseq -f 'consequence number %g' 40 >&2\nexec head -c 100000 >/dev/null\n",
	} {
		t.Run(name, func(t *testing.T) {
			m := steadyClip(640, 360, 60, 2)
			o := quickOptions()
			o.FFmpeg = script(t, body)
			o.CRF = 1 // large files
			dir := t.TempDir()
			err := Draw(context.Background(), m.frames(), analysisOf(m, 1, swingEvents()), dir, o, nil)
			e := wantError(t, err, swing.KindOutput, dir, "")
			if !strings.Contains(e.Msg, "no room") {
				t.Errorf("message %q (%v)", e.Msg, e.Err)
			}
			if e.Err == nil || len(e.Err.Error()) > 40 || !strings.Contains(e.Hint, "free some disk space") {
				t.Errorf("the user reads %q, hint %q: want one sentence", e.Error(), e.Hint)
			}
		})
	}
}

func TestEncoderThatEndsEarlyOrWritesRubbish(t *testing.T) {
	for name, body := range map[string]string{
		"dies at once":    "exit 3\n",
		"writes nothing":  "exec cat >/dev/null\n",
		"writes rubbish":  "cat >/dev/null; for f; do :; done; echo rubbish rubbish > \"${f#file:}\"\n",
		"complains":       "cat >/dev/null; echo 'something is wrong' >&2\n",
		"killed":          "kill -9 $$\n",
		"index is lost":   "cat >/dev/null; for f; do :; done; printf '\\000\\000\\000\\010ftyp\\000\\000\\000\\020mdat12345678' > \"${f#file:}\"\n",
		"file is cut off": "cat >/dev/null; for f; do :; done; printf '\\000\\000\\000\\010ftyp\\000\\000\\001\\020moov1' > \"${f#file:}\"\n",
	} {
		t.Run(name, func(t *testing.T) {
			m := steadyClip(320, 180, 60, 2)
			o := quickOptions()
			o.FFmpeg = script(t, body)
			dir := t.TempDir()
			err := Draw(context.Background(), m.frames(), analysisOf(m, 0.5, swingEvents()), dir, o, nil)
			wantError(t, err, swing.KindOutput, dir, "")
		})
	}
}

func TestNoEncoder(t *testing.T) {
	for _, name := range []string{"no-such-encoder", filepath.Join(t.TempDir(), "nothing")} {
		m := steadyClip(320, 180, 30, 2)
		o := quickOptions()
		o.FFmpeg = name
		dir := t.TempDir()
		err := Draw(context.Background(), m.frames(), analysisOf(m, 0.5, swingEvents()), dir, o, nil)
		wantError(t, err, swing.KindMissing, dir, "")
	}
}

func TestFolderThatCannotBe(t *testing.T) {
	root := t.TempDir()
	file := filepath.Join(root, "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	m := steadyClip(320, 180, 30, 2)
	err := Draw(context.Background(), m.frames(), analysisOf(m, 0.5, swingEvents()), filepath.Join(file, "out"), quickOptions(), nil)
	wantError(t, err, swing.KindOutput, root, "file")

	// A folder stands where the video has to go: found out only at the end.
	blocked := filepath.Join(root, "blocked")
	if err := os.MkdirAll(filepath.Join(blocked, "overlay.mp4"), 0o755); err != nil {
		t.Fatal(err)
	}
	err = Draw(context.Background(), m.frames(), analysisOf(m, 0.5, swingEvents()), blocked, quickOptions(), nil)
	wantError(t, err, swing.KindOutput, blocked, "overlay.mp4")
}

func TestFramesThatFail(t *testing.T) {
	m := steadyClip(320, 180, 30, 2)
	a := analysisOf(m, 0.5, swingEvents())
	broken := &swing.Error{Op: "ingest.Frames", Frame: 20, Kind: swing.KindUnreadable, Msg: "the file is damaged", Hint: "copy it again"}
	at := func(change func(f *swing.Frame) error) iter.Seq2[swing.Frame, error] {
		return func(yield func(swing.Frame, error) bool) {
			for f := range m.frames() {
				var err error
				if f.Index == 20 {
					err = change(&f)
				}
				if !yield(f, err) {
					return
				}
			}
		}
	}
	for name, frames := range map[string]iter.Seq2[swing.Frame, error]{
		"damage":      at(func(*swing.Frame) error { return broken }),
		"other size":  at(func(f *swing.Frame) error { f.Width /= 2; return nil }),
		"short frame": at(func(f *swing.Frame) error { f.Pix = f.Pix[:100]; return nil }),
	} {
		dir := t.TempDir()
		err := Draw(context.Background(), frames, a, dir, quickOptions(), nil)
		e := wantError(t, err, swing.KindUnreadable, dir, "")
		if e.Frame != 20 {
			t.Errorf("%s: frame %d", name, e.Frame)
		}
		if name == "damage" && !errors.Is(err, broken) {
			t.Errorf("damage is reported as %v", err)
		}
	}
	dir := t.TempDir()
	none := func(func(swing.Frame, error) bool) {}
	wantError(t, Draw(context.Background(), none, a, dir, quickOptions(), nil), swing.KindOutput, dir, "")
}

func TestFailureNamesTheRemedy(t *testing.T) {
	for cause, want := range map[error]string{
		syscall.ENOSPC:           "no room",
		syscall.EDQUOT:           "no room",
		syscall.EROFS:            "cannot be written",
		os.ErrPermission:         "cannot be written",
		context.DeadlineExceeded: "stopped",
		errors.New("anything"):   "cannot be written",
	} {
		var e *swing.Error
		err := failure("render.Draw", "a.mp4", cause)
		if !errors.As(err, &e) || !strings.Contains(e.Msg, want) || e.Hint == "" || !errors.Is(err, cause) {
			t.Errorf("%v: %v", cause, err)
		}
	}
}

func TestOptions(t *testing.T) {
	if err := DefaultOptions().Validate(); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(o *Options){
		"scale": func(o *Options) { o.Scale = 0 }, "lead_in": func(o *Options) { o.LeadIn = -1 },
		"slow_factor": func(o *Options) { o.SlowFactor = 0.5 }, "hold": func(o *Options) { o.Hold = 11 },
		"max_fps": func(o *Options) { o.MaxFPS = 1 }, "crf": func(o *Options) { o.CRF = 52 },
		"preset": func(o *Options) { o.Preset = "" }, "ffmpeg": func(o *Options) { o.FFmpeg = "" },
	} {
		o := DefaultOptions()
		spoil(&o)
		var e *swing.Error
		if err := o.Validate(); !errors.As(err, &e) || e.Kind != swing.KindUsage || !strings.Contains(e.Msg, name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

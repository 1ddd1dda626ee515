package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"plantframe/pipeline/swing"
)

// wantError checks kind and text of the one error type, and that there is a
// single sentence without a trace of the program's inside.
func wantError(t *testing.T, err error, kind swing.Kind, text string) {
	t.Helper()
	var e *swing.Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v, want a *swing.Error of kind %s", err, kind)
	}
	if e.Kind != kind || !strings.Contains(e.Msg, text) {
		t.Errorf("got kind %q, %q; want %q, %q", e.Kind, e.Msg, kind, text)
	}
	if strings.ContainsAny(e.Msg, "\n\t") || strings.Contains(e.Msg, "0x") || strings.HasSuffix(e.Msg, ".") {
		t.Errorf("not a plain sentence: %q", e.Msg)
	}
}

// gone tells whether no process of the group is left, the dead that nobody has
// collected yet not counted.
func gone(group int) bool {
	stats, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, p := range stats {
		b, err := os.ReadFile(p)
		if err != nil {
			continue // ended meanwhile
		}
		// pid (name) state parent group ...; the name may hold anything.
		f := strings.Fields(string(b[bytes.LastIndexByte(b, ')')+1:]))
		if len(f) > 2 && f[0] != "Z" && f[0] != "X" && f[2] == strconv.Itoa(group) {
			return false
		}
	}
	return len(stats) > 0
}

// Leaving early, by whatever way, ends ffmpeg and every goroutine.
func TestNothingIsLeftBehind(t *testing.T) {
	path := h264(t, filepath.Join(t.TempDir(), "long.mp4"), "testsrc2=s=320x240:r=60:d=20")
	clip := probe(t, path)
	ways := map[string]func(t *testing.T, r *Reader, cancel func()){
		"break": func(t *testing.T, r *Reader, _ func()) {
			n := 0
			for range r.Frames() {
				if n++; n == 5 {
					break
				}
			}
		},
		"cancel": func(t *testing.T, r *Reader, cancel func()) {
			n := 0
			var last error
			start := time.Now()
			for _, err := range r.Frames() {
				if n++; n == 5 {
					cancel()
					start = time.Now()
				}
				last = err
			}
			if !errors.Is(last, context.Canceled) {
				t.Errorf("the loop ends with %v", last)
			}
			if d := time.Since(start); d > time.Second {
				t.Errorf("stopping took %v", d)
			}
		},
		"close at once": func(*testing.T, *Reader, func()) {},
		"to the end":    func(t *testing.T, r *Reader, _ func()) { drain(t, r) },
	}
	for name, leave := range ways {
		t.Run(name, func(t *testing.T) {
			before := runtime.NumGoroutine()
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			r, err := Open(ctx, clip, OpenOptions{})
			if err != nil {
				t.Fatal(err)
			}
			leave(t, r, cancel)
			if err := errors.Join(r.Close(), r.Close()); err != nil {
				t.Error(err)
			}
			if !gone(r.cmd.Process.Pid) {
				t.Error("ffmpeg still runs")
			}
			for range 100 {
				if runtime.NumGoroutine() <= before {
					return
				}
				time.Sleep(10 * time.Millisecond)
			}
			t.Errorf("%d goroutines before, %d after", before, runtime.NumGoroutine())
		})
	}
}

func drain(t testing.TB, r *Reader) (n int) {
	t.Helper()
	for _, err := range r.Frames() {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	return n
}

// However long the clip is, nothing is allocated per frame but what the reader
// of time lines needs.
func TestMemoryIsFlat(t *testing.T) {
	path := h264(t, filepath.Join(t.TempDir(), "long.mp4"), "testsrc2=s=320x240:r=60:d=20")
	r, err := Open(context.Background(), probe(t, path), OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var a, b runtime.MemStats
	n := 0
	for f, err := range r.Frames() {
		if err != nil {
			t.Fatal(err)
		}
		switch n++; {
		case f.Index == 100:
			runtime.ReadMemStats(&a)
		case f.Index == 1100:
			runtime.ReadMemStats(&b)
		}
	}
	if n != 1200 {
		t.Fatalf("%d frames", n)
	}
	if per := (b.TotalAlloc - a.TotalAlloc) / 1000; per > 512 {
		t.Errorf("%d bytes are allocated per frame of %d bytes", per, 3*320*240)
	}
}

func TestReadOnlyOnce(t *testing.T) {
	path := h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=96x64:r=30:d=0.5")
	r, err := Open(context.Background(), probe(t, path), OpenOptions{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if n := drain(t, r); n != 15 {
		t.Fatalf("%d frames", n)
	}
	for _, err := range r.Frames() {
		wantError(t, err, swing.KindInternal, "once only")
	}
}

// Stand-ins for ffmpeg that misbehave. They write pictures of 4 x 2 px, 24
// bytes, and time lines on descriptor 3.
func TestMisbehavingDecoder(t *testing.T) {
	const picture = `printf 'abcdefghijklmnopqrstuvwx'; echo "frame:$i pts:$((i*40000)) pts_time:x" >&3; i=$((i+1))`
	const twelve = `i=0; while [ $i -lt 12 ]; do ` + picture + `; done; `
	clip := swing.Clip{Path: os.DevNull, Width: 4, Height: 2, Frames: 12, FPS: 25}
	for _, c := range []struct {
		name, body string
		frames     int
		kind       swing.Kind // of the error, if one is wanted
		text       string     // of the error or the warning
		code       string     // of the warning, if one is wanted
	}{
		{name: "well", body: twelve, frames: 12},
		{name: "part of a picture", body: twelve + `printf 'abc'`, frames: 12, code: "frame-cut", text: "incomplete"},
		{name: "fewer than announced", body: strings.Replace(twelve, "12", "11", 1), frames: 11, code: "frames-missing", text: "1 of 12"},
		{name: "complaints", body: `echo "[h264 @ 0x55d0] oh no" >&2; echo "again" >&2; ` + twelve, frames: 12, code: "damaged", text: "complained 2 times, first: [h264] oh no."},
		{name: "flood of complaints", body: `yes "a line that is longer than any" | head -n 100000 >&2; ` + twelve, frames: 12, code: "damaged", text: "100000 times"},
		{name: "fails at the end", body: twelve + `exit 3`, frames: 12, code: "damaged", text: "exit status 3"},
		{name: "no times", body: strings.ReplaceAll(twelve, "pts:$((i*40000))", "pts:NOPTS"), frames: 12, code: "times-repaired", text: "12 frames had no time"},
		{name: "too few", body: `i=0; ` + picture, frames: 1, kind: swing.KindTooShort, text: "one picture"},
		{name: "nothing", body: `echo "cannot do this" >&2; exit 1`, kind: swing.KindUnreadable, text: "not one picture"},
		{name: "stands still", body: `i=0; ` + picture + `; sleep 30`, frames: 1, kind: swing.KindUnreadable, text: "stood still"},
		{name: "does not end", body: `sleep 30 & ` + twelve + `exec >&- 3>&- 2>&-; wait`, frames: 12, kind: swing.KindUnreadable, text: "stood still"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			// Short only where standing still is what is tested: on a busy
			// machine everything else may take its time.
			stall := 2 * time.Minute
			if c.text == "stood still" {
				stall = 3 * time.Second
			}
			o := OpenOptions{Options: Options{
				FFmpeg: script(t, c.body), FFprobe: script(t, "exit 1"),
				StallTimeout: stall,
			}}
			r, err := Open(context.Background(), clip, o)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			var last error
			n := 0
			for f, err := range r.Frames() {
				if last = err; err == nil {
					if f.Index != n || string(f.Pix) != "abcdefghijklmnopqrstuvwx" || !near(f.Time, 0.04*float64(n), 1e-9) {
						t.Fatalf("frame %d: index %d at %g, %q", n, f.Index, f.Time, f.Pix)
					}
					n++
				}
			}
			if n != c.frames {
				t.Errorf("%d frames, want %d", n, c.frames)
			}
			if c.kind != "" {
				wantError(t, last, c.kind, c.text)
			} else if last != nil {
				t.Errorf("unexpected error %v", last)
			}
			got := codes(r.Warnings())
			switch {
			case c.code == "" && len(got) > 0:
				t.Errorf("unexpected warnings %v", r.Warnings())
			case c.code != "" && (!slices.Contains(got, c.code) || !strings.Contains(fmt.Sprint(r.Warnings()), c.text)):
				t.Errorf("got warnings %v, want %s with %q", r.Warnings(), c.code, c.text)
			}
			_ = r.Close()
			if !gone(r.cmd.Process.Pid) {
				t.Error("something that was started still runs")
			}
		})
	}
}

func TestProgramsMissing(t *testing.T) {
	path := h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=96x64:r=30:d=0.5")
	_, err := Probe(context.Background(), path, Options{FFprobe: "no-such-program"})
	wantError(t, err, swing.KindMissing, "the program no-such-program is not installed")
	_, err = Open(context.Background(), probe(t, path), OpenOptions{Options: Options{FFmpeg: filepath.Join(t.TempDir(), "nothing")}})
	wantError(t, err, swing.KindMissing, "is not installed")
	clip := probe(t, path)
	clip.List = nil // frames that Probe did not list are listed by Open
	_, err = Open(context.Background(), clip, OpenOptions{From: 0.1, Options: Options{FFprobe: "no-such-program"}})
	wantError(t, err, swing.KindMissing, "is not installed")
}

func TestProbeIsBounded(t *testing.T) {
	path := h264(t, filepath.Join(t.TempDir(), "a.mp4"), "testsrc2=s=96x64:r=30:d=0.5")
	start := time.Now()
	_, err := Probe(context.Background(), path, Options{FFprobe: script(t, "sleep 30"), ProbeTimeout: 300 * time.Millisecond})
	wantError(t, err, swing.KindUnreadable, "more than 300ms")
	if d := time.Since(start); d > 10*time.Second {
		t.Errorf("it took %v", d)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Probe(ctx, path, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v", err)
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for _, o := range []OpenOptions{
		{MaxSide: -1},
		{MaxSide: 3},
		{From: 2, To: 1},
		{Threads: -1},
		{Options: Options{MaxPixels: -1}},
		{Options: Options{StallTimeout: -1}},
	} {
		if _, err := Open(context.Background(), swing.Clip{Path: os.DevNull, Width: 4, Height: 2}, o); err == nil {
			t.Errorf("%+v is taken", o)
		} else {
			wantError(t, err, swing.KindUsage, "")
		}
	}
	if err := DefaultOptions().Validate(); err != nil {
		t.Error(err)
	}
	_, err := Open(context.Background(), swing.Clip{Path: os.DevNull}, OpenOptions{})
	wantError(t, err, swing.KindUsage, "not been probed")
}

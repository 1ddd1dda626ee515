package main

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/cmd/internal/ui"
)

const sample = "../../testdata/clips/open-right.mp4"

// ffmpeg makes a file.
func ffmpeg(t *testing.T, args ...string) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "ffmpeg", append([]string{"-hide_banner", "-nostdin", "-v", "error", "-y"}, args...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("ffmpeg %v: %v\n%s", args, err, out)
	}
}

// What a user gets for clips that are no clips, or no good ones: the whole
// command with the installed networks over one folder. The words are those of
// the README's table.
func TestBadInput(t *testing.T) {
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, "in", name) }
	write := func(name string, b []byte) {
		t.Helper()
		clip(t, dir, "in/"+name, string(b))
	}
	write("zero.mp4", nil)
	write("text.mp4", []byte("this is text\n"))
	write("playlist.mp4", []byte("#EXTM3U\n#EXTINF:1,\nfile:"+in("good.mp4")+"\n"))
	write("list.mp4", []byte("ffconcat version 1.0\nfile good.mp4\n"))
	good, err := os.ReadFile(sample)
	if err != nil {
		t.Fatal(err)
	}
	pattern := func(size, rate, frames, name string) {
		ffmpeg(t, "-f", "lavfi", "-i", "color=gray:s="+size+":r="+rate, "-frames:v", frames, "-c:v", "libx264", "-preset", "ultrafast", in(name))
	}
	pattern("8192x4608", "30", "10", "huge.mp4")
	pattern("320x240", "1", "12", "slow.mp4")
	pattern("320x240", "1000", "100", "fast.mp4")
	pattern("320x240", "30", "2", "short.mp4")
	pattern("320x240", "30", "30", "empty.mp4")
	ffmpeg(t, "-f", "lavfi", "-i", "sine=d=1", "-c:a", "aac", in("sound.mp4"))
	ffmpeg(t, "-f", "lavfi", "-i", "color=red:s=64x64", "-frames:v", "1", in("still.jpg"))
	ffmpeg(t, "-i", in("sound.mp4"), "-i", in("still.jpg"), "-map", "0", "-map", "1", "-c", "copy", "-disposition:v", "attached_pic", in("cover.m4v"))
	if err := os.Rename(in("still.jpg"), in("picture.mp4")); err != nil {
		t.Fatal(err)
	}
	ffmpeg(t, "-i", sample, "-t", "0.8", in("stance.mp4"))
	// The sample has its table of frames first; phones write it last.
	write("truncated.mp4", good[:len(good)*6/10])
	write("damaged.mp4", damage(good))
	ffmpeg(t, "-i", sample, "-c", "copy", in("last.mp4"))
	last, err := os.ReadFile(in("last.mp4"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(in("last.mp4")); err != nil {
		t.Fatal(err)
	}
	write("unfinished.mp4", last[:len(last)/2])

	want := map[string]struct {
		status, text string // text is part of the error or of the warnings
	}{
		"zero.mp4":       {ui.StatusFailed, "the file is empty"},
		"text.mp4":       {ui.StatusFailed, "this is a text file"},
		"playlist.mp4":   {ui.StatusFailed, "a list that names other files"},
		"list.mp4":       {ui.StatusFailed, "a list that names other files"},
		"sound.mp4":      {ui.StatusFailed, "sound only"},
		"cover.m4v":      {ui.StatusFailed, "sound and a cover picture"},
		"picture.mp4":    {ui.StatusFailed, "still picture"},
		"huge.mp4":       {ui.StatusFailed, "8192 x 4608 px"},
		"short.mp4":      {ui.StatusFailed, "2 frames, at least"},
		"unfinished.mp4": {ui.StatusFailed, "never finished"},
		"truncated.mp4":  {ui.StatusDone, "cut off"},
		"damaged.mp4":    {ui.StatusDone, "damaged"},
		"slow.mp4":       {ui.StatusDone, "1 frame"},
		"fast.mp4":       {ui.StatusDone, "nobody"},
		"empty.mp4":      {ui.StatusDone, "nobody"},
		"stance.mp4":     {ui.StatusDone, "no swing found"},
	}
	var out, errs bytes.Buffer
	t.Setenv("XDG_CONFIG_HOME", dir)
	code := run(t.Context(), []string{"analyze", "--json", "--no-cache", "--no-overlay", "--quality=fast", "-o", filepath.Join(dir, "out"), filepath.Join(dir, "in")}, &out, &errs)
	if code != exitIncomplete {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	seen := 0
	for line := range strings.Lines(out.String()) {
		var r ui.Result
		if err := json.Unmarshal([]byte(line), &r); err != nil {
			t.Fatal(err)
		}
		name := filepath.Base(r.Clip)
		w, ok := want[name]
		if !ok {
			t.Errorf("%s was analysed", name)
			continue
		}
		seen++
		text := ""
		if r.Error != nil {
			text = r.Error.Message
			if r.Error.Hint == "" {
				t.Errorf("%s: no hint beside %q", name, text)
			}
		}
		for _, warning := range r.Warnings {
			text += " " + warning.Text
		}
		if r.Status != w.status || !strings.Contains(text, w.text) {
			t.Errorf("%s: %s, %q; want %s with %q", name, r.Status, text, w.status, w.text)
		}
		if len(r.Swings) > 0 && name != "damaged.mp4" {
			t.Errorf("%s: a swing was found", name)
		}
	}
	if seen != len(want) {
		t.Errorf("%d of %d clips came back", seen, len(want))
	}
}

// damage overwrites parts of the data of a file.
func damage(b []byte) []byte {
	b = bytes.Clone(b)
	r := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // the same damage every time
	start := bytes.Index(b, []byte("mdat")) + 60_000
	for o := start; o+3000 < len(b); o += 40_000 {
		for i := range 3000 {
			b[o+i] = byte(r.Uint32())
		}
	}
	return b
}

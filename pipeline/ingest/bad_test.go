package ingest

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

// keep is where TestBadInput leaves its files, for trying them by hand; see
// scripts/make-test-clips.
var keep = flag.String("keep", "", "folder in which the clips of bad input are left")

// badInput is a file that is not an ordinary clip, and what is said of it.
type badInput struct {
	file string
	make func(t *testing.T, path, good string)
	kind swing.Kind // of Probe's error; "" = the clip can be read
	text string     // part of the error's sentence
	warn []string   // codes of all warnings of a clip that can be read
	only int        // frames delivered; 0 = any number
}

// patched writes good with every box of a kind changed by edit, which gets the
// whole file and the offset of the box's contents.
func patched(kind string, edit func(b []byte, at int)) func(*testing.T, string, string) {
	return func(t *testing.T, path, good string) {
		b := read(t, good)
		found := boxes(t, b, kind)
		if len(found) == 0 {
			t.Fatalf("no %s box", kind)
		}
		for _, at := range found {
			edit(b, at)
		}
		write(t, path, b)
	}
}

func text(s string) func(*testing.T, string, string) {
	return func(t *testing.T, path, _ string) { write(t, path, []byte(s)) }
}

func made(args ...string) func(*testing.T, string, string) {
	return func(t *testing.T, path, _ string) { ffmpeg(t, path, args...) }
}

var badInputs = []badInput{
	{file: "empty.mp4", make: text(""), kind: swing.KindUnreadable, text: "the file is empty"},
	{file: "text.mp4", make: text("Meet at the cage at five.\nBring a helmet.\n"), kind: swing.KindUnreadable, text: "a text file"},
	{file: "noise.mp4", make: func(t *testing.T, path, _ string) {
		b := make([]byte, 50000)
		x := uint32(1)
		for i := range b {
			x = x*1664525 + 1013904223
			b[i] = byte(x >> 24)
		}
		write(t, path, b)
	}, kind: swing.KindUnreadable, text: "not a video that can be read"},
	{file: "sound-only.mp4", make: made("-f", "lavfi", "-i", "sine=d=1"), kind: swing.KindUnreadable, text: "sound only"},
	{file: "sound.wav.mp4", make: made("-f", "lavfi", "-i", "sine=d=1", "-f", "wav"), kind: swing.KindUnreadable, text: "sound only"},
	{
		file: "cover-art.mp4", make: made("-f", "lavfi", "-i", "sine=d=1", "-f", "lavfi", "-i", "testsrc2=s=96x64:d=1",
			"-frames:v", "1", "-c:v", "mjpeg", "-disposition:v", "attached_pic", "-f", "ipod"),
		kind: swing.KindUnreadable, text: "cover picture",
	},
	{
		file: "photo.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64", "-frames:v", "1", "-c:v", "mjpeg", "-f", "image2", "-update", "1"),
		kind: swing.KindUnreadable, text: "a still picture",
	},
	{file: "archive.mp4", make: text("PK\x03\x04\x14\x00\x00\x00"), kind: swing.KindUnreadable, text: "an archive"},
	{
		file: "playlist.mp4", make: text("#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\ngood.mp4\n#EXT-X-ENDLIST\n"),
		kind: swing.KindUnreadable, text: "a list that names other files",
	},
	{file: "script.mp4", make: text("ffconcat version 1.0\nfile good.mp4\n"), kind: swing.KindUnreadable, text: "a list that names other files"},
	{
		file: "transport-stream.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64:d=1", "-c:v", "libx264", "-f", "mpegts"),
		kind: swing.KindUnreadable, text: "this kind of file is not read",
	},
	{file: "unfinished.mp4", make: func(t *testing.T, path, good string) {
		slow := filepath.Join(t.TempDir(), "slow.mp4")
		ffmpeg(t, slow, "-i", good, "-c", "copy", "-movflags", "-faststart")
		b := read(t, slow)
		write(t, path, b[:len(b)*6/10])
	}, kind: swing.KindUnreadable, text: "never finished"},
	{file: "truncated.mp4", make: func(t *testing.T, path, good string) {
		b := read(t, good)
		write(t, path, b[:len(b)*6/10])
	}, warn: []string{"cut-off", "damaged", "frames-missing"}},
	{file: "corrupt-middle.mp4", make: func(t *testing.T, path, good string) {
		b := read(t, good)
		for i := len(b) * 4 / 10; i < len(b)*6/10; i++ {
			b[i] ^= 0x5a
		}
		write(t, path, b)
	}, warn: []string{"damaged"}},
	{file: "no-size.mp4", make: func(t *testing.T, path, good string) {
		// Neither a known coding nor a size.
		patched("avc1", func(b []byte, at int) {
			if binary.BigEndian.Uint32(b[at-8:]) < 80 {
				return // the brand in the first box, not a sample entry
			}
			copy(b[at-4:], "zzzz")
			clear(b[at+24 : at+28])
		})(t, path, good)
	}, kind: swing.KindUnreadable, text: "ffmpeg does not know"},
	{file: "0x0.mp4", make: func(t *testing.T, path, _ string) {
		// The coding is known; its parameters, where the size stands, are not.
		ffmpeg(t, path, "-f", "lavfi", "-i", "testsrc2=s=96x64:r=30:d=1", "-c:v", "mpeg4")
		patched("esds", func(b []byte, at int) { copy(b[at-4:], "free") })(t, path, path)
		patched("mp4v", func(b []byte, at int) { clear(b[at+24 : at+28]) })(t, path, path)
	}, kind: swing.KindUnreadable, text: "no picture size"},
	{
		file: "one-picture.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64", "-frames:v", "1", "-c:v", "libx264"),
		kind: swing.KindTooShort, text: "one picture",
	},
	{
		file: "two-frames.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64", "-frames:v", "2", "-c:v", "libx264"),
		kind: swing.KindTooShort, text: "2 frames, at least 10",
	},
	{
		file: "one-a-second.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64:r=1:d=12", "-c:v", "libx264"),
		warn: []string{"low-frame-rate"}, only: 12,
	},
	{file: "thousand-a-second.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64:r=1000:d=0.3", "-c:v", "libx264"), only: 300},
	{
		file: "interlaced.mp4", make: made("-f", "lavfi", "-i", "testsrc2=s=96x64:r=25:d=1", "-c:v", "libx264", "-flags", "+ildct+ilme", "-x264-params", "tff=1"),
		warn: []string{"interlaced"}, only: 25,
	},
	{
		file: "8k.mp4", make: made("-f", "lavfi", "-i", "color=green:s=7680x4320:r=30", "-frames:v", "10", "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p"),
		only: 10,
	},
	{
		file: "beyond-8k.mp4", make: made("-f", "lavfi", "-i", "color=green:s=8192x4352:r=30", "-frames:v", "1", "-c:v", "mjpeg"),
		kind: swing.KindTooLarge, text: "8192 x 4352 px, more than the 33.2 million px",
	},
}

// TestBadInput goes through the table: one clear sentence with a hint for what
// cannot be read, warnings for what can.
func TestBadInput(t *testing.T) {
	dir := *keep
	if dir == "" {
		dir = t.TempDir()
	} else if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	good := h264(t, filepath.Join(dir, "good.mp4"), "testsrc2=s=192x128:r=30:d=2", "-preset", "medium", "-movflags", "+faststart", "-g", "30")
	for _, c := range badInputs {
		t.Run(c.file, func(t *testing.T) {
			path := filepath.Join(dir, c.file)
			c.make(t, path, good)
			clip, err := Probe(context.Background(), path, Options{})
			if c.kind != "" {
				wantError(t, err, c.kind, c.text)
				var e *swing.Error
				if errors.As(err, &e) && (e.Hint == "" || e.Clip != path || e.Op != "ingest.Probe") {
					t.Errorf("hint %q, clip %q, operation %q", e.Hint, e.Clip, e.Op)
				}
				if strings.Count(err.Error(), path) != 1 {
					t.Errorf("the clip is not named once in %q", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			frames, warnings := decode(t, clip, OpenOptions{MaxSide: 640}, false)
			got := append(codes(clip.Warnings), codes(warnings)...)
			for _, w := range c.warn {
				if !slices.Contains(got, w) {
					t.Errorf("no warning %q among %v %v", w, clip.Warnings, warnings)
				}
			}
			if len(c.warn) == 0 && len(got) > 0 {
				t.Errorf("warnings %v %v", clip.Warnings, warnings)
			}
			if c.only > 0 && len(frames) != c.only || len(frames) == 0 {
				t.Errorf("%d frames, want %d", len(frames), c.only)
			}
			if max(frames[0].Width, frames[0].Height) > 640 {
				t.Errorf("frames are %d x %d", frames[0].Width, frames[0].Height)
			}
		})
	}
	t.Run("smaller limit", func(t *testing.T) {
		_, err := Probe(context.Background(), good, Options{MaxPixels: 10000})
		wantError(t, err, swing.KindTooLarge, "192 x 128 px")
		_, err = Open(context.Background(), probe(t, good), OpenOptions{Options: Options{MaxPixels: 10000}})
		wantError(t, err, swing.KindTooLarge, "192 x 128 px")
	})
	t.Run("not a file", func(t *testing.T) {
		_, err := Probe(context.Background(), dir, Options{})
		wantError(t, err, swing.KindUsage, "a folder")
		_, err = Probe(context.Background(), filepath.Join(dir, "nowhere.mp4"), Options{})
		wantError(t, err, swing.KindMissing, "no such file")
		_, err = Probe(context.Background(), os.DevNull, Options{})
		wantError(t, err, swing.KindUnreadable, "not an ordinary file")
	})
}

// Names that shells, URLs and formats trip over.
func TestNames(t *testing.T) {
	dir := t.TempDir()
	good := read(t, h264(t, filepath.Join(dir, "good.mp4"), "testsrc2=s=96x64:r=30:d=0.4"))
	t.Chdir(dir)
	deep := strings.Repeat(strings.Repeat("d", 99)+"/", 5) // 500 characters
	if err := os.MkdirAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{
		"-i.mp4", "a:b.mp4", "http:x.mp4", "100%d.mp4", "line\nbreak.mp4", "Schläger 打者.mp4", `quo"te'.mp4`, "pipe|x&y;$(z).mp4",
		"file:x.mp4", " .mp4", strings.Repeat("n", 251) + ".mp4", deep + "clip.mp4", "noextension", "[brackets]*?.mp4",
	} {
		write(t, name, good)
		clip, err := Probe(context.Background(), name, Options{})
		if err != nil {
			t.Errorf("%.30q: %v", name, err)
			continue
		}
		if want := strings.TrimSuffix(filepath.Base(name), ".mp4"); clip.Name != want || clip.Path != name {
			t.Errorf("%.30q: name %q, path %q", name, clip.Name, clip.Path)
		}
		r, err := Open(context.Background(), clip, OpenOptions{})
		if err != nil {
			t.Errorf("%.30q: %v", name, err)
			continue
		}
		if n := drain(t, r); n != 12 || len(r.Warnings()) > 0 {
			t.Errorf("%.30q: %d frames, warnings %v", name, n, r.Warnings())
		}
		_ = r.Close()
	}
	_, err := Probe(context.Background(), strings.Repeat("n", 500)+".mp4", Options{})
	wantError(t, err, swing.KindMissing, "name too long")
}

func TestFind(t *testing.T) {
	dir := t.TempDir()
	for _, n := range []string{"b.MP4", "a.mov", "sub/c.mkv", "sub/.hidden.mp4", ".dir/d.mp4", "notes.txt", "e.mp4.part"} {
		p := filepath.Join(dir, n)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, p, nil)
	}
	for link, target := range map[string]string{"link.mp4": "a.mov", "dead.mp4": "nothing", "loop.mp4": "."} {
		if err := os.Symlink(target, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := Find([]string{dir, filepath.Join(dir, "sub"), filepath.Join(dir, "notes.txt")})
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, n := range []string{"a.mov", "b.MP4", "link.mp4", "notes.txt", "sub/c.mkv"} {
		want = append(want, filepath.Join(dir, n))
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	_, err = Find([]string{filepath.Join(dir, "nowhere")})
	wantError(t, err, swing.KindMissing, "no such file")
	_, err = Find([]string{filepath.Join(dir, ".dir", "..", "sub", "..", ".dir")})
	if err != nil {
		t.Errorf("a dot folder that is named is searched: %v", err)
	}
	empty := t.TempDir()
	_, err = Find([]string{empty})
	wantError(t, err, swing.KindUsage, "no clip found in "+empty)
}

func TestChecksum(t *testing.T) {
	p := write(t, filepath.Join(t.TempDir(), "abc"), []byte("abc"))
	got, err := checksum(context.Background(), p)
	// FIPS 180-2, appendix B.1.
	if want := "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"; err != nil || got != want {
		t.Errorf("got %s %v", got, err)
	}
}

// Complaints are bounded whatever a program writes.
func TestComplaintsAreBounded(t *testing.T) {
	var c complaints
	c.read(bytes.NewReader(bytes.Repeat([]byte("x"), 1<<20)))
	c.read(strings.NewReader(strings.Repeat("line\n", 5000) + "\n \nlast [a @ 0x12ab] \xff"))
	n, first := c.lines()
	if n != 5002 || len(first) != keptComplaints {
		t.Errorf("%d lines, %d kept", n, len(first))
	}
	total := 0
	for _, l := range first {
		total += len(l)
	}
	if total > keptComplaints*(complaintLength+3) {
		t.Errorf("%d bytes kept", total)
	}
	c = complaints{}
	c.read(strings.NewReader("[a @ 0x12ab] \xff"))
	if _, first := c.lines(); fmt.Sprint(first) != "[[a] ?]" {
		t.Errorf("got %q", first)
	}
}

package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// One bad clip is an entry, the rest goes on; the same content is analysed
// once; what is missing is named.
func TestBatch(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	clip(t, dir, "in/a.mp4", "swing a")
	clip(t, dir, "in/b.MOV", "bad b")
	clip(t, dir, "in/copy of a.mp4", "swing a")
	clip(t, dir, "in/deep/c.mp4", "none c")
	clip(t, dir, "in/d.mp4", "panic d")
	clip(t, dir, "in/notes.txt", "swing")
	code, stdout, stderr := try(t, "analyze", filepath.Join(dir, "in"), filepath.Join(dir, "gone.mp4"), "-o", out)
	if code != exitIncomplete {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	want := []string{"a/analysis.json", "a/overlay.mp4", "a/report.html", "a/report.pdf", "a/stages.json", "a/stills/0-plant.png", "a/thumb.jpg", "c/analysis.json", "c/stages.json", "index.html", "measures.csv"}
	if got := tree(t, out); !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	mustContain(t, stdout,
		"a.mp4", "0.500 s ±8 ms", "50% ±10", "open-side",
		"Left and right were exchanged. (frames 2 to 4)", "two people walking",
		"b.MOV: this is not a video", "hint: choose another",
		"d.mp4: the program failed on this clip",
		"copy of a.mp4: has the same content as "+filepath.Join(dir, "in/a.mp4"),
		"gone.mp4: there is no such file",
		"Results of 2 clips: "+out, "not medical advice", "Nothing left this machine.")
	for line := range strings.Lines(stdout) {
		if n := len([]rune(line)); n > 103 && !strings.Contains(line, dir) {
			t.Errorf("%d characters: %s", n, line)
		}
	}
	csv, err := os.ReadFile(filepath.Join(out, "measures.csv"))
	if err != nil {
		t.Fatal(err)
	}
	mustContain(t, string(csv), "a.mp4,0,R,open-side,stride_length,plant,0.5,stature,0.1,measured", "c.mp4")
}

func TestExitCodes(t *testing.T) {
	dir := t.TempDir()
	good, bad := clip(t, dir, "good.mp4", "swing"), clip(t, dir, "bad.mp4", "bad")
	for _, c := range []struct {
		paths []string
		want  int
	}{
		{[]string{good}, exitDone},
		{[]string{good, good}, exitDone},
		{[]string{good, bad}, exitIncomplete},
		{[]string{bad}, exitFailed},
		{[]string{filepath.Join(dir, "none.mp4")}, exitFailed},
		{[]string{t.TempDir()}, exitFailed}, // a folder without clips
	} {
		code, _, _ := try(t, append([]string{"analyze", "-o", filepath.Join(dir, "out")}, c.paths...)...)
		if code != c.want {
			t.Errorf("%v: exit code %d, want %d", c.paths, code, c.want)
		}
	}
	code, stdout, _ := try(t, "analyze", "-o", filepath.Join(dir, "out"), "--if-no-path", good)
	if code != exitDone || !strings.Contains(stdout, "good.mp4") {
		t.Errorf("without a path: %d, %s", code, stdout)
	}
}

// Standard output holds one JSON object per clip and nothing else.
func TestJSONLines(t *testing.T) {
	dir := t.TempDir()
	clip(t, dir, "in/a.mp4", "swing a")
	clip(t, dir, "in/a2.mp4", "swing a")
	clip(t, dir, "in/b.mp4", "bad b")
	code, stdout, stderr := try(t, "analyze", "--json", "-o", filepath.Join(dir, "out"), filepath.Join(dir, "in"))
	if code != exitIncomplete {
		t.Errorf("exit code %d", code)
	}
	byClip := map[string]map[string]any{}
	for line := range strings.Lines(stdout) {
		var m map[string]any
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			t.Fatalf("%v in %q", err, line)
		}
		byClip[filepath.Base(m["clip"].(string))] = m
		for _, key := range []string{"schema", "clip", "status", "seconds", "swings", "warnings"} {
			if _, ok := m[key]; !ok {
				t.Errorf("no %q in %s", key, line)
			}
		}
	}
	if len(byClip) != 3 {
		t.Fatalf("lines for %d clips:\n%s", len(byClip), stdout)
	}
	a := byClip["a.mp4"]
	if a["status"] != "done" || a["folder"] != filepath.Join(dir, "out", "a") || len(a["files"].([]any)) != 7 { // numbers, keys, overlay, a still, the page, the sheet, a thumb
		t.Errorf("a.mp4: %v", a)
	}
	if s := byClip["a2.mp4"]; s["status"] != "same" || filepath.Base(s["same_as"].(string)) != "a.mp4" {
		t.Errorf("a2.mp4: %v", s)
	}
	e := byClip["b.mp4"]["error"].(map[string]any)
	if e["kind"] != "unreadable" || e["message"] != "this is not a video" || e["hint"] != "choose another" {
		t.Errorf("b.mp4: %v", e)
	}
	if !strings.Contains(stderr, "msg=progress") {
		t.Errorf("no progress on standard error:\n%s", stderr)
	}
}

// Two clips of one name never share a folder, in one run or in two, and each
// gets the same folder every time.
func TestSameNames(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	a, b := clip(t, dir, "x/swing.mp4", "swing 1"), clip(t, dir, "y/swing.mp4", "swing 2")
	upper := clip(t, dir, "z/SWING.mp4", "swing 3")
	for range 2 {
		code, _, stderr := try(t, "analyze", "-o", out, a, b, upper)
		if code != exitDone {
			t.Fatalf("exit code %d: %s", code, stderr)
		}
		mustContain(t, stderr, "swing-", "another clip")
		var folders []string
		for _, f := range tree(t, out) {
			if d, ok := strings.CutSuffix(f, "/analysis.json"); ok {
				folders = append(folders, d)
			}
		}
		if len(folders) != 3 || !slices.Contains(folders, "swing") {
			t.Fatalf("folders %v", folders)
		}
	}
	// Alone, the second clip still does not take the first one's place.
	before, _ := os.ReadFile(filepath.Join(out, "swing", analysisFile))
	if code, _, _ := try(t, "analyze", "-o", out, b); code != exitDone {
		t.Fatal("failed")
	}
	after, _ := os.ReadFile(filepath.Join(out, "swing", analysisFile))
	if string(before) != string(after) {
		t.Error("another clip's results were overwritten")
	}
}

func TestOddNames(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	for i, name := range []string{
		strings.Repeat("長", 80) + ".mp4", "tab\there.mp4", "new\nline.mp4", "-dash.mp4", "trailing. .mp4", "ünï códe 🏏.mp4", "'quote\".mp4", "..mp4",
	} {
		path := clip(t, dir, "in/"+name, "swing "+strings.Repeat("x", i))
		code, stdout, stderr := try(t, "analyze", "-o", out, path)
		if code != exitDone {
			t.Errorf("%q: exit code %d: %s%s", name, code, stdout, stderr)
		}
	}
	for _, f := range tree(t, out) {
		if strings.ContainsAny(f, "\n\t") || strings.HasPrefix(f, "..") || len(strings.Split(f, "/")[0]) > longestStem+9 {
			t.Errorf("folder %q", f)
		}
	}
	if n := strings.Count(strings.Join(tree(t, out), "\n"), "/analysis.json"); n != 8 {
		t.Errorf("%d results of 8 clips: %q", n, tree(t, out))
	}
}

// A new analysis replaces the files of the old one, and nothing else.
func TestAgain(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	path := clip(t, dir, "a.mp4", "swing a")
	clip(t, out, "a/my notes.txt", "keep")
	clip(t, out, "a/stills/3-contact.png", "of an earlier analysis")
	clip(t, out, "a/stills/mine.png", "keep")
	if code, _, stderr := try(t, "analyze", "-o", out, path); code != exitDone {
		t.Fatalf("failed: %s", stderr)
	}
	want := []string{"a/analysis.json", "a/my notes.txt", "a/overlay.mp4", "a/report.html", "a/report.pdf", "a/stages.json", "a/stills/0-plant.png", "a/stills/mine.png", "a/thumb.jpg", "index.html", "measures.csv"}
	if got := tree(t, out); !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	// Without pictures those of the earlier run would no longer fit.
	if code, _, _ := try(t, "analyze", "-o", out, "--no-overlay", path); code != exitDone {
		t.Fatal("failed")
	}
	want = []string{"a/analysis.json", "a/my notes.txt", "a/report.html", "a/report.pdf", "a/stages.json", "a/stills/mine.png", "index.html", "measures.csv"}
	if got := tree(t, out); !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
}

// Numbers are kept when the pictures cannot be written.
func TestDrawingFails(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	path := clip(t, dir, "undrawable.mp4", "swing")
	code, stdout, _ := try(t, "analyze", "-o", out, path)
	if code != exitFailed {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stdout, "there is no room for the overlay", "what could be stored is in "+filepath.Join(out, "undrawable"))
	if got := tree(t, out); !slices.Contains(got, "undrawable/analysis.json") {
		t.Errorf("files %v", got)
	}
}

func TestFolderInTheWay(t *testing.T) {
	dir := t.TempDir()
	path := clip(t, dir, "a.mp4", "swing")
	file := clip(t, dir, "file", "not a folder")
	code, stdout, stderr := try(t, "analyze", "-o", file, path)
	if code != exitFailed || stdout != "" {
		t.Errorf("exit code %d, %q", code, stdout)
	}
	mustContain(t, stderr, file, "in the way", "--out")
	if b, _ := os.ReadFile(file); string(b) != "not a folder" {
		t.Error("the file was changed")
	}
	// The folder of one clip in the way is that clip's trouble.
	clip(t, dir, "out/b", "a file")
	clip(t, dir, "b.mp4", "swing b")
	code, _, _ = try(t, "analyze", "-o", filepath.Join(dir, "out"), path, filepath.Join(dir, "b.mp4"))
	if code != exitDone {
		t.Errorf("exit code %d", code)
	}
	if got := strings.Join(tree(t, filepath.Join(dir, "out")), " "); !strings.Contains(got, "b-") || !strings.Contains(got, "a/analysis.json") {
		t.Errorf("files %v", got)
	}
}

// A stopped run ends within a second, also when a clip does not hear; what was
// finished stays, nothing half is left.
func TestStopped(t *testing.T) {
	for _, how := range []string{"wait", "stuck"} {
		t.Run(how, func(t *testing.T) {
			dir := t.TempDir()
			out := filepath.Join(dir, "out")
			clip(t, dir, "in/1.mp4", "swing")
			clip(t, dir, "in/2.mp4", how)
			clip(t, dir, "in/3.mp4", "swing never begun")
			ctx, cancel := context.WithCancel(t.Context())
			started := make(chan string, 10)
			var asked time.Time
			go func() {
				<-started
				<-started // the second clip is at work
				asked = time.Now()
				cancel()
			}()
			code, stdout, _ := tryIn(t, ctx, started, "analyze", "--jobs=1", "-o", out, filepath.Join(dir, "in"))
			if took := time.Since(asked); took > time.Second {
				t.Errorf("stopped after %v", took)
			}
			if code != exitStopped {
				t.Errorf("exit code %d", code)
			}
			want := []string{"1/analysis.json", "1/overlay.mp4", "1/report.html", "1/report.pdf", "1/stages.json", "1/stills/0-plant.png", "1/thumb.jpg", "index.html", "measures.csv"}
			if got := tree(t, out); !slices.Equal(got, want) {
				t.Errorf("files %v, want %v", got, want)
			}
			mustContain(t, stdout, "2.mp4: stopped", "3.mp4: stopped", "Results: "+filepath.Join(out, "1"))
		})
	}
}

// What a killed run left behind goes away after a day, and not earlier: it may
// belong to a run that is still at work.
func TestAbandonedFolders(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	path := clip(t, dir, "a.mp4", "swing")
	clip(t, out, tempPrefix+"old/x", "")
	clip(t, out, tempPrefix+"new/x", "")
	old := time.Now().Add(-25 * time.Hour)
	if err := os.Chtimes(filepath.Join(out, tempPrefix+"old"), old, old); err != nil {
		t.Fatal(err)
	}
	if code, _, _ := try(t, "analyze", "-o", out, path); code != exitDone {
		t.Fatal("failed")
	}
	got := strings.Join(tree(t, out), " ")
	if strings.Contains(got, tempPrefix+"old") || !strings.Contains(got, tempPrefix+"new") {
		t.Errorf("files %v", got)
	}
}

package main

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
	"plantframe/models"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/swing"
)

func TestModelsCommands(t *testing.T) {
	t.Setenv(config.EnvCache, filepath.Join(t.TempDir(), "empty"))
	code, stdout, _ := try(t, "models", "list")
	if code != exitDone {
		t.Errorf("list: exit code %d", code)
	}
	mustContain(t, stdout, "onnxruntime", "pose-heavy", "pose-full", "pose-detector", "Apache-2.0", "not installed", "hint: pose-heavy: run: plantframe models install")
	if code, _, _ = try(t, "models", "verify"); code != exitFailed {
		t.Errorf("verify: exit code %d", code)
	}
	_, stdout, _ = try(t, "models", "list", "--json")
	ids := map[string]bool{}
	for line := range strings.Lines(stdout) {
		var l modelLine
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		ids[l.ID] = true
		if l.Problem != "not installed" || l.Licence == "" {
			t.Errorf("%+v", l)
		}
	}
	if !ids["onnxruntime"] || !ids["pose-heavy"] {
		t.Errorf("listed: %v", ids)
	}
	// Without npm the installation says how to get it.
	t.Setenv("PATH", t.TempDir())
	code, _, stderr := try(t, "models", "install")
	if code != exitFailed {
		t.Errorf("install without npm: exit code %d", code)
	}
	mustContain(t, stderr, "npm", "hint: ")
}

// An analysis without networks says so before it begins.
func TestAnalyzeWithoutModels(t *testing.T) {
	dir := t.TempDir()
	t.Setenv(config.EnvCache, filepath.Join(dir, "empty"))
	t.Setenv("XDG_CONFIG_HOME", dir)
	var out, errs strings.Builder
	path := clip(t, dir, "a.mp4", "text")
	code := run(t.Context(), []string{"analyze", "-o", filepath.Join(dir, "out"), path}, &out, &errs)
	if code != exitFailed {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, errs.String(), "not installed", "hint: run: plantframe models install")
	errs.Reset()
	code = run(t.Context(), []string{"analyze", "--model", "pose-nothing", "-o", filepath.Join(dir, "out"), path}, &out, &errs)
	if code != exitFailed {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, errs.String(), `"pose-nothing"`, "pose-heavy")
	errs.Reset()
	code = run(t.Context(), []string{"analyze", "--model", "pose-detector", "-o", filepath.Join(dir, "out"), path}, &out, &errs)
	if code != exitUsage {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, errs.String(), "pose-detector finds no body points")
}

// Every embedded manifest turns into a description that the pose stage takes:
// a known decoder whose outputs are all there.
func TestSpecsOfManifests(t *testing.T) {
	all, err := models.Manifests()
	if err != nil {
		t.Fatal(err)
	}
	roles := map[pose.Decoder][]string{
		pose.BlazePose:    {"landmarks", "flag", "heatmap"},
		pose.MoveNet:      {"heatmap", "centre", "regress", "offset"},
		pose.PoseDetector: {"boxes", "scores"},
		pose.NanoDet:      {"scores8", "scores16", "scores32", "boxes8", "boxes16", "boxes32"},
	}
	for _, m := range all {
		if m.Purpose == "points" || m.Purpose == "sequence" {
			continue // not the pose stage's
		}
		s, err := specOf(m)
		if err != nil {
			t.Errorf("%s: %v", m.ID, err)
			continue
		}
		want, ok := roles[s.Decoder]
		if !ok {
			t.Errorf("%s: the pose stage has no decoder %q", m.ID, s.Decoder)
		}
		for _, r := range want {
			name, ok := s.Outputs[r]
			if !ok {
				t.Errorf("%s: no output for %q among %v", m.ID, r, s.Outputs)
			}
			found := false
			for _, o := range m.Outputs {
				found = found || o.Name == name
			}
			if !found {
				t.Errorf("%s: %q is not an output of the manifest", m.ID, name)
			}
		}
	}
	own := all[0]
	own.Keypoints, own.Points, own.Refine = "custom", []string{"left_hip", "right_hip"}, "taylor"
	if s, err := specOf(own); err != nil || len(s.Names) != 2 || s.Refine != pose.RefineTaylor {
		t.Errorf("a set of the user's own: names %v, refine %q, %v", s.Names, s.Refine, err)
	}
	bad := all[0]
	bad.Params = map[string]float64{"frobs": 1}
	if _, err := specOf(bad); err == nil || !strings.Contains(err.Error(), "frobs") {
		t.Errorf("an unknown parameter: %v", err)
	}
}

func TestDoctor(t *testing.T) {
	dir := t.TempDir()
	t.Setenv(config.EnvCache, filepath.Join(dir, "cache"))
	t.Setenv("PATH", t.TempDir()) // neither ffmpeg nor npm
	code, stdout, _ := try(t, "doctor", "-o", filepath.Join(dir, "out"))
	if code != exitFailed {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stdout,
		"ffmpeg is not installed", "ffprobe is not installed", "-> apt-get install ffmpeg",
		"pose-heavy", "not installed", "-> run: plantframe models install", "-> apt-get install npm",
		"GB free", "cores", "things are missing")
	if got := tree(t, dir); len(got) != 0 {
		t.Errorf("doctor left %v", got)
	}
	_, stdout, _ = try(t, "doctor", "--json", "-o", filepath.Join(dir, "out"))
	names := map[string]finding{}
	for line := range strings.Lines(stdout) {
		var f finding
		if err := json.Unmarshal([]byte(line), &f); err != nil {
			t.Fatal(err)
		}
		if f.State == stateMissing && f.Remedy == "" {
			t.Errorf("%+v says no remedy", f)
		}
		names[f.Name] = f
	}
	if names["ffmpeg"].State != stateMissing || names["results"].State != stateOK || names["settings"].State != stateOK {
		t.Errorf("findings %v", names)
	}
	file := clip(t, dir, "bad.yaml", "frobnicate: 1\n")
	_, stdout, _ = try(t, "doctor", "--config", file)
	mustContain(t, stdout, `no setting "frobnicate"`)
}

// A program that does not answer, or lacks parts, is told apart from a good
// one. The programs here are scripts that print what ffmpeg prints.
func TestCheckFFmpeg(t *testing.T) {
	script := func(body string) string {
		return clip(t, t.TempDir(), "ffmpeg", "#!/bin/sh\n"+body)
	}
	good := `case "$2" in
-version) echo "ffmpeg version 5.1.9 Copyright";;
-decoders) printf ' VFS..D h264                 H.264\n VFS..D hevc  HEVC\n';;
-encoders) printf ' V....D libx264   H.264\n';;
-filters) printf ' ..C scale  V->V x\n ..C zscale V->V x\n ... tonemap V->V x\n';;
esac`
	for name, c := range map[string]struct {
		body string
		want map[string]string // finding to state
	}{
		"good":       {good, map[string]string{"ffmpeg": stateOK}},
		"no zscale":  {strings.Replace(good, "zscale", "other", 1), map[string]string{"ffmpeg": stateOK, "ffmpeg zscale": stateNote}},
		"no libx264": {strings.Replace(good, "libx264", "libx265", 1), map[string]string{"ffmpeg": stateOK, "ffmpeg libx264": stateMissing}},
		"crashes":    {"exit 3", map[string]string{"ffmpeg": stateMissing}},
	} {
		path := script(c.body)
		if err := os.Chmod(path, 0o755); err != nil {
			t.Fatal(err)
		}
		got := map[string]string{}
		for _, f := range checkFFmpeg(t.Context(), path) {
			got[f.Name] = f.State
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: got %v, want %v", name, got, c.want)
		}
	}
}

func TestWritingErrors(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		want string
	}{
		"full":       {&fs.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}, "the disk is full: out/a cannot be written"},
		"quota":      {syscall.EDQUOT, "the disk is full"},
		"permission": {&fs.PathError{Op: "open", Path: "x", Err: syscall.EACCES}, "no permission to write out/a"},
		"read-only":  {syscall.EROFS, "no permission"},
		"other":      {&fs.PathError{Op: "open", Path: "secret", Err: syscall.EIO}, "out/a cannot be written: input/output error"},
	} {
		e := explain(writing("out/a", c.err))
		if !strings.HasPrefix(e.Message, c.want) || e.Hint == "" || strings.Contains(e.Message, "secret") {
			t.Errorf("%s: %+v", name, e)
		}
	}
	// A device that is always full.
	if f, err := os.OpenFile("/dev/full", os.O_WRONLY, 0); err == nil {
		defer f.Close()
		_, err := f.WriteString("x")
		if e := explain(writing("out/a", err)); !strings.HasPrefix(e.Message, "the disk is full") {
			t.Errorf("%+v", e)
		}
	}
}

func TestExplainModelErrors(t *testing.T) {
	e := explain(fmt.Errorf("outer: %w", &models.Error{Op: "x", Msg: "not there", Hint: "get it"}))
	if e.Message != "not there" || e.Hint != "get it" || e.Kind != "model" {
		t.Errorf("%+v", e)
	}
}

// A network that jumps in twenty frames gives one line, not twenty; what
// concerns the whole clip comes first.
func TestReportGroupsWarnings(t *testing.T) {
	r := ui.Result{Clip: "a.mp4", Status: ui.StatusDone, Folder: "out/a"}
	for i := range 20 {
		r.Warnings = append(r.Warnings, swing.Warning{Code: "jump", Text: fmt.Sprintf("elbow %d jumped", i), Frames: []int{i, i}})
	}
	r.Warnings = append(r.Warnings, swing.Warning{Code: "no-swing", Text: "no swing found"})
	got := report([]ui.Result{r}, "out", 0)
	mustContain(t, got, "To know: a.mp4: no swing found a.mp4: elbow 0 jumped (frame 0); 19 more of this kind Results: out/a")
}

func TestWrap(t *testing.T) {
	var b strings.Builder
	wrap(&b, "  ", strings.Repeat("スイング word ", 30)+strings.Repeat("x", 150))
	for i, line := range strings.Split(strings.TrimRight(b.String(), "\n"), "\n") {
		if n := ui.Columns(line); n > textWidth && !strings.Contains(line, "xxx") {
			t.Errorf("%d columns: %s", n, line)
		}
		if i > 0 && !strings.HasPrefix(line, "    ") {
			t.Errorf("not indented: %q", line)
		}
	}
}

// Files of a killed or stopped run must not confuse the reader of a batch.
func TestMeasuresPassesOverForeignFiles(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out [1]")
	clip(t, out, "foreign/analysis.json", `{"schema":"other/1"}`)
	clip(t, out, "broken/analysis.json", `{"schema":`)
	path := clip(t, t.TempDir(), "a.mp4", "swing")
	start := time.Now()
	if code, _, stderr := try(t, "analyze", "-o", out, path); code != exitDone {
		t.Fatal(stderr)
	}
	b, err := os.ReadFile(filepath.Join(out, measuresFile))
	if err != nil || strings.Count(string(b), "\n") != 2 {
		t.Errorf("%v:\n%s", err, b)
	}
	if time.Since(start) > 10*time.Second {
		t.Error("it took too long")
	}
}

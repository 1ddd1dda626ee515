package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/targets"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// Other targets keep the pictures; another measurement draws them again.
func TestPicturesAreTakenOver(t *testing.T) {
	dir := t.TempDir()
	c := clip(t, dir, "one.mp4", "good 1")
	out := filepath.Join(dir, "out")
	overlay := filepath.Join(out, "one", overlayFile)
	for _, step := range []struct {
		args []string
		want string
	}{
		{nil, "video"},
		{[]string{"--targets", "youth-softball"}, "kept"},
		{[]string{"--level", "youth", "--sport", "softball", "--hitter", "A"}, "kept"},
		{[]string{"--height", "1.80"}, "video"},
		{[]string{"--height", "1.80", "--no-cache"}, "video"},
	} {
		code, _, stderr := try(t, append([]string{"analyze", c, "--out", out}, step.args...)...)
		got, err := os.ReadFile(overlay)
		if code == exitUsage || err != nil {
			t.Fatalf("%v: exit code %d, %v\n%s", step.args, code, err, stderr)
		}
		if string(got) != step.want {
			t.Errorf("%v: the overlay is %q, want %q", step.args, got, step.want)
		}
		if _, err := os.Stat(filepath.Join(out, "one", stillsFolder, "0-plant.png")); err != nil {
			t.Errorf("%v: %v", step.args, err)
		}
		if err := os.WriteFile(overlay, []byte("kept"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// A result names the targets and tells their content apart.
func TestResultsNameTheirTargets(t *testing.T) {
	own := clip(t, t.TempDir(), "mine.yaml", "name: academy\norigin: instructor\nbased_on: adult-baseball\nbands:\n  - {id: stride-length, hi: 0.55}\n")
	var sums []any
	for _, name := range []string{"adult-baseball", own} {
		tg, err := targets.Load(targets.Want{Targets: name})
		if err != nil {
			t.Fatal(err)
		}
		used := targetsUsed(tg)
		if used["targets"] != tg.Name || len(used["targets_sha256"].(string)) != 64 {
			t.Errorf("%v", used)
		}
		sums = append(sums, used["targets_sha256"])
	}
	if sums[0] == sums[1] {
		t.Error("other bands, the same checksum")
	}
	if used := targetsUsed(judge.Targets{}); used["targets"] != "none" {
		t.Errorf("%v", used)
	}
}

func TestReportSaysWhatToWorkOnFirst(t *testing.T) {
	first := swing.Finding{ID: "x", Priority: 1, Text: "The barrel lies flat at plant: 83 ± 2°.", Cue: "Up.", Drills: []string{"Umbrella", "Fence swings"}}
	text := report([]ui.Result{
		{Clip: "in/a.mp4", Status: ui.StatusDone, Swings: []ui.SwingResult{{Judged: 20, Findings: []swing.Finding{first, {ID: "y", Good: true, Text: "Good."}}}, {Judged: 12, Findings: []swing.Finding{{ID: "y", Good: true}}}}},
		{Clip: "in/b.mp4", Status: ui.StatusDone, Swings: []ui.SwingResult{{}}},
	}, "out", 0)
	mustContain(t, text, "To work on first:", "a.mp4, swing 1: The barrel lies flat at plant: 83 ± 2°.", "cue: Up.", "drills: Umbrella, Fence swings",
		"a.mp4, swing 2: nothing stands out (12 checkpoints judged).", "not medical advice")
	if strings.Contains(text, "b.mp4:") {
		t.Errorf("a swing that was not judged is spoken of:\n%s", text)
	}
}

func TestWrongTargetsAreRefusedBeforeAnyClip(t *testing.T) {
	dir := t.TempDir()
	bad := clip(t, dir, "bad.yaml", "name: a\norigin: instructor\nbased_on: adult-baseball\nbands:\n  - {id: stride-length, lo: 3}\n")
	if _, err := openWorker(mustSettings(t, bad), 1, nil); err == nil || !strings.Contains(err.Error(), "bad.yaml:5") {
		t.Errorf("%v", err)
	}
	code, _, stderr := try(t, "analyze", clip(t, dir, "a.mp4", "good"), "--out", filepath.Join(dir, "o"), "--level", "senior")
	if code != exitUsage {
		t.Errorf("exit code %d\n%s", code, stderr)
	}
	mustContain(t, stderr, `setting "level" is "senior", it must be one of youth, high-school, adult`)
}

func TestBandsLearn(t *testing.T) {
	dir := t.TempDir()
	for i := range 5 {
		clip(t, filepath.Join(dir, "good"), fmt.Sprintf("%d.mp4", i), fmt.Sprint("good ", i))
	}
	to := filepath.Join(dir, "bands", "mine.yaml")
	// From clips: the worker gives each a stride of 0.5.
	code, stdout, stderr := try(t, "bands", "learn", filepath.Join(dir, "good"), "--out", to)
	if code != exitDone {
		t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
	}
	mustContain(t, stdout, "stride-length plant 5", "Bands of 5 swings", "Not learned: barrel-steep")
	tg, err := targets.Load(targets.Want{Targets: to})
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range tg.Bands {
		if b.ID == "stride-length" && (*b.Lo != 0.3 || *b.Hi != 0.7 || b.Origin != "learned") {
			t.Errorf("%g to %g, %s", *b.Lo, *b.Hi, b.Origin)
		}
	}
	// From results, of which one is no analysis.
	out := filepath.Join(dir, "out")
	if code, _, stderr := try(t, "analyze", filepath.Join(dir, "good"), "--out", out, "--no-overlay"); code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	clip(t, filepath.Join(out, "broken"), analysisFile, "{")
	code, stdout, stderr = try(t, "bands", "learn", out, "--out", filepath.Join(dir, "second.yaml"), "--targets", to)
	if code != exitIncomplete {
		t.Errorf("exit code %d\n%s", code, stderr)
	}
	mustContain(t, stderr, filepath.Join("broken", analysisFile), "not an analysis")
	mustContain(t, stdout, "stride-length plant 5")
	if _, err := targets.Load(targets.Want{Targets: filepath.Join(dir, "second.yaml")}); err != nil {
		t.Error(err)
	}
	for name, c := range map[string]struct {
		args []string
		code int
		text string
	}{
		"too few":       {[]string{clip(t, filepath.Join(dir, "few"), "1.mp4", "good")[:len(filepath.Join(dir, "few"))]}, exitUsage, "too few"},
		"no folder":     {[]string{filepath.Join(dir, "gone")}, exitFailed, "no such folder"},
		"unknown base":  {[]string{out, "--targets", "nobody"}, exitUsage, "no targets named nobody"},
		"on itself":     {[]string{out, "--targets", to, "--out", to}, exitUsage, "based on itself"},
		"based on none": {[]string{out, "--targets", "none"}, exitUsage, "based on none"},
	} {
		code, _, stderr := try(t, append([]string{"bands", "learn", "--out", filepath.Join(dir, "x.yaml")}, c.args...)...)
		if code != c.code || !strings.Contains(stderr, c.text) || !strings.Contains(stderr, "hint: ") {
			t.Errorf("%s: exit code %d\n%s", name, code, stderr)
		}
	}
	if exists(filepath.Join(dir, "x.yaml")) {
		t.Error("a refused run wrote a file")
	}
}

func mustSettings(t *testing.T, file string) config.Settings {
	t.Helper()
	s := config.Default()
	s.Targets = file
	return s
}

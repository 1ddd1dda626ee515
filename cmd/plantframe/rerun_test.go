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

	"plantframe/cmd/internal/config"
	"plantframe/pipeline"
)

// snapshot reads all files below a folder, reruns left out.
func snapshot(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, f := range tree(t, dir) {
		if strings.HasPrefix(f, rerunFolder) {
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, f))
		if err != nil {
			t.Fatal(err)
		}
		out[f] = string(b)
	}
	return out
}

func sameSnapshot(t *testing.T, got, want map[string]string) {
	t.Helper()
	for f := range want {
		if got[f] != want[f] {
			t.Errorf("%s: %d bytes, not the %d of before", f, len(got[f]), len(want[f]))
		}
	}
	for f := range got {
		if _, ok := want[f]; !ok {
			t.Errorf("%s was not there before", f)
		}
	}
}

// watched makes results of three clips, and returns their folder.
func watched(t *testing.T) string {
	t.Helper()
	hurry(t)
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "Ann/2026-03-04/a.mov", "swing")
	clip(t, dir, "Bo/2026-03-04/b.mov", "swing long")
	clip(t, dir, "c.mov", "swing rear")
	if code, _, stderr := try(t, "watch", dir, "--once"); code != exitDone {
		t.Fatal(stderr)
	}
	return dir + "-results"
}

func TestRerunAndUndo(t *testing.T) {
	out := watched(t)
	before := snapshot(t, out)

	code, stdout, stderr := try(t, "rerun", out)
	if code != exitDone {
		t.Fatal(stderr)
	}
	mustContain(t, stdout, "3 results", "0 affected, 3 as they would be today")

	code, stdout, _ = try(t, "rerun", out, "--level", "youth", "--dry-run")
	if code != exitDone {
		t.Error(code)
	}
	mustContain(t, stdout, "3 affected", "3 from judge on")
	sameSnapshot(t, snapshot(t, out), before)

	t.Setenv(config.EnvPrefix+"MEASURE_DRAWS", "64")
	code, stdout, stderr = try(t, "rerun", out, "--level", "youth")
	if code != exitDone {
		t.Fatal(stdout, stderr)
	}
	mustContain(t, stdout, "3 from measure on", "3 of 3 results are new", "3 of 3 with the same measures and priorities", "--undo")
	after := snapshot(t, out)
	if after["c/analysis.json"] == before["c/analysis.json"] || !strings.Contains(after["c/analysis.json"], `"youth"`) {
		t.Error("the result is the old one")
	}
	if !strings.Contains(after["Ann/2026-03-04/a/analysis.json"], `"hitter": "Ann"`) {
		t.Error("whose clip it is was forgotten")
	}
	old, err := filepath.Glob(filepath.Join(out, rerunFolder, "*", "old", "Ann", "2026-03-04", "a", analysisFile))
	if err != nil || len(old) != 1 {
		t.Fatal(old, err)
	}
	if b, _ := os.ReadFile(old[0]); string(b) != before["Ann/2026-03-04/a/analysis.json"] {
		t.Error("the old result was not kept as it was")
	}
	if _, stdout, _ = try(t, "rerun", out, "--level", "youth"); !strings.Contains(stdout, "0 affected") {
		t.Error(stdout)
	}

	code, stdout, stderr = try(t, "rerun", out, "--undo")
	if code != exitDone {
		t.Fatal(stderr)
	}
	mustContain(t, stdout, "3 results are again what they were")
	got := snapshot(t, out)
	sameSnapshot(t, got, before)
	if code, _, stderr = try(t, "rerun", out, "--undo"); code != exitUsage || !strings.Contains(stderr, "there is no rerun") {
		t.Error(code, stderr)
	}
	// And there again.
	if code, stdout, stderr = try(t, "rerun", out, "--level", "youth"); code != exitDone {
		t.Fatal(stdout, stderr)
	}
	sameSnapshot(t, snapshot(t, out), after)
}

// A rerun that is stopped goes on; other settings are refused meanwhile.
func TestRerunGoesOn(t *testing.T) {
	out := watched(t)
	before := snapshot(t, out)
	t.Setenv(config.EnvPrefix+"QUEUE_MIN_FREE_MB", "1000000000") // nothing can begin
	ctx, stop := context.WithTimeout(t.Context(), time.Second)
	defer stop()
	code, _, stderr := tryIn(t, ctx, nil, "rerun", out, "--level", "youth")
	if code != exitStopped || !strings.Contains(stderr, "goes on") {
		t.Errorf("%d %s", code, stderr)
	}
	sameSnapshot(t, snapshot(t, out), before)
	t.Setenv(config.EnvPrefix+"QUEUE_MIN_FREE_MB", "1")
	if code, _, stderr = try(t, "rerun", out, "--level", "high-school"); code != exitUsage || !strings.Contains(stderr, "not finished") {
		t.Errorf("%d %s", code, stderr)
	}
	if code, _, stderr = try(t, "rerun", out, "--undo"); code != exitDone {
		t.Errorf("%d %s", code, stderr)
	}
	sameSnapshot(t, snapshot(t, out), before)
	code, stdout, stderr := try(t, "rerun", out, "--level", "youth")
	if code != exitDone {
		t.Fatal(stdout, stderr)
	}
	runs, _ := filepath.Glob(filepath.Join(out, rerunFolder, "*", "summary.json"))
	if len(runs) != 1 {
		t.Errorf("summaries: %v", runs)
	}
}

// Results of analyze, without keys from an older version, and one whose clip is
// gone.
func TestRerunOfAnalyze(t *testing.T) {
	hurry(t)
	dir := t.TempDir()
	clips := filepath.Join(dir, "clips")
	clip(t, clips, "a.mov", "swing")
	gone := clip(t, clips, "gone.mov", "swing rear")
	out := filepath.Join(dir, "out")
	if code, _, stderr := try(t, "analyze", clips, "--out", out); code != exitDone {
		t.Fatal(stderr)
	}
	for _, f := range []string{gone, filepath.Join(out, "a", stagesFile)} {
		if err := os.Remove(f); err != nil {
			t.Fatal(err)
		}
	}
	before := snapshot(t, out)
	code, stdout, _ := try(t, "rerun", out, "--clips", clips, "--level", "youth")
	if code != exitIncomplete {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stdout, "1: not known how they were made", "gone: its clip gone.mov is not found", "1 of 1 results are new")
	if code, _, stderr := try(t, "rerun", out, "--undo"); code != exitDone {
		t.Fatal(stderr)
	}
	sameSnapshot(t, snapshot(t, out), before)
}

func TestFirstChange(t *testing.T) {
	k := func(s string) []pipeline.StageKey {
		var out []pipeline.StageKey
		for f := range strings.FieldsSeq(s) {
			name, key, _ := strings.Cut(f, "=")
			out = append(out, pipeline.StageKey{Stage: name, Key: key})
		}
		return out
	}
	for _, c := range []struct{ before, now, want string }{
		{"a=1 b=2", "a=1 b=2", unchanged},
		{"a=1 b=2 c=3", "a=1 b=4 c=5", "b"},
		{"a=1", "a=1 b=2", "b"},
		{"a=1 judge=2", "a=1", "judge"},
	} {
		if got := firstChange(k(c.before), k(c.now)); got != c.want {
			t.Errorf("%s to %s: %q, want %q", c.before, c.now, got, c.want)
		}
	}
	if firstChange(nil, k("a=1")) != unknown {
		t.Error("no keys are not unknown")
	}
}

func TestMoved(t *testing.T) {
	v := &movedValue{}
	f := func(x float64) *float64 { return &x }
	for _, p := range [][2]*float64{{f(1), f(1)}, {f(1), f(3)}, {f(2), f(1)}, {nil, f(1)}, {f(1), nil}, {nil, nil}} {
		v.add(p[0], p[1])
	}
	if v.Swings != 3 || v.Moved != 2 || v.Gained != 1 || v.Lost != 1 || v.Largest != 2 || median(v.changes) != 0 {
		t.Errorf("%+v", v)
	}
	for _, c := range []struct {
		x    []float64
		want float64
	}{{nil, 0}, {[]float64{3}, 3}, {[]float64{4, 1}, 2.5}, {[]float64{9, 1, 2}, 2}} {
		if got := median(c.x); got != c.want {
			t.Errorf("median of %v: %v", c.x, got)
		}
	}
	b, err := json.Marshal(moves{Measures: []movedValue{*v}})
	if err != nil || !slices.Contains(strings.Split(string(b), ","), `"moved":2`) {
		t.Errorf("%s %v", b, err)
	}
}

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/cmd/internal/config"
)

// traceOf lists the files below a folder that hold a text or have it in their name.
func traceOf(t *testing.T, dir string, texts ...string) []string {
	t.Helper()
	var out []string
	for _, f := range tree(t, dir) {
		b, err := os.ReadFile(filepath.Join(dir, f))
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range texts {
			if strings.Contains(f, text) || strings.Contains(string(b), text) {
				out = append(out, f+" has "+text)
			}
		}
	}
	return out
}

func TestDeleteHitterLeavesNothing(t *testing.T) {
	out := watched(t)
	cache := t.TempDir()
	t.Setenv(config.EnvCache, cache)
	clips := strings.TrimSuffix(out, "-results")
	if code, _, stderr := try(t, "rerun", out, "--level", "youth"); code != exitDone {
		t.Fatal(stderr)
	}
	a, err := readAnalysis(filepath.Join(out, "Ann/2026-03-04/a", analysisFile))
	if err != nil {
		t.Fatal(err)
	}
	keys := readStages(filepath.Join(out, "Ann/2026-03-04/a"))
	disk := openStages()
	for _, k := range keys { // as real runs leave them
		if err := disk.Put(k.Key, []byte("x")); err != nil {
			t.Fatal(err)
		}
	}
	everything := filepath.Dir(out)
	data := os.Getenv("XDG_DATA_HOME")
	if len(traceOf(t, everything, "Ann", a.Clip.SHA256)) == 0 || len(traceOf(t, data, "Ann", a.Clip.SHA256)) == 0 {
		t.Fatal("nothing to delete")
	}

	code, stdout, _ := try(t, "delete", "hitter", "ann")
	if code != exitDone || !exists(filepath.Join(clips, "Ann/2026-03-04/a.mov")) {
		t.Error(code)
	}
	mustContain(t, stdout, "1 clips", "Nothing was done")
	others := snapshot(t, filepath.Join(out, "Bo"))

	code, stdout, stderr := try(t, "delete", "hitter", "ann", "--yes")
	if code != exitDone {
		t.Fatal(stdout, stderr)
	}
	mustContain(t, stdout, "Ann is gone", "no byte in the store is left")
	for _, dir := range []string{everything, data} {
		if left := traceOf(t, dir, "Ann", a.Clip.SHA256); len(left) > 0 {
			t.Errorf("left: %v", left)
		}
	}
	for _, k := range keys {
		if disk.Has(k.Key) {
			t.Errorf("the result of stage %s is left", k.Stage)
		}
	}
	sameSnapshot(t, snapshot(t, filepath.Join(out, "Bo")), others)
	if !exists(filepath.Join(clips, "Bo/2026-03-04/b.mov")) {
		t.Error("a clip of another hitter went")
	}
	if code, _, stderr := try(t, "delete", "hitter", "ann", "--yes"); code != exitFailed || !strings.Contains(stderr, "there is no hitter") {
		t.Error(code, stderr)
	}
	_, stdout, _ = try(t, "jobs", "--all")
	mustContain(t, stdout, "b.mov")
}

func TestBackupAndRestore(t *testing.T) {
	out := watched(t)
	file := filepath.Join(t.TempDir(), "store.backup")
	code, stdout, stderr := try(t, "backup", file)
	if code != exitDone {
		t.Fatal(stderr)
	}
	mustContain(t, stdout, "the store is in", "MB")
	if code, _, _ := try(t, "backup", file); code != exitUsage {
		t.Error("a backup was overwritten")
	}
	_, before, _ := try(t, "jobs", "--all")
	if code, _, stderr := try(t, "delete", "hitter", "Ann", "--yes"); code != exitDone {
		t.Fatal(stderr)
	}
	for name, content := range map[string]string{"text": "no database at all, but long enough", "half": ""} {
		bad := filepath.Join(t.TempDir(), name)
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if content == "" {
			content = string(b[:len(b)/2])
		}
		if err := os.WriteFile(bad, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if code, _, stderr := try(t, "restore", bad); code != exitFailed || !strings.Contains(stderr, "not a whole backup") {
			t.Errorf("%s: %d %s", name, code, stderr)
		}
	}
	if code, stdout, stderr = try(t, "restore", file); code != exitDone {
		t.Fatal(stderr)
	}
	mustContain(t, stdout, "before-restore")
	if _, after, _ := try(t, "jobs", "--all"); after != before {
		t.Errorf("jobs are\n%s\nwere\n%s", after, before)
	}
	if left := tree(t, filepath.Join(os.Getenv("XDG_DATA_HOME"), "plantframe")); len(left) > 6 {
		t.Errorf("left: %v", left)
	}
	_ = out
}

func TestBackupOfNothing(t *testing.T) {
	hurry(t)
	if code, _, stderr := try(t, "backup", filepath.Join(t.TempDir(), "b")); code != exitFailed || !strings.Contains(stderr, "there is no store") {
		t.Error(code, stderr)
	}
	if code, _, stderr := try(t, "backup", "b", "--store", "postgres://x@y/z"); code != exitUsage || !strings.Contains(stderr, "pg_dump") {
		t.Error(code, stderr)
	}
}

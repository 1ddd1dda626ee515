package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestUsageErrors(t *testing.T) {
	dir := t.TempDir()
	good := clip(t, dir, "a.mp4", "swing")
	typo := clip(t, dir, "typo.yaml", "modle: x\n")
	for name, c := range map[string]struct {
		args []string
		want []string
	}{
		"no clip":         {[]string{"analyze"}, []string{"no clip was named", "hint: plantframe analyze"}},
		"unknown command": {[]string{"analyse"}, []string{`unknown command "analyse"`, "hint: Did you mean this? analyze"}},
		"unknown flag":    {[]string{"analyze", "--colour", good}, []string{"unknown flag: --colour", "hint:"}},
		"flag's value":    {[]string{"analyze", "--jobs=many", good}, []string{"many", "hint:"}},
		"bats":            {[]string{"analyze", "--bats=both", good}, []string{`"bats" is "both"`, "auto, R, L"}},
		"height":          {[]string{"analyze", "--height=178", good}, []string{`"178"`, "178cm"}},
		"jobs":            {[]string{"analyze", "--jobs=-2", good}, []string{`"jobs" is -2`}},
		"unknown key":     {[]string{"analyze", "--config", typo, good}, []string{typo, `no setting "modle"`, "hint: did you mean model?"}},
		"no man folder":   {[]string{"man"}, []string{"arg"}},
		"too much":        {[]string{"version", "now"}, []string{"now"}},
	} {
		t.Run(name, func(t *testing.T) {
			code, stdout, stderr := try(t, append(c.args, "--out="+filepath.Join(dir, "out"))[:len(c.args)]...)
			if code != exitUsage {
				t.Errorf("exit code %d, want %d", code, exitUsage)
			}
			if stdout != "" {
				t.Errorf("on standard output: %q", stdout)
			}
			mustContain(t, stderr, c.want...)
			if n := strings.Count(stderr, "\n"); n < 1 || n > 2 {
				t.Errorf("%d lines, want a sentence and a hint:\n%s", n, stderr)
			}
		})
	}
}

func TestUnknownVariable(t *testing.T) {
	t.Setenv("PLANTFRAME_QUALTY", "fast")
	code, _, stderr := try(t, "analyze", clip(t, t.TempDir(), "a.mp4", "swing"))
	if code != exitUsage {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stderr, "PLANTFRAME_QUALTY", "did you mean PLANTFRAME_QUALITY?")
}

func TestMissingSettingsFile(t *testing.T) {
	code, _, stderr := try(t, "analyze", "--config", "/no/such.yaml", clip(t, t.TempDir(), "a.mp4", "swing"))
	if code != exitFailed {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stderr, "there is no settings file /no/such.yaml", "hint:")
}

func TestHelpAndVersion(t *testing.T) {
	for _, args := range [][]string{{}, {"help"}, {"--help"}} {
		code, stdout, _ := try(t, args...)
		if code != exitDone {
			t.Errorf("%v: exit code %d", args, code)
		}
		mustContain(t, stdout, "analyze", "doctor", "models", "completion", "no clip leaves it")
		if strings.Contains(stdout, "if-no-path") || strings.Contains(stdout, " man ") {
			t.Errorf("%v shows hidden things:\n%s", args, stdout)
		}
	}
	code, stdout, _ := try(t, "analyze", "--help")
	if code != exitDone {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stdout, "Exit codes: 0", "130", "--height", "--no-overlay", "plantframe/result/1", "PLANTFRAME_QUALITY")
	for line := range strings.Lines(stdout) {
		if len(line) > 132 {
			t.Errorf("a line of %d characters: %s", len(line), line)
		}
	}
	for _, args := range [][]string{{"version"}, {"--version"}} {
		code, stdout, _ := try(t, args...)
		if code != exitDone || !strings.HasPrefix(stdout, "plantframe "+release) || strings.Count(stdout, "\n") != 1 {
			t.Errorf("%v: %d, %q", args, code, stdout)
		}
	}
}

func TestCompletionAndMan(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish"} {
		code, stdout, _ := try(t, "completion", shell)
		if code != exitDone || len(stdout) < 1000 {
			t.Errorf("%s: exit code %d, %d bytes", shell, code, len(stdout))
		}
	}
	_, stdout, _ := try(t, "__complete", "analyze", "--view", "")
	mustContain(t, stdout, "open-side", "rear")

	dir := filepath.Join(t.TempDir(), "man")
	if code, _, stderr := try(t, "man", dir); code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	for _, page := range []string{"plantframe.1", "plantframe-analyze.1", "plantframe-models-install.1", "plantframe-doctor.1"} {
		b, err := os.ReadFile(filepath.Join(dir, page))
		if err != nil {
			t.Error(err)
			continue
		}
		mustContain(t, string(b), ".TH \"PLANTFRAME\"", "SYNOPSIS")
	}
	file := clip(t, t.TempDir(), "file", "")
	if code, _, stderr := try(t, "man", filepath.Join(file, "man")); code != exitFailed || !strings.Contains(stderr, "in the way") {
		t.Errorf("a file in the way: %d, %s", code, stderr)
	}
}

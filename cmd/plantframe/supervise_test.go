package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plantframe/cmd/internal/config"
	"plantframe/pipeline"
)

func TestEndsOfProcesses(t *testing.T) {
	for script, crashed := range map[string]bool{
		"exit 0": false, "exit 1": false, "kill -KILL $$": false, "kill -TERM $$": false,
		"exit 2": true, "exit 70": true, "kill -SEGV $$": true, "kill -ABRT $$": true,
	} {
		err := endOf(exec.Command("sh", "-c", script).Run())
		if (crashOf(err) != "") != crashed || (err == nil) != (script == "exit 0") {
			t.Errorf("%s: %v, crashed: %q", script, err, crashOf(err))
		}
	}
}

// A worker that crashes is started again, and its successor is told.
func TestCrashIsToldToSuccessor(t *testing.T) {
	hurry(t)
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "a.mov", "swing")
	var out, errs bytes.Buffer
	a := &app{
		stdout: &out, stderr: &errs, probe: fakeProbe,
		newWorker: func(s config.Settings, _ int, _ pipeline.Artifacts) (worker, error) {
			return &fakeWorker{settings: s}, nil
		},
		terminal: func(io.Writer) (bool, int) { return false, 0 },
		identify: func(config.Settings) (identity, error) { return identity{}, nil },
	}
	var told []string
	a.spawn = func(ctx context.Context, o childOrder, name string, tell func(jobLine)) (func() error, error) {
		told = append(told, o.Crashed)
		switch len(told) {
		case 1:
			return func() error { return &crash{how: "segmentation fault"} }, nil
		case 2:
			return nil, errors.New("no memory for a process")
		}
		return a.fakeSpawn(ctx, o, name, tell)
	}
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Setenv(config.EnvCache, t.TempDir())
	if code := a.run(t.Context(), []string{"watch", dir, "--once", "--json"}); code != exitDone {
		t.Errorf("%d: %s", code, errs.String())
	}
	if want := []string{"", "segmentation fault", ""}; !slices.Equal(told, want) {
		t.Errorf("told %q, want %q", told, want)
	}
	sameStrings(t, toldOf(t, out.String()), "done a.mov", "found a.mov")
	mustContain(t, errs.String(), "started again", "segmentation fault", "no memory for a process")
}

func toldOf(t *testing.T, stdout string) []string { return told(events(t, stdout)) }

// Several folders share one queue; work does what waits in it.
func TestWorkDrains(t *testing.T) {
	hurry(t)
	code, stdout, stderr := try(t, "work", "--drain", "--json")
	if code != exitDone || stdout != "" {
		t.Errorf("%d %s %s", code, stdout, stderr)
	}
}

// What a crash says goes into a file, not to people.
func TestCrashLog(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	var out bytes.Buffer
	c := newCrashLog(&out, "w")
	for _, part := range []string{"level=WARN msg=\"some", "thing\"\nSIGSEGV: segmentation violation\n", "goroutine 1 [running]:\nmain.main()\nlast"} {
		if n, err := c.Write([]byte(part)); n != len(part) || err != nil {
			t.Fatal(n, err)
		}
	}
	file := c.end()
	b, err := os.ReadFile(file)
	if err != nil || string(b) != "SIGSEGV: segmentation violation\ngoroutine 1 [running]:\nmain.main()\nlast\n" {
		t.Errorf("%q %v", b, err)
	}
	if out.String() != "level=WARN msg=\"something\"\n" {
		t.Errorf("%q", out.String())
	}
	quiet := newCrashLog(&out, "v")
	if _, err := quiet.Write([]byte("a line")); err != nil || quiet.end() != "" {
		t.Error("a crash without one")
	}
	if !strings.HasSuffix(out.String(), "a line\n") {
		t.Errorf("%q", out.String())
	}
}

package config_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/pflag"

	"plantframe/cmd/internal/config"
	"plantframe/pipeline/swing"
)

func TestParseHeight(t *testing.T) {
	for in, want := range map[string]float64{
		"": 0, "1.78": 1.78, "1,78": 1.78, "1.78m": 1.78, " 1.78 m ": 1.78, "178cm": 1.78, "178 CM": 1.78,
		"5ft10in": 1.778, "5ft 10in": 1.778, "5ft": 1.524, "5'10\"": 1.778, "5'10": 1.778, "5'10''": 1.778, "6ft2.5in": 1.8923, "4'0": 1.2192,
	} {
		got, err := config.ParseHeight(in)
		if err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("%q: %v, %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"178", "1.78cm", "17.8", "-1.78", "tall", "5ft13in", "5ft12in", "9ft", "1.78.0", "1e0", "NaN", "inf", "5in", "'10"} {
		if got, err := config.ParseHeight(in); err == nil {
			t.Errorf("%q was taken for %v m", in, got)
		} else if !strings.Contains(err.Error(), in) {
			t.Errorf("%q: the message does not repeat it: %v", in, err)
		}
	}
}

func write(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "settings.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func flags(t *testing.T, args ...string) *pflag.FlagSet {
	t.Helper()
	fs := pflag.NewFlagSet("test", pflag.ContinueOnError)
	fs.String("bats", "auto", "")
	fs.Int("jobs", 0, "")
	fs.Bool("no-overlay", false, "")
	fs.Bool("unrelated", false, "")
	if err := fs.Parse(args); err != nil {
		t.Fatal(err)
	}
	return fs
}

// Each source wins over the ones below it: flag, variable, file, default.
func TestOrderOfSources(t *testing.T) {
	file := write(t, "bats: L\njobs: 3\nno_overlay: true\nquality: fast\nheight: 1.78\n")
	t.Setenv("PLANTFRAME_JOBS", "5")
	t.Setenv("PLANTFRAME_HITTER", "Sam")
	s := config.Default()
	if err := config.Load(&s, flags(t, "--bats=R"), file); err != nil {
		t.Fatal(err)
	}
	if s.Bats != "R" || s.Jobs != 5 || !s.NoOverlay || s.Quality != "fast" || s.Height != "1.78" || s.Hitter != "Sam" || s.View != "auto" {
		t.Errorf("got %+v", s)
	}
	// A flag that repeats the default still wins.
	s = config.Default()
	if err := config.Load(&s, flags(t, "--bats=auto", "--no-overlay=false"), file); err != nil {
		t.Fatal(err)
	}
	if s.Bats != "auto" || s.NoOverlay {
		t.Errorf("got %+v", s)
	}
	// Without flags, as in a test or a service.
	s = config.Default()
	if err := config.Load(&s, nil, ""); err != nil || s.Jobs != 5 || s.Bats != "auto" {
		t.Errorf("got %+v, %v", s, err)
	}
}

func TestLoadRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		yaml, env string // env is NAME=value
		want      []string
	}{
		"unknown key":      {yaml: "modle: x\n", want: []string{`"modle"`, "did you mean model?"}},
		"unknown far key":  {yaml: "frobnicate: x\n", want: []string{`"frobnicate"`, "configs/default.yaml"}},
		"unknown nested":   {yaml: "bats:\n  side: R\n", want: []string{`"bats.side"`}},
		"unknown variable": {env: "PLANTFRAME_JOBBS=2", want: []string{"PLANTFRAME_JOBBS", "PLANTFRAME_JOBS"}},
		"wrong type":       {yaml: "jobs: many\n", want: []string{`"jobs"`, `"many"`, "whole number"}},
		"wrong variable":   {env: "PLANTFRAME_NO_CACHE=maybe", want: []string{`"no_cache"`, `"maybe"`, "true or false"}},
		"list for a word":  {yaml: "hitter: [a, b]\n", want: []string{`"hitter"`}},
		"broken yaml":      {yaml: "bats: [R\n", want: []string{"not valid YAML", "line"}},
		"not a mapping":    {yaml: "just text\n", want: []string{"not valid YAML"}},
	} {
		t.Run(name, func(t *testing.T) {
			if k, v, ok := strings.Cut(c.env, "="); ok {
				t.Setenv(k, v)
			}
			file := ""
			if c.yaml != "" {
				file = write(t, c.yaml)
			}
			s := config.Default()
			err := config.Load(&s, nil, file)
			var e *swing.Error
			if !errors.As(err, &e) || e.Kind != swing.KindUsage {
				t.Fatalf("got %v", err)
			}
			for _, w := range c.want {
				if !strings.Contains(e.Error()+" "+e.Hint, w) {
					t.Errorf("%q and hint %q do not say %q", e.Error(), e.Hint, w)
				}
			}
			if strings.Contains(e.Error(), "\n") {
				t.Errorf("more than one line: %q", e.Error())
			}
		})
	}
	s := config.Default()
	var e *swing.Error
	if err := config.Load(&s, nil, filepath.Join(t.TempDir(), "none.yaml")); !errors.As(err, &e) || e.Kind != swing.KindMissing {
		t.Errorf("a missing file: %v", err)
	}
}

// The folder of the cache and the file itself are variables without a
// setting, and an empty file says nothing.
func TestLoadAccepts(t *testing.T) {
	t.Setenv("PLANTFRAME_CACHE", "/somewhere")
	t.Setenv("PLANTFRAME_CONFIG", "/somewhere/else.yaml")
	for _, text := range []string{"", "# nothing\n", "bats: R # a comment\n"} {
		s := config.Default()
		if err := config.Load(&s, nil, write(t, text)); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func TestValidate(t *testing.T) {
	if err := config.Default().Validate(); err != nil {
		t.Fatalf("the defaults are refused: %v", err)
	}
	for name, change := range map[string]func(*config.Settings){
		"bats":           func(s *config.Settings) { s.Bats = "right" },
		"view":           func(s *config.Settings) { s.View = "front" },
		"quality":        func(s *config.Settings) { s.Quality = "best" },
		"height":         func(s *config.Settings) { s.Height = "178" },
		"jobs":           func(s *config.Settings) { s.Jobs = -1 },
		"threads":        func(s *config.Settings) { s.Threads = 65 },
		"out":            func(s *config.Settings) { s.Out = "" },
		"log_level":      func(s *config.Settings) { s.LogLevel = "loud" },
		"cache_limit_mb": func(s *config.Settings) { s.CacheLimitMb = -1 },
	} {
		s := config.Default()
		change(&s)
		err := s.Validate()
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestShare(t *testing.T) {
	s := config.Default()
	s.Jobs, s.Threads = 4, 0
	if jobs, threads := s.Share(1); jobs != 1 || threads < 1 {
		t.Errorf("one clip: %d at once with %d threads", jobs, threads)
	}
	s.Threads = 3
	if jobs, threads := s.Share(10); jobs != 4 || threads != 3 {
		t.Errorf("ten clips: %d at once with %d threads", jobs, threads)
	}
	s.Jobs = 0
	if jobs, _ := s.Share(1000); jobs < 1 || jobs > 1000 {
		t.Errorf("%d at once", jobs)
	}
}

// What is stored with a result says how it was computed, not where.
func TestEffective(t *testing.T) {
	s := config.Default()
	s.Hitter, s.Out = "Sam", "/home/someone/private"
	got := s.Effective()
	if got["hitter"] != "Sam" || got["quality"] != "full" {
		t.Errorf("got %v", got)
	}
	for _, key := range []string{"out", "jobs", "threads", "json", "log_level", "no_cache"} {
		if _, there := got[key]; there {
			t.Errorf("%q does not belong there", key)
		}
	}
}

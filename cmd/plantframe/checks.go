package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/cpu"
	"golang.org/x/sys/unix"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
	"plantframe/models"
)

// Room that must be free, bytes: a clip's results take 5 to 50 MB, an
// installation of the networks half a gigabyte for a moment.
const (
	leastRoom = 200 << 20
	cacheRoom = 600 << 20
)

func checkSettings(file string, err error) finding {
	f := finding{Name: "settings", State: stateOK, Detail: "defaults"}
	for _, from := range []string{file, os.Getenv(config.EnvConfig), config.UserFile()} {
		if from != "" {
			f.Detail = from
			break
		}
	}
	if err != nil {
		e := ui.Explain(err)
		return finding{Name: "settings", State: stateMissing, Detail: f.Detail + ": " + e.Message, Remedy: e.Hint}
	}
	return f
}

// ask runs a program that answers at once and returns what it prints.
func ask(ctx context.Context, name string, args ...string) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	var out bytes.Buffer
	cmd.Stdout = &out
	err := cmd.Run()
	return out.String(), err
}

const getFFmpeg = "apt-get install ffmpeg (Debian's build has everything)"

var versionWord = regexp.MustCompile(`version (\S+)`)

// versionOf returns the version in a program's first line.
func versionOf(text string) string {
	if m := versionWord.FindStringSubmatch(text); m != nil {
		return m[1]
	}
	return "of unknown version"
}

// checkFFmpeg looks for the program and for what the build must hold.
func checkFFmpeg(ctx context.Context, name string) []finding {
	text, err := ask(ctx, name, "-hide_banner", "-version")
	if err != nil {
		return []finding{absent("ffmpeg", name, err)}
	}
	parts := []struct {
		list, word, what string
		needed           bool
	}{
		{"-decoders", "h264", "reads most clips", true},
		{"-decoders", "hevc", "reads clips of newer phones", true},
		{"-encoders", "libx264", "writes the overlay video", true},
		{"-filters", "scale", "makes pictures smaller", true},
		{"-filters", "zscale", "turns HDR clips into right colours", false},
		{"-filters", "tonemap", "turns HDR clips into right colours", false},
	}
	lists := map[string]string{}
	var have []string
	var lacks []finding
	for _, p := range parts {
		if _, ok := lists[p.list]; !ok {
			lists[p.list], _ = ask(ctx, name, "-hide_banner", p.list)
		}
		if hasWord(lists[p.list], p.word) {
			have = append(have, p.word)
			continue
		}
		f := finding{Name: "ffmpeg " + p.word, State: stateNote, Detail: "not in this build; it " + p.what, Remedy: getFFmpeg}
		if p.needed {
			f.State = stateMissing
		}
		lacks = append(lacks, f)
	}
	return append([]finding{{Name: "ffmpeg", State: stateOK, Detail: versionOf(text) + " with " + strings.Join(have, ", ")}}, lacks...)
}

// hasWord tells whether one line of a list has word as its second field.
func hasWord(list, word string) bool {
	for line := range strings.Lines(list) {
		if f := strings.Fields(line); len(f) > 1 && f[1] == word {
			return true
		}
	}
	return false
}

func checkFFprobe(ctx context.Context, name string) finding {
	text, err := ask(ctx, name, "-hide_banner", "-version")
	if err != nil {
		return absent("ffprobe", name, err)
	}
	return finding{Name: "ffprobe", State: stateOK, Detail: versionOf(text)}
}

func absent(what, name string, err error) finding {
	f := finding{Name: what, State: stateMissing, Detail: name + " does not run: " + err.Error(), Remedy: getFFmpeg}
	if errors.Is(err, exec.ErrNotFound) {
		f.Detail = name + " is not installed"
	}
	return f
}

// checkModels verifies the library and the networks that the settings need,
// loads the library, and looks for npm, which an installation needs.
func checkModels(ctx context.Context, s config.Settings) []finding {
	all, st, err := library()
	if err != nil {
		e := explain(err)
		return []finding{{Name: "models", State: stateMissing, Detail: e.Message, Remedy: e.Hint}}
	}
	states, err := st.Verify(ctx, all)
	if err != nil {
		e := explain(err)
		return []finding{{Name: "models", State: stateMissing, Detail: e.Message, Remedy: e.Hint}}
	}
	var out []finding
	wrong := false
	for _, state := range states {
		f := finding{Name: state.ID, State: stateOK, Detail: fmt.Sprintf("%.1f MB, checksum right", float64(state.Bytes)/1e6)}
		if state.Problem != "" {
			wrong = true
			f = finding{Name: state.ID, State: stateMissing, Detail: state.Problem, Remedy: state.Hint}
			if !used(all, s, state.ID) {
				f.State = stateNote
			}
		}
		if state.ID == states[0].ID && state.Problem == "" {
			if err := st.Start(); err != nil {
				e := explain(err)
				f = finding{Name: state.ID, State: stateMissing, Detail: e.Message, Remedy: e.Hint}
			}
		}
		out = append(out, f)
	}
	if _, err := exec.LookPath("npm"); err != nil {
		f := finding{Name: "npm", State: stateNote, Detail: "not installed; only the installation of models needs it", Remedy: "apt-get install npm"}
		if wrong {
			f.State = stateMissing
		}
		out = append(out, f)
	}
	return out
}

// used tells whether an analysis with these settings takes a network, or the
// library.
func used(all []models.Manifest, s config.Settings, id string) bool {
	known := slices.ContainsFunc(all, func(m models.Manifest) bool { return m.ID == id })
	return !known || id == s.PoseModel() || id == detectorModel || id == scanModel || id == objectModel
}

func checkCache() finding {
	dir, err := cacheDir()
	if err != nil {
		e := explain(err)
		return finding{Name: "cache", State: stateMissing, Detail: e.Message, Remedy: e.Hint}
	}
	return checkFolder("cache", dir, cacheRoom, "set "+config.EnvCache+" to a folder on another disk")
}

func checkOut(out string) finding {
	return checkFolder("results", out, leastRoom, "choose another folder with --out")
}

// checkFolder tells whether a folder, or the nearest one above it that is
// there, can be written, and how much room is left. Nothing stays behind.
func checkFolder(name, dir string, room uint64, remedy string) finding {
	abs, err := filepath.Abs(dir)
	if err != nil {
		abs = dir
	}
	at := abs
	for !exists(at) && filepath.Dir(at) != at {
		at = filepath.Dir(at)
	}
	probe, err := os.MkdirTemp(at, tempPrefix)
	if err != nil {
		e := explain(writing(at, err))
		return finding{Name: name, State: stateMissing, Detail: e.Message, Remedy: remedy}
	}
	_ = os.Remove(probe)
	var fs unix.Statfs_t
	if err := unix.Statfs(at, &fs); err != nil {
		return finding{Name: name, State: stateOK, Detail: abs + " can be written"}
	}
	free := fs.Bavail * uint64(fs.Bsize) //nolint:gosec // a block size is positive
	f := finding{Name: name, State: stateOK, Detail: fmt.Sprintf("%s can be written, %.1f GB free", abs, float64(free)/1e9)}
	if free < room {
		f.State, f.Remedy = stateMissing, fmt.Sprintf("free %.1f GB, or %s", float64(room)/1e9, remedy)
	}
	return f
}

// checkMachine tells what the networks run on. Any processor of the two kinds
// works; the named features make it fast.
func checkMachine() finding {
	var features []string
	for _, f := range []struct {
		name string
		has  bool
	}{
		{"AVX2", cpu.X86.HasAVX2},
		{"FMA", cpu.X86.HasFMA},
		{"AVX-512", cpu.X86.HasAVX512F},
		{"NEON", cpu.ARM64.HasASIMD},
		{"dot product", cpu.ARM64.HasASIMDDP},
	} {
		if f.has {
			features = append(features, f.name)
		}
	}
	f := finding{Name: "machine", State: stateOK}
	f.Detail = fmt.Sprintf("%s %s, %d cores", runtime.GOOS, runtime.GOARCH, runtime.GOMAXPROCS(0))
	if len(features) > 0 {
		f.Detail += ", " + strings.Join(features, ", ")
	}
	if runtime.GOARCH == "amd64" && !cpu.X86.HasAVX2 {
		f.State, f.Remedy = stateNote, "a processor without AVX2 takes several times longer; --quality fast helps"
	}
	return f
}

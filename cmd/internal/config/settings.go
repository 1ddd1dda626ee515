package config

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"

	"plantframe/cmd/internal/targets"
	"plantframe/pipeline"
	"plantframe/pipeline/output/render"
	"plantframe/pipeline/swing"
)

// Settings are all settings of an analysis.
type Settings struct {
	// Out is the folder for results, one folder per clip in it. Default
	// "plantframe-out" in the current folder.
	Out string
	// Hitter is a name of your choice that is kept with the results, and under
	// which they go into the store. Default none; clips in folders named
	// HITTER/DATE belong to that hitter.
	Hitter string
	// Store is where hitters and their results are remembered: the path of an
	// SQLite file, a PostgreSQL address postgres://USER@HOST/DATABASE, or none.
	// Default plantframe/records.db in the user's data folder.
	Store string
	// Paper is the sheet that report.pdf is made for: a4 or letter. Default a4.
	Paper string
	// Bats is the side the hitter bats from: auto, R or L. Default auto.
	Bats string
	// View says where the camera stands: auto, open-side or rear. Default
	// auto.
	View string
	// Height is the hitter's body height, such as 1.78, 178cm or 5ft10in.
	// With it lengths are given in metres too. Default not known.
	Height string
	// Targets are the bands that swings are judged by: a name such as
	// youth-softball, a file of your own, or none. Default those of level and
	// sport.
	Targets string
	// Level is youth, high-school or adult. Default adult.
	Level string
	// Sport is baseball or softball. Default baseball.
	Sport string
	// Texts are the words of the findings: en, or a file of your own. Default
	// en.
	Texts string
	// Drills is a file of drills of your own. Default those of the program.
	Drills string
	// Quality is full or fast: the pose network that is used, five times
	// cheaper when fast. Default full.
	Quality string
	// Model is the pose network's name (plantframe models list), or the path
	// of a manifest of your own. Default the one that quality names.
	Model string
	// Pairs says which clips show one swing from two sides: auto finds them by
	// their motion, none puts no clips together, else a file that names them (a
	// list of lists of two clips). Default auto.
	Pairs string
	// Jobs is the number of clips analysed at once. Default 0: one per core.
	Jobs int
	// Threads is the number of threads of one clip. Default 0: the cores
	// divided by the clips at once.
	Threads int
	// NoOverlay leaves the video and the stills out. Default false.
	NoOverlay bool
	// NoCache computes everything again and keeps no results of stages.
	// Default false.
	NoCache bool
	// CacheLimitMb is the size up to which results of stages are kept, MB;
	// what was not used for longest goes first. Default 1024.
	CacheLimitMb int
	// JSON prints one line of JSON per finished clip instead of a table.
	// Default false.
	JSON bool
	// LogLevel is debug, info, warn or error. Default info.
	LogLevel string

	// Options are the settings of the stages, each below its stage's name,
	// and those of the pipeline itself.
	pipeline.Options
	// Render are the settings of the video and the stills.
	Render render.Options
	// Queue are the settings of jobs.
	Queue QueueSettings
	// Watch are the settings of a watched folder.
	Watch WatchSettings
	// Serve are the settings of the web page.
	Serve ServeSettings
}

// Default returns the defaults described at Settings.
func Default() Settings {
	return Settings{
		Out:          "plantframe-out",
		Paper:        "a4",
		Bats:         "auto",
		View:         "auto",
		Level:        "adult",
		Sport:        "baseball",
		Texts:        "en",
		Quality:      "full",
		Pairs:        "auto",
		CacheLimitMb: 1024,
		LogLevel:     "info",
		Options:      pipeline.DefaultOptions(),
		Render:       render.DefaultOptions(),
		Queue:        defaultQueue(),
		Watch:        defaultWatch(),
		Serve:        defaultServe(),
	}
}

// Qualities maps each quality to the pose network it stands for.
func Qualities() map[string]string {
	return map[string]string{"full": "pose-heavy", "fast": "pose-full"}
}

// Choices lists the words that a setting may be, by key.
func Choices() map[string][]string {
	return map[string][]string{
		"bats":      {"auto", string(swing.Right), string(swing.Left)},
		"view":      {"auto", string(swing.OpenSide), string(swing.Rear)},
		"level":     targets.Levels(),
		"sport":     targets.Sports(),
		"quality":   {"full", "fast"},
		"paper":     {"a4", "letter"},
		"log_level": {"debug", "info", "warn", "error"},
	}
}

// Validate reports the first setting that makes no sense, as a *swing.Error
// of KindUsage.
func (s Settings) Validate() error {
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		words, ok := Choices()[l.key]
		if !ok {
			continue
		}
		fits := false
		for _, w := range words {
			fits = fits || w == l.value.String()
		}
		if !fits {
			return usage("", fmt.Sprintf("setting %q is %q, it must be one of %s", l.key, l.value.String(), strings.Join(words, ", ")), "")
		}
	}
	if _, err := ParseHeight(s.Height); err != nil {
		return usage("", fmt.Sprintf("setting \"height\" %v", err), "")
	}
	switch {
	case s.Out == "":
		return usage("", "setting \"out\" is empty", "name a folder for the results")
	case s.Jobs < 0 || s.Jobs > 256:
		return usage("", fmt.Sprintf("setting \"jobs\" is %d, it must be between 1 and 256, or 0 for one per core", s.Jobs), "")
	case s.Threads < 0 || s.Threads > 64:
		return usage("", fmt.Sprintf("setting \"threads\" is %d, it must be between 1 and 64, or 0 to share the cores out", s.Threads), "")
	case s.CacheLimitMb < 0:
		return usage("", fmt.Sprintf("setting \"cache_limit_mb\" is %d, it must be 0 or more", s.CacheLimitMb), "")
	}
	if err := s.Stages().Validate(); err != nil {
		return usage("", err.Error(), "settings are listed in configs/default.yaml")
	}
	if err := s.Drawing(1).Validate(); err != nil {
		return usage("", err.Error(), "settings are listed in configs/default.yaml")
	}
	return s.validateServices()
}

// Stages returns the options of the stages, with what follows from general
// settings filled in.
func (s Settings) Stages() pipeline.Options {
	o := s.Options
	if s.Bats != "auto" {
		o.Event.Bats = swing.Bats(s.Bats)
	}
	if s.View != "auto" {
		o.Event.View = swing.View(s.View)
	}
	o.Measure.HeightM, _ = ParseHeight(s.Height) // checked by Validate
	o.Bat.HeightM = o.Measure.HeightM
	o.Judge.ReferenceDistance = o.Measure.ReferenceDistance
	return o
}

// Drawing returns the options of the video and the stills, for an encoder with
// that many threads. Scale is left to whoever opens the frames.
func (s Settings) Drawing(threads int) render.Options {
	o := s.Render
	o.FFmpeg, o.Threads = s.Ingest.FFmpeg, threads
	return o
}

// Judging returns which targets, texts and drills are used.
func (s Settings) Judging() targets.Want {
	return targets.Want{Targets: s.Targets, Level: s.Level, Sport: s.Sport, Texts: s.Texts, Drills: s.Drills}
}

// PoseModel returns the pose network that is used.
func (s Settings) PoseModel() string {
	if s.Model != "" {
		return s.Model
	}
	return Qualities()[s.Quality]
}

// Share returns how many clips are analysed at once, of n, and with how many
// threads each.
func (s Settings) Share(n int) (jobs, threads int) {
	cores := runtime.GOMAXPROCS(0)
	jobs, threads = s.Jobs, s.Threads
	if jobs == 0 {
		jobs = cores
	}
	jobs = max(1, min(jobs, n))
	if threads == 0 {
		threads = max(1, cores/jobs)
	}
	return jobs, threads
}

// Effective returns the settings that a result depends on, for the result
// itself: groups as maps, values as JSON holds them. Where and how the run was
// made (folders, threads, printing) is left out.
func (s Settings) Effective() map[string]any {
	out := map[string]any{}
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		switch l.key {
		case "out", "store", "paper", "pairs", "jobs", "threads", "no_overlay", "no_cache", "cache_limit_mb", "json", "log_level",
			"decode_threads", "ingest.ffmpeg", "ingest.ffprobe":
			continue
		}
		if _, ok := governed()[l.key]; ok || service(l.key) {
			continue
		}
		m, name := out, l.key
		if group, rest, ok := strings.Cut(l.key, "."); ok {
			inner, _ := out[group].(map[string]any)
			if inner == nil {
				inner = map[string]any{}
				out[group] = inner
			}
			m, name = inner, rest
		}
		m[name] = plain(l.value)
	}
	return out
}

// governed maps settings of stages that follow from a general setting to that
// setting.
func governed() map[string]string {
	return map[string]string{
		"event.bats":               "bats",
		"event.view":               "view",
		"measure.height_m":         "height",
		"judge.reference_distance": "measure.reference_distance",
		"render.ffmpeg":            "ingest.ffmpeg",
		"render.threads":           "threads",
		"render.scale":             "decode_side",
	}
}

// NoStore is the Store setting that remembers nothing.
const NoStore = "none"

// Records returns where hitters and their results are remembered; "" = nowhere.
func (s Settings) Records() (string, error) {
	switch s.Store {
	case NoStore:
		return "", nil
	case "":
		dir, err := dataDir()
		return filepath.Join(dir, "plantframe", "records.db"), err
	}
	return s.Store, nil
}

// dataDir is the user's folder for data that programs keep: XDG_DATA_HOME where
// that rule holds, elsewhere the folder of settings, which is the same.
func dataDir() (string, error) {
	switch runtime.GOOS {
	case "windows", "darwin", "ios", "plan9":
		return os.UserConfigDir()
	}
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return dir, nil
	}
	home, err := os.UserHomeDir()
	return filepath.Join(home, ".local", "share"), err
}

// UserFile returns the settings file that is read when none is named:
// plantframe/config.yaml in the user's configuration folder; empty when there
// is none.
func UserFile() string {
	dir, err := os.UserConfigDir()
	if err != nil {
		return ""
	}
	file := filepath.Join(dir, "plantframe", "config.yaml")
	if st, err := os.Stat(file); err != nil || st.IsDir() {
		return ""
	}
	return file
}

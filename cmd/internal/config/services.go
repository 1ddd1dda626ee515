package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/watch"
)

// QueueSettings are those of jobs: clips that are analysed unattended.
type QueueSettings struct {
	// Attempts is how often a clip is tried before it is given up. Default 3.
	Attempts int
	// RetryAfter is the pause before the second attempt; each further one is
	// four times as long. Default 15s.
	RetryAfter time.Duration
	// LimitBase and LimitFrame limit the time of one attempt: the base, and so
	// much more for each frame of the clip. Default 5m and 1s: ten times what
	// a slow machine takes, so that only what hangs is stopped.
	LimitBase, LimitFrame time.Duration
	// KeepDays is how long jobs that are done are listed. Default 90.
	KeepDays int
	// MinFreeMb is the room on the disk of the results below which no clip is
	// begun, MB: the clips wait. Default 1024.
	MinFreeMb int
	// MaxIdle is how long the worker of a watched folder waits for the next
	// clip before it gives its memory back. Default 20s.
	MaxIdle time.Duration
}

// WatchSettings are those of a watched folder.
type WatchSettings struct {
	// Quiet is how long a file must have been the same before it is taken for
	// whole. Default 3s.
	Quiet time.Duration
	// QuietShare is the same on network shares, where nobody can see whether
	// a file is still open. Default 15s.
	QuietShare time.Duration
	// Rescan is the pause between two looks at the whole folder; with many
	// thousand clips it is longer. Default 2s.
	Rescan time.Duration
	// Stall is how long a file may stay empty or change before it is told of.
	// Default 10m.
	Stall time.Duration
	// Poll only looks and asks the system for no events. Default false: shares
	// are known as such on Linux.
	Poll bool
	// Beside writes results into a folder plantframe-out beside each clip and
	// not into one tree. Default false.
	Beside bool
}

// BesideFolder is the folder for results beside clips (Watch.Beside).
const BesideFolder = "plantframe-out"

func defaultQueue() QueueSettings {
	o := queue.DefaultOptions()
	return QueueSettings{
		Attempts: o.Attempts, RetryAfter: o.RetryAfter, LimitBase: o.LimitBase, LimitFrame: o.LimitFrame,
		KeepDays: int(o.Keep / (24 * time.Hour)), MinFreeMb: 1024, MaxIdle: 20 * time.Second,
	}
}

func defaultWatch() WatchSettings {
	o := watch.DefaultOptions()
	return WatchSettings{Quiet: o.Quiet, QuietShare: o.QuietShare, Rescan: o.Rescan, Stall: o.Stall}
}

// JobOptions returns where and how jobs are kept: in the store, or in a file of their
// own when there is no store.
func (s Settings) JobOptions() (queue.Options, error) {
	where, err := s.Records()
	if err == nil && where == "" {
		var dir string
		dir, err = dataDir()
		where = filepath.Join(dir, "plantframe", "jobs.db")
	}
	return queue.Options{
		Database: where, Attempts: s.Queue.Attempts, RetryAfter: s.Queue.RetryAfter,
		LimitBase: s.Queue.LimitBase, LimitFrame: s.Queue.LimitFrame,
		Keep: time.Duration(s.Queue.KeepDays) * 24 * time.Hour,
	}, err
}

// WorkDir is the folder on this machine where workers leave their locks.
func WorkDir() (string, error) {
	dir, err := dataDir()
	return filepath.Join(dir, "plantframe", "workers"), err
}

func (s Settings) validateServices() error {
	q, w := s.Queue, s.Watch
	switch {
	case q.Attempts < 1 || q.Attempts > 100:
		return usage("", fmt.Sprintf("setting \"queue.attempts\" is %d, it must be between 1 and 100", q.Attempts), "")
	case q.KeepDays < 1 || q.MinFreeMb < 0:
		return usage("", "settings \"queue.keep_days\" and \"queue.min_free_mb\" must be positive", "")
	}
	for key, d := range map[string]time.Duration{
		"queue.retry_after": q.RetryAfter, "queue.limit_base": q.LimitBase, "queue.limit_frame": q.LimitFrame, "queue.max_idle": q.MaxIdle,
		"watch.quiet": w.Quiet, "watch.quiet_share": w.QuietShare, "watch.rescan": w.Rescan, "watch.stall": w.Stall,
	} {
		if d <= 0 {
			return usage("", fmt.Sprintf("setting %q is %v, it must be more than nothing", key, d), "")
		}
	}
	return s.validateServe()
}

// service tells whether a setting says how clips come to be analysed, and not
// what comes out.
func service(key string) bool {
	return strings.HasPrefix(key, "queue.") || strings.HasPrefix(key, "watch.") || strings.HasPrefix(key, "serve.")
}

// ofTheMachine are the settings of the machine that analyses; all others travel
// with the order for a clip.
func ofTheMachine() []string {
	return []string{
		"out", "store", "jobs", "threads", "no_cache", "cache_limit_mb", "json", "log_level",
		"decode_threads", "ingest.ffmpeg", "ingest.ffprobe",
	}
}

// Carry returns the settings that an order for a clip holds, as JSON by key.
func (s Settings) Carry() json.RawMessage {
	return s.carry(func(key string) bool { return !service(key) && !slices.Contains(ofTheMachine(), key) })
}

// CarryAll returns all settings, for another process of this machine.
func (s Settings) CarryAll() json.RawMessage { return s.carry(func(string) bool { return true }) }

func (s Settings) carry(want func(key string) bool) json.RawMessage {
	out := map[string]any{}
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		if _, ok := governed()[l.key]; !ok && want(l.key) {
			out[l.key] = plain(l.value)
		}
	}
	b, err := json.Marshal(out)
	if err != nil {
		panic(err) // words and finite numbers: Validate saw them
	}
	return b
}

// Take returns s with settings that were carried. A key that this version does
// not know is an error: the result would be another one than was ordered.
func (s Settings) Take(carried json.RawMessage) (Settings, error) {
	dec := json.NewDecoder(bytes.NewReader(carried))
	dec.UseNumber() // numbers as they were written
	var values map[string]any
	if err := dec.Decode(&values); err != nil {
		return s, usage("", "the settings of the order cannot be read", "use the same version of the program on all machines")
	}
	all := map[string]leaf{}
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		all[l.key] = l
	}
	for key, v := range values {
		l, ok := all[key]
		if !ok {
			return s, usage("", fmt.Sprintf("the order for the clip has a setting %q that this version does not know", key), "use the same version of the program on all machines")
		}
		if err := assign(l.value, v); err != nil {
			return s, usage("", fmt.Sprintf("setting %q of the order %v", key, err), "")
		}
	}
	return s, s.Validate()
}

// Absolute returns s with the files that results depend on named absolutely: a
// worker runs in another folder.
func (s Settings) Absolute() Settings {
	for _, path := range []*string{&s.Model, &s.Targets, &s.Texts, &s.Drills} {
		abs, err := filepath.Abs(*path)
		if *path == "" || err != nil {
			continue
		}
		if st, err := os.Stat(abs); err == nil && !st.IsDir() {
			*path = abs
		}
	}
	return s
}

// TakeEffective returns s with the settings that a result says it was made with
// (see Effective). Settings that this version does not have are passed over: the
// result may be of an older one.
func (s Settings) TakeEffective(effective map[string]any) (Settings, error) {
	b, err := json.Marshal(effective)
	if err != nil {
		return s, usage("", "the settings of the result cannot be read", "")
	}
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.UseNumber()
	var values map[string]any
	if err := dec.Decode(&values); err != nil {
		return s, usage("", "the settings of the result cannot be read", "")
	}
	for _, l := range leaves(reflect.ValueOf(&s).Elem(), "") {
		if _, ok := governed()[l.key]; ok || service(l.key) || slices.Contains(ofTheMachine(), l.key) {
			continue
		}
		from, name := values, l.key
		if group, rest, ok := strings.Cut(l.key, "."); ok {
			from, _ = values[group].(map[string]any)
			name = rest
		}
		v, ok := from[name]
		if !ok {
			continue
		}
		if err := assign(l.value, v); err != nil {
			return s, usage("", fmt.Sprintf("setting %q of the result %v", l.key, err), "")
		}
	}
	return s, s.Validate()
}

package watch

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"
)

// Options say what is looked for and how patiently.
type Options struct {
	// Root is the folder.
	Root string
	// Extensions are the endings of clips, small letters, with the dot.
	Extensions []string
	// Quiet is how long a file must have been the same before it is taken for
	// whole. Default 3 s: phones and cards write in bursts of less than one.
	Quiet time.Duration
	// QuietShare is the same on network shares, where nobody can see whether a
	// file is still open and whose times lag. Default 15 s.
	QuietShare time.Duration
	// Rescan is the pause between two looks at the whole folder. Default 2 s. A
	// look that takes long makes the pause longer: see share.
	Rescan time.Duration
	// Stall is how long a file may stay empty or change before it is told of.
	// Default 10 min.
	Stall time.Duration
	// Poll asks the system for no events, only looks.
	Poll bool
	// Once ends Run when every file that is there was told of.
	Once bool
	// Skip leaves out a folder (absolute) and what is below it; nil = none.
	Skip func(dir string) bool
	// Known tells that a file was dealt with as it is now; nil = none.
	Known func(f File) bool
	// Log receives what an operator wants to know; nil discards.
	Log *slog.Logger
}

// DefaultOptions returns the defaults described at Options.
func DefaultOptions() Options {
	return Options{Quiet: 3 * time.Second, QuietShare: 15 * time.Second, Rescan: 2 * time.Second, Stall: 10 * time.Minute}
}

// share is the part of the time that looking may take: a folder of ten thousand
// clips is looked at less often, so that an idle watcher costs nothing.
const share = 0.005

// Validate reports the first option that makes no sense.
func (o Options) Validate() error {
	switch {
	case o.Root == "":
		return errors.New("no folder to watch")
	case len(o.Extensions) == 0:
		return errors.New("no endings of clips")
	case o.Quiet <= 0 || o.QuietShare <= 0 || o.Rescan <= 0 || o.Stall <= 0:
		return errors.New("the times of watching must be positive")
	}
	return nil
}

// File is a file as it was last seen.
type File struct {
	Path string // below the folder, slashes
	Abs  string // absolute
	Size int64  // bytes
	Time int64  // of last change, ns since 1970
}

// Handler takes what is found. Both are called from one goroutine.
type Handler struct {
	// Ready is given each file that is whole, once per content. ErrLater keeps
	// the file for another try; any other error ends Run.
	Ready func(ctx context.Context, f File) error
	// Note is told why a file is not taken, once per reason.
	Note func(f File, text string)
}

// ErrLater says that a file could not be taken at this moment.
var ErrLater = errors.New("not now")

// pending is a file that is not dealt with.
type pending struct {
	File
	since time.Time // same size and time since then
	first time.Time // first seen
	noted string
}

// watcher is the state of one Run.
type watcher struct {
	o     Options
	h     Handler
	log   *slog.Logger
	root  string // absolute, without links
	quiet time.Duration
	fs    *fsnotify.Watcher // nil = looks only
	full  bool              // the system takes no more folders

	files  map[string]*pending // by path
	done   map[string]File     // told of, as it was then
	noted  map[string]string   // links and other things that are no files
	looked map[string]bool     // folders that are watched
}

// Run watches until ctx ends (its error), or with Once until all is told.
func Run(ctx context.Context, o Options, h Handler) error {
	if err := o.Validate(); err != nil {
		return fmt.Errorf("watch: %w", err)
	}
	w := &watcher{
		o: o, h: h, log: o.Log, quiet: o.Quiet,
		files: map[string]*pending{}, done: map[string]File{}, noted: map[string]string{}, looked: map[string]bool{},
	}
	if w.log == nil {
		w.log = slog.New(slog.DiscardHandler)
	}
	var err error
	if w.root, err = filepath.Abs(o.Root); err == nil {
		w.root, err = filepath.EvalSymlinks(w.root)
	}
	if err != nil {
		return err
	}
	if network(w.root) {
		w.quiet = max(w.quiet, o.QuietShare)
		w.log.Info("the folder is on a network share: files are taken when they have been still for longer", "still", w.quiet)
		o.Poll = true
	}
	var events chan fsnotify.Event
	var failures chan error
	if !o.Poll {
		if w.fs, err = fsnotify.NewWatcher(); err != nil {
			w.log.Warn("the system tells of no changes, the folder is looked at regularly", "error", err)
		} else {
			defer w.fs.Close()
			events, failures = w.fs.Events, w.fs.Errors
		}
	}
	next := time.NewTimer(0)
	defer next.Stop()
	settle := time.NewTicker(min(w.quiet/4, 500*time.Millisecond))
	defer settle.Stop()
	settling := settle.C
	scanned := false
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case e := <-events:
			w.event(e)
		case err := <-failures: // events were lost: look again now
			w.log.Debug("events of the folder were lost", "error", err)
			next.Reset(0)
		case <-next.C:
			began := time.Now()
			if err := w.scan(w.root); err != nil {
				return err
			}
			scanned = true
			next.Reset(max(o.Rescan, time.Duration(float64(time.Since(began))/share)))
		case <-settling:
		}
		if err := w.settle(ctx); err != nil {
			return err
		}
		if o.Once && scanned && len(w.files) == 0 {
			return nil
		}
		settling = nil // nothing to wait for: no need to wake up
		if len(w.files) > 0 {
			settling = settle.C
		}
	}
}

// event looks at what the system says has changed.
func (w *watcher) event(e fsnotify.Event) {
	info, err := os.Lstat(e.Name)
	if err != nil {
		w.gone(e.Name)
		return
	}
	if info.IsDir() {
		if e.Has(fsnotify.Create) {
			_ = w.scan(e.Name) // looked at again anyway
		}
		return
	}
	w.see(e.Name, info)
}

// gone forgets a file or folder that is no longer there.
func (w *watcher) gone(abs string) {
	delete(w.looked, abs)
	if rel, ok := w.below(abs); ok {
		delete(w.files, rel)
		delete(w.done, rel)
		delete(w.noted, rel)
	}
}

// below returns the path below the folder.
func (w *watcher) below(abs string) (string, bool) {
	rel, err := filepath.Rel(w.root, abs)
	return filepath.ToSlash(rel), err == nil && filepath.IsLocal(rel)
}

// scan looks at a folder and all below it. A folder that cannot be read is
// told of once and looked at again next time; only the watched folder itself
// must be there, or come back.
func (w *watcher) scan(dir string) error {
	seen := map[string]bool{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		rel, _ := w.below(path)
		if err != nil {
			if path == dir && dir == w.root && errors.Is(err, fs.ErrNotExist) {
				return err
			}
			w.note(File{Path: rel, Abs: path}, "it cannot be read: "+plainCause(err))
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if path != w.root && strings.HasPrefix(d.Name(), ".") {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() {
			if w.o.Skip != nil && path != w.root && w.o.Skip(path) {
				return fs.SkipDir
			}
			w.look(path)
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return nil // gone since the folder was read
		}
		if w.see(path, info) {
			seen[rel] = true
		}
		return nil
	})
	if errors.Is(err, fs.ErrNotExist) && dir == w.root {
		// A disk that was taken away: nothing is lost, it may come back.
		w.note(File{Path: ".", Abs: w.root}, "the folder is not there")
		w.looked = map[string]bool{}
		return nil
	}
	delete(w.noted, ".")
	if dir == w.root {
		for rel := range w.files {
			if !seen[rel] {
				delete(w.files, rel)
			}
		}
		for rel := range w.done {
			if !seen[rel] {
				delete(w.done, rel)
			}
		}
	}
	return err
}

// look asks the system to tell of changes in a folder.
func (w *watcher) look(dir string) {
	if w.fs == nil || w.full || w.looked[dir] {
		return
	}
	if err := w.fs.Add(dir); err != nil {
		w.full = true
		w.log.Warn("the system takes no more folders to tell of; they are looked at regularly", "error", err)
		return
	}
	w.looked[dir] = true
}

// see takes note of a file as it is now and tells whether it is a clip.
func (w *watcher) see(abs string, info fs.FileInfo) bool {
	rel, ok := w.below(abs)
	if !ok || !w.named(info.Name()) {
		return false
	}
	if info.Mode()&fs.ModeSymlink != 0 {
		to, err := filepath.EvalSymlinks(abs)
		if err != nil {
			return false // it leads nowhere: no clip
		}
		if _, inside := w.below(to); !inside {
			w.note(File{Path: rel, Abs: abs}, "it is a link that leads out of the folder")
			return false
		}
		if info, err = os.Stat(abs); err != nil {
			return false
		}
	}
	if !info.Mode().IsRegular() {
		return false
	}
	f := File{Path: rel, Abs: abs, Size: info.Size(), Time: info.ModTime().UnixNano()}
	if w.done[rel] == f {
		return true
	}
	p := w.files[rel]
	if p == nil {
		if w.o.Known != nil && w.o.Known(f) {
			w.done[rel] = f
			return true
		}
		p = &pending{first: time.Now()}
		w.files[rel] = p
	}
	if p.File != f {
		p.File, p.since = f, time.Now()
	}
	return true
}

// named tells whether a name is that of a clip that is whole as far as a name
// can tell. Programs that copy give the name at the end: before, it begins with
// a dot or a ~, or has another ending.
func (w *watcher) named(name string) bool {
	low := strings.ToLower(name)
	if strings.HasPrefix(low, ".") || strings.HasPrefix(low, "~") || strings.HasPrefix(low, "_tmp") {
		return false
	}
	ext := filepath.Ext(low)
	if !slices.Contains(w.o.Extensions, ext) {
		return false
	}
	switch filepath.Ext(strings.TrimSuffix(low, ext)) {
	case ".tmp", ".temp", ".part", ".partial", ".crdownload", ".download":
		return false
	}
	return true
}

// settle tells of every file that has become whole.
func (w *watcher) settle(ctx context.Context) error {
	now := time.Now()
	for _, rel := range slices.Sorted(maps.Keys(w.files)) {
		p := w.files[rel]
		if now.Sub(p.since) < w.quiet {
			if now.Sub(p.first) > w.o.Stall {
				w.stalled(p, "it has been changing for a long time and is not taken yet")
			}
			continue
		}
		info, err := os.Stat(p.Abs)
		if err != nil {
			w.gone(p.Abs)
			continue
		}
		if info.Size() != p.Size || info.ModTime().UnixNano() != p.Time {
			w.see(p.Abs, info)
			continue
		}
		if p.Size == 0 {
			if now.Sub(p.first) > w.o.Stall || w.o.Once {
				w.stalled(p, "it is empty")
			}
			continue
		}
		if writing(p.Abs) {
			if now.Sub(p.first) > w.o.Stall {
				w.stalled(p, "a program has kept it open for a long time and it is not taken yet")
			}
			continue
		}
		switch err := w.h.Ready(ctx, p.File); {
		case errors.Is(err, ErrLater):
			p.since = time.Now()
			continue
		case err != nil:
			return err
		}
		delete(w.files, rel)
		w.done[rel] = p.File
	}
	return nil
}

// stalled tells of a file that does not become whole. With Once it is not
// waited for any longer.
func (w *watcher) stalled(p *pending, why string) {
	if p.noted != why {
		p.noted = why
		w.h.Note(p.File, why)
	}
	if w.o.Once {
		delete(w.files, p.Path)
		w.done[p.Path] = p.File
	}
}

// note tells a reason once.
func (w *watcher) note(f File, text string) {
	if w.noted[f.Path] == text {
		return
	}
	w.noted[f.Path] = text
	w.h.Note(f, text)
}

// plainCause is an error without the path, which is said beside it.
func plainCause(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return err.Error()
}

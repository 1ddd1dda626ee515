package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

// Names in the folder of results.
const (
	analysisFile = "analysis.json"
	overlayFile  = "overlay.mp4"
	stillsFolder = "stills"
	measuresFile = "measures.csv"
	// tempPrefix begins the names of unfinished folders and files.
	tempPrefix = ".plantframe-"
)

// abandoned is the age after which an unfinished folder belongs to nobody.
const abandoned = 24 * time.Hour

// openOut makes the folder for results and proves that it can be written, so
// that nobody waits an hour for a refusal. What a killed run left is removed.
func openOut(out string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return writing(out, err)
	}
	probe, err := os.MkdirTemp(out, tempPrefix)
	if err != nil {
		return writing(out, err)
	}
	if err := os.Remove(probe); err != nil {
		return writing(out, err)
	}
	entries, err := os.ReadDir(out)
	if err != nil {
		return writing(out, err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err == nil && strings.HasPrefix(e.Name(), tempPrefix) && time.Since(info.ModTime()) > abandoned {
			_ = os.RemoveAll(filepath.Join(out, e.Name()))
		}
	}
	return nil
}

// writeAnalysis writes analysis.json into a folder and syncs it.
func writeAnalysis(dir string, a swing.Analysis) error {
	return writeWhole(filepath.Join(dir, analysisFile), func(f *os.File) error { return output.WriteJSON(f, a) })
}

// writeWhole writes a file under a temporary name beside it, syncs and renames
// it.
func writeWhole(path string, fill func(*os.File) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), tempPrefix)
	if err != nil {
		return writing(path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err := fill(f); err != nil {
		var s *swing.Error
		if errors.As(err, &s) && s.Kind == swing.KindOutput && s.Err != nil {
			return writing(path, s.Err) // says whether the disk is full
		}
		return err
	}
	if err := f.Chmod(0o644); err != nil {
		return writing(path, err)
	}
	if err := f.Sync(); err != nil {
		return writing(path, err)
	}
	if err := f.Close(); err != nil {
		return writing(path, err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return writing(path, err)
	}
	return nil
}

// publish moves the files of the finished folder tmp into dir, each whole,
// analysis.json last, and removes files of ours there that an earlier analysis
// of the clip made and this one did not. Files of other names in dir are left
// alone. It returns the files, sorted, slash-separated.
func publish(tmp, dir string) ([]string, error) {
	var files []string
	err := filepath.WalkDir(tmp, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(tmp, path)
		if err == nil && !strings.HasPrefix(d.Name(), ".") {
			files = append(files, rel)
		}
		return err
	})
	if err != nil {
		return nil, writing(dir, err)
	}
	slices.SortFunc(files, func(a, b string) int {
		if last := bool2int(a == analysisFile) - bool2int(b == analysisFile); last != 0 {
			return last
		}
		return strings.Compare(a, b)
	})
	for _, rel := range files {
		to := filepath.Join(dir, rel)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return nil, writing(filepath.Dir(to), err)
		}
		if rel == analysisFile {
			removeStale(dir, files)
		}
		if err := os.Rename(filepath.Join(tmp, rel), to); err != nil {
			return nil, writing(to, err)
		}
	}
	if d, err := os.Open(dir); err == nil { // the names too survive a power cut
		_ = d.Sync()
		_ = d.Close()
	}
	for i := range files {
		files[i] = filepath.ToSlash(files[i])
	}
	slices.Sort(files)
	return files, nil
}

func bool2int(b bool) int {
	if b {
		return 1
	}
	return 0
}

// stillName is the form of the names of stills: swing, event.
var stillName = regexp.MustCompile(`^\d+-[a-z-]+\.png$`)

// pageName is the form of the names of reports and of the picture for lists.
var pageName = regexp.MustCompile(`^(report(-\d+)?\.(html|pdf)|thumb\.jpg)$`)

// removeStale removes pictures of an earlier analysis that keep does not hold.
func removeStale(dir string, keep []string) {
	if !slices.Contains(keep, overlayFile) {
		_ = os.Remove(filepath.Join(dir, overlayFile))
	}
	pages, err := os.ReadDir(dir)
	for _, page := range pages {
		if name := page.Name(); err == nil && pageName.MatchString(name) && !slices.Contains(keep, name) {
			_ = os.Remove(filepath.Join(dir, name))
		}
	}
	stills, err := os.ReadDir(filepath.Join(dir, stillsFolder))
	if err != nil {
		return
	}
	for _, e := range stills {
		rel := filepath.Join(stillsFolder, e.Name())
		if e.Type().IsRegular() && stillName.MatchString(e.Name()) && !slices.Contains(keep, rel) {
			_ = os.Remove(filepath.Join(dir, rel))
		}
	}
	_ = os.Remove(filepath.Join(dir, stillsFolder)) // only when nothing is left in it
}

// escapeGlob makes a path match itself.
func escapeGlob(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}

package render

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
)

// folder is the output folder of a clip under change: files are made under
// temporary names beside their final ones and renamed together.
type folder struct {
	dir   string
	made  []string // folders that were not there before, outermost first
	files []pending
	add   bool // the stills that are there stay: these are beside them
}

type pending struct{ temp, final string }

// openFolder makes dir and dir/stills where they are missing.
func openFolder(dir string) (*folder, error) {
	f := &folder{dir: dir}
	stills := filepath.Join(dir, "stills")
	for at := stills; ; at = filepath.Dir(at) {
		if _, err := os.Lstat(at); !errors.Is(err, fs.ErrNotExist) || at == filepath.Dir(at) {
			break
		}
		f.made = append([]string{at}, f.made...)
	}
	if err := os.MkdirAll(stills, 0o755); err != nil {
		f.discard()
		return nil, err
	}
	return f, nil
}

// temp makes an empty temporary file that becomes dir/sub/name.
func (f *folder) temp(sub, name string) (string, error) {
	dir := filepath.Join(f.dir, sub)
	t, err := os.CreateTemp(dir, ".new-*-"+name)
	if err != nil {
		return "", err
	}
	f.files = append(f.files, pending{t.Name(), filepath.Join(dir, name)})
	// Temporary files are private; results are not.
	err = t.Chmod(0o644)
	if cerr := t.Close(); err == nil {
		err = cerr
	}
	return t.Name(), err
}

// commit brings all files to the disk and gives them their names.
func (f *folder) commit() error {
	for _, p := range f.files {
		if err := fsync(p.temp); err != nil {
			return err
		}
	}
	fresh := map[string]bool{}
	for len(f.files) > 0 {
		p := f.files[0]
		if err := os.Rename(p.temp, p.final); err != nil {
			return err
		}
		fresh[filepath.Base(p.final)] = true
		f.files = f.files[1:]
	}
	f.made = nil
	if !f.add {
		f.sweep(fresh)
	}
	for _, d := range []string{f.dir, filepath.Join(f.dir, "stills")} {
		syncDir(d)
	}
	return nil
}

// sweep removes stills of an earlier analysis: beside the new ones they would
// be taken for part of it. Only names that this package gives are touched.
func (f *folder) sweep(fresh map[string]bool) {
	ours := regexp.MustCompile(`^\d+-[a-z-]+\.png$`)
	dir := filepath.Join(f.dir, "stills")
	entries, err := os.ReadDir(dir)
	if err != nil {
		return // an old still too many is no reason to fail
	}
	for _, e := range entries {
		if ours.MatchString(e.Name()) && !fresh[e.Name()] {
			_ = os.Remove(filepath.Join(dir, e.Name()))
		}
	}
}

// discard removes what was made, folders included when they are still empty.
func (f *folder) discard() {
	for _, p := range f.files {
		_ = os.Remove(p.temp)
	}
	f.files = nil
	for i := len(f.made) - 1; i >= 0; i-- {
		_ = os.Remove(f.made[i])
	}
}

// syncDir makes renames durable where the system can; elsewhere it fails and
// nothing is lost.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
}

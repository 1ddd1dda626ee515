package main

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// keepVersion puts the results in dir aside under keep, once: what is there
// already is of an earlier attempt, which may have begun to replace them. Files
// are linked, not copied; new results take their names, not their bytes.
func keepVersion(dir, keep string) error {
	if exists(keep) || !exists(filepath.Join(dir, analysisFile)) {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(keep), 0o755); err != nil {
		return writing(keep, err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(keep), tempPrefix)
	if err != nil {
		return writing(keep, err)
	}
	defer os.RemoveAll(tmp)
	if err := linkTree(dir, tmp); err != nil {
		return err
	}
	if err := syncDir(tmp); err != nil {
		return writing(keep, err)
	}
	if err := os.Rename(tmp, keep); err != nil {
		return writing(keep, err)
	}
	if err := os.Chmod(keep, 0o755); err != nil {
		return writing(keep, err)
	}
	return nil
}

// linkTree gives the files below from a second name below to, which is there. Where
// a disk knows no links they are copied.
func linkTree(from, to string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return writing(from, err)
		}
		rel, err := filepath.Rel(from, path)
		if err != nil || rel == "." {
			return err
		}
		at := filepath.Join(to, rel)
		switch {
		case d.IsDir() && strings.HasPrefix(d.Name(), tempPrefix):
			return fs.SkipDir
		case d.IsDir():
			err = os.MkdirAll(at, 0o755)
		case d.Type().IsRegular() && !strings.HasPrefix(d.Name(), tempPrefix):
			if err = os.Link(path, at); err != nil {
				err = copyFile(path, at)
			}
		}
		if err != nil {
			return writing(at, err)
		}
		return nil
	})
}

func copyFile(from, to string) error {
	b, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return writeWhole(to, func(f *os.File) error { _, err := f.Write(b); return err })
}

// syncDir makes the names in a folder survive a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// restoreVersion puts results that were kept back into dir and removes those that
// took their place; files of other names there are left alone. It compares what is
// there then with what was kept, byte by byte. Doing it again does no harm.
func restoreVersion(keep, dir string) error {
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return writing(dir, err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(dir), tempPrefix)
	if err != nil {
		return writing(dir, err)
	}
	defer os.RemoveAll(tmp)
	if err := linkTree(keep, tmp); err != nil {
		return err
	}
	files, err := publish(tmp, dir)
	if err != nil {
		return err
	}
	if !slices.Contains(files, stagesFile) { // of a version that wrote none
		_ = os.Remove(filepath.Join(dir, stagesFile))
	}
	removeComparison(dir, files)
	for _, f := range files {
		was, err := os.ReadFile(filepath.Join(keep, filepath.FromSlash(f)))
		if err != nil {
			return writing(keep, err)
		}
		is, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(f)))
		if err == nil && !bytes.Equal(was, is) {
			err = errors.New("other bytes than were kept")
		}
		if err != nil {
			return writing(filepath.Join(dir, f), err)
		}
	}
	return nil
}

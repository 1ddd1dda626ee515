package store

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// abandoned is the age after which a temporary file belongs to nobody: no
// Put takes that long.
const abandoned = time.Hour

// entry is one file of the store.
type entry struct {
	path string
	size int64
	used time.Time
}

// Prune removes the entries that were not used for longest until the rest
// takes at most limit bytes, and temporary files that a killed process left.
// It returns how many bytes were freed. A file that vanishes meanwhile is no
// error: another process prunes too.
func (d *Disk) Prune(limit int64) (freed int64, err error) {
	entries, total, err := d.list(time.Now().Add(-abandoned))
	if err != nil {
		return 0, err
	}
	slices.SortFunc(entries, func(a, b entry) int { return a.used.Compare(b.used) })
	for _, e := range entries {
		if total <= limit {
			break
		}
		if err := os.Remove(e.path); err != nil && !os.IsNotExist(err) {
			return freed, err
		}
		total -= e.size
		freed += e.size
	}
	return freed, nil
}

// Size returns how many bytes the entries take.
func (d *Disk) Size() (int64, error) {
	_, total, err := d.list(time.Time{})
	return total, err
}

// list finds all entries and removes temporary files last written before old.
func (d *Disk) list(old time.Time) (entries []entry, total int64, err error) {
	err = filepath.WalkDir(d.dir, func(path string, de fs.DirEntry, err error) error {
		if err != nil {
			if os.IsNotExist(err) {
				return nil
			}
			return err
		}
		if !de.Type().IsRegular() {
			return nil
		}
		info, err := de.Info()
		if err != nil {
			return nil // gone since the folder was read
		}
		switch {
		case strings.HasSuffix(path, suffix):
			entries = append(entries, entry{path, info.Size(), info.ModTime()})
			total += info.Size()
		case strings.HasPrefix(de.Name(), ".put-") && info.ModTime().Before(old):
			_ = os.Remove(path)
		}
		return nil
	})
	return entries, total, err
}

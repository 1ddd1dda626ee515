package ingest

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// Extensions returns the file name endings, lower case, that Find takes for
// clips.
func Extensions() []string {
	return []string{".3g2", ".3gp", ".avi", ".m4v", ".mkv", ".mov", ".mp4", ".qt", ".webm"}
}

// Find lists the clips named by paths. A file is taken as it is, whatever its
// name; a folder is searched with everything below it for files with one of
// Extensions, in any letter case. Files and folders whose name begins with a
// dot are passed over inside folders, and so are links to folders. The result
// is sorted and holds each file once.
//
// Errors: a path that does not exist or cannot be read (KindMissing), and no
// clip at all (KindUsage).
func Find(paths []string) ([]string, error) {
	const op = "ingest.Find"
	var found []string
	for _, p := range paths {
		st, err := os.Stat(p)
		if err != nil {
			return nil, statError(op, p, err)
		}
		if !st.IsDir() {
			found = append(found, filepath.Clean(p))
			continue
		}
		if err := filepath.WalkDir(p, func(path string, d fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case path != p && strings.HasPrefix(d.Name(), "."):
				if d.IsDir() {
					return fs.SkipDir
				}
			case d.IsDir() || !slices.Contains(Extensions(), strings.ToLower(filepath.Ext(path))):
			case d.Type().IsRegular():
				found = append(found, path)
			case d.Type()&fs.ModeSymlink != 0:
				// A dangling link is not a clip; a link to a file is.
				if st, err := os.Stat(path); err == nil && st.Mode().IsRegular() {
					found = append(found, path)
				}
			}
			return nil
		}); err != nil {
			return nil, statError(op, p, err)
		}
	}
	slices.Sort(found)
	found = slices.Compact(found)
	if len(found) == 0 {
		return nil, fail(op, "", swing.KindUsage, "no clip found in "+strings.Join(paths, ", "),
			"name a video file, or a folder with files ending in "+strings.Join(Extensions(), " "), nil)
	}
	return found, nil
}

// statError says why a path cannot be looked at.
func statError(op, path string, err error) *swing.Error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err // the path is in the error already
		if pe.Path != "" {
			path = pe.Path
		}
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fail(op, path, swing.KindMissing, "there is no such file", "check the spelling of the path", nil)
	case errors.Is(err, fs.ErrPermission):
		return fail(op, path, swing.KindMissing, "the file may not be read", "give yourself permission to read it", nil)
	}
	return fail(op, path, swing.KindMissing, fmt.Sprintf("the file cannot be read (%v)", err), "copy it to a local disk and try again", nil)
}

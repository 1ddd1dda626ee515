package models

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
)

// Store is a folder of installed networks and the ONNX Runtime library. Its methods may run at the same time, also in
// several processes on the same folder.
type Store struct{ dir string }

// NewStore uses the folder dir, which need not exist yet.
func NewStore(dir string) Store { return Store{dir: dir} }

// DefaultDir is the folder "models" below $PLANTFRAME_CACHE if that is set, else below plantframe in the user's cache.
func DefaultDir() (string, error) {
	if d := os.Getenv("PLANTFRAME_CACHE"); d != "" {
		d, err := filepath.Abs(filepath.Join(d, "models"))
		return d, op("models.DefaultDir", err)
	}
	d, err := os.UserCacheDir()
	if err != nil {
		return "", &Error{
			Op: "models.DefaultDir", Msg: "there is no cache folder for this user",
			Hint: "set PLANTFRAME_CACHE to a folder that you may write to", Err: err,
		}
	}
	return filepath.Join(d, "plantframe", "models"), nil
}

// Dir returns the folder.
func (s Store) Dir() string { return s.dir }

// Path is where the ONNX file of m is, or will be after Install. The name carries the start of the checksum, so that a
// file of an older release is never taken for the current one.
func (s Store) Path(m Manifest) string {
	switch {
	case m.Source.Path == "":
		return filepath.Join(s.dir, m.ID+"-"+m.SHA256[:8]+".onnx")
	case filepath.IsAbs(m.Source.Path):
		return m.Source.Path
	}
	return filepath.Join(m.folder, m.Source.Path)
}

// State of one installed thing.
type State struct {
	ID      string // of the model, or "onnxruntime" for the library
	Title   string
	Path    string
	Bytes   int64  // size of the installed file, 0 if missing
	Problem string // empty = as it should be; else one sentence
	Hint    string // what to do about the problem
}

// List tells which of the given models are installed, the library first. It looks only whether the files are there;
// Verify reads them.
func (s Store) List(all []Manifest) []State {
	states := []State{s.state("onnxruntime", "ONNX Runtime "+libraryVersion, s.LibraryPath(), true)}
	for _, m := range all {
		states = append(states, s.state(m.ID, m.Title, s.Path(m), m.Source.Path == ""))
	}
	return states
}

func (s Store) state(id, title, path string, ours bool) State {
	st := State{ID: id, Title: title, Path: path}
	info, err := os.Stat(path)
	switch {
	case err == nil && info.Mode().IsRegular():
		st.Bytes = info.Size()
	case err == nil:
		st.Problem, st.Hint = "it is not a file", "remove "+path+" and run: plantframe models install"
	case missing(err) && ours:
		st.Problem, st.Hint = "not installed", "run: plantframe models install"
	case missing(err):
		st.Problem, st.Hint = "the file is not there", "correct source.path in the manifest"
	default:
		st.Problem, st.Hint = fmt.Sprintf("cannot be read (%v)", err), "check the permissions of "+path
	}
	return st
}

// Verify is List with the checksums compared. It stops early only when ctx ends.
func (s Store) Verify(ctx context.Context, all []Manifest) ([]State, error) {
	states := s.List(all)
	l, err := here()
	if err != nil {
		return nil, op("models.Verify", err)
	}
	for i := range states {
		if err := context.Cause(ctx); err != nil {
			return nil, op("models.Verify", err)
		}
		want, ours := l.sha256, true
		if i > 0 {
			want, ours = all[i-1].SHA256, all[i-1].Source.Path == ""
		}
		if states[i].Problem == "" {
			states[i].Problem, states[i].Hint = check(states[i].Path, want, ours)
		}
	}
	return states, nil
}

// check compares the checksum of an installed file; both results are empty when it is right.
func check(path, want string, ours bool) (problem, hint string) {
	got, err := sumFile(path)
	switch {
	case err != nil:
		return fmt.Sprintf("cannot be read (%v)", err), "check the permissions of " + path
	case got == want:
		return "", ""
	case ours:
		return "the file is damaged or was changed (its checksum is wrong)", "run: plantframe models install"
	}
	return "the file is not the one that the manifest describes (SHA-256 is " + got + ")",
		"correct sha256 in the manifest if the file is the wanted one"
}

// present reports whether the file at path has that checksum. A file that is missing or wrong is no error here.
func present(path, want string) bool {
	got, err := sumFile(path)
	return err == nil && got == want
}

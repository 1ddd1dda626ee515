package main

import (
	"errors"
	"io/fs"
	"syscall"

	"plantframe/cmd/internal/ui"
	"plantframe/models"
	"plantframe/pipeline/swing"
)

// explain turns an error of any package into words.
func explain(err error) *ui.ErrorResult {
	var m *models.Error
	var s *swing.Error
	if errors.As(err, &m) && !errors.As(err, &s) {
		e := ui.Explain(&swing.Error{Op: m.Op, Frame: -1, Kind: swing.KindModel, Msg: m.Msg, Hint: m.Hint, Err: m.Err})
		return e
	}
	return ui.Explain(err)
}

// writing explains a failed write.
func writing(path string, err error) error {
	e := &swing.Error{Op: "write", Frame: -1, Kind: swing.KindOutput, Err: err}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		e.Err = pe.Err // the path is said by us
	}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		e.Msg, e.Hint, e.Err = "the disk is full: "+path+" cannot be written", "free some space, or choose another folder with --out", nil
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		e.Msg, e.Hint, e.Err = "no permission to write "+path, "choose another folder with --out", nil
	case errors.Is(err, syscall.ENOTDIR), errors.Is(err, fs.ErrExist):
		e.Msg, e.Hint, e.Err = path+" is in the way: it is a file, a folder is needed", "choose another folder with --out", nil
	default:
		e.Msg, e.Hint = path+" cannot be written", "check the folder, or choose another one with --out"
	}
	return e
}

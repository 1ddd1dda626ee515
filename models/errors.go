package models

import (
	"errors"
	"io/fs"
	"syscall"
)

// Error is what the exported functions of this package return.
type Error struct {
	Op   string // such as "models.Install"
	Msg  string // one plain sentence, lower case, no full stop
	Hint string // what the user can do; may be empty
	Err  error  // cause; may be nil
}

// Error returns "message: cause".
func (e *Error) Error() string {
	if e.Err == nil {
		return e.Msg
	}
	if e.Msg == "" {
		return e.Err.Error()
	}
	return e.Msg + ": " + e.Err.Error()
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// op sets the operation of the outermost error, so that each exported function wraps once.
func op(name string, err error) error {
	var e *Error
	if errors.As(err, &e) {
		c := *e
		c.Op = name
		return &c
	}
	if err == nil {
		return nil
	}
	return &Error{Op: name, Err: err}
}

// writing explains a failed write below the cache folder.
func writing(path string, err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return &Error{
			Msg:  "the disk is full: " + path + " cannot be written",
			Hint: "free about 600 MB, or set PLANTFRAME_CACHE to a folder on another disk", Err: err,
		}
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return &Error{
			Msg:  "no permission to write " + path,
			Hint: "set PLANTFRAME_CACHE to a folder that you may write to", Err: err,
		}
	}
	return &Error{
		Msg:  "cannot write " + path,
		Hint: "check that the folder exists and is writable, or set PLANTFRAME_CACHE to another one", Err: err,
	}
}

package render

import (
	"context"
	"errors"
	"os"
	"syscall"

	"plantframe/pipeline/swing"
)

// failure turns a cause into the error that leaves the package.
func failure(op, clip string, err error) error {
	var done *swing.Error
	var none noEncoder
	if errors.As(err, &done) {
		return err
	}
	e := &swing.Error{Op: op, Clip: clip, Frame: -1, Kind: swing.KindOutput, Err: err}
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		e.Msg = "drawing was stopped"
		e.Hint = "run the command again; nothing half-written was left"
	case errors.As(err, &none):
		e.Kind = swing.KindMissing
		e.Msg = "the video encoder ffmpeg cannot be started"
		e.Hint = "install it with: apt install ffmpeg"
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		e.Msg = "there is no room for the overlay and the stills"
		e.Err = bareErrno(err) // the encoder says it in five lines of its own
		e.Hint = "free some disk space or choose another folder with --out"
	case errors.Is(err, os.ErrPermission), errors.Is(err, syscall.EROFS):
		e.Msg = "the output folder cannot be written"
		e.Hint = "choose another folder with --out or change its permissions"
	default:
		e.Msg = "the overlay and the stills cannot be written"
		e.Hint = "check that the output folder exists and can be written"
	}
	return e
}

// bareErrno returns the system error that err wraps, without the words around it.
func bareErrno(err error) error {
	var code syscall.Errno
	if errors.As(err, &code) {
		return code
	}
	return err
}
